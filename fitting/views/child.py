"""New child, and the same page to change one."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from fitting.forms.child import CaseForm
from fitting.models import Visit
from fitting.services.cases import change_child
from patients.access import requires
from patients.forms import guardian_differences, guardian_formset, guardians_in
from patients.models import Child, Clinic
from patients.roles import Action
from patients.services import StaleVersionError, accept_child


@requires(Action.EDIT_CHILD)
def child_new(request):
    clinics = Clinic.objects.served_by(request.user)
    form = CaseForm(request.POST or None, clinics=clinics, now=timezone.now())
    guardians = guardian_formset(request.POST or None)
    if request.method == "POST" and all([form.is_valid(), guardians.is_valid()]):
        child = accept_child(form.save(commit=False), guardians_in(guardians))
        messages.success(request, _("%(name)s has the case number %(number)s.") % _names(child))
        return redirect("case", child.case_number)
    return _page(request, form, guardians)


@requires(Action.EDIT_CHILD)
def child_edit(request, case_number):
    child = get_object_or_404(Child.objects.visible_to(request.user).select_related("clinic"), case_number=case_number)
    now, family = timezone.now(), list(child.guardians.all())
    form = CaseForm(
        request.POST or None,
        instance=child,
        clinics=Clinic.objects.served_by(request.user),
        now=now,
        first_record_on=_first_record_on(child),
        clinical=request.user.may(Action.EDIT_LIMB),
    )
    guardians = guardian_formset(request.POST or None, family)
    differences = None
    if request.method == "POST" and all([form.is_valid(), guardians.is_valid()]):
        try:
            change_child(
                form.save(commit=False),
                form.cleaned_data["opened_version"],
                guardians_in(guardians),
                changed=form.changed_data,
                by=request.user,
                now=now,
            )
            messages.success(request, _("Saved."))
            return redirect("case", child.case_number)
        except StaleVersionError as stale:
            differences = form.reopen_at(stale.current) + guardian_differences(guardians, family)
    return _page(request, form, guardians, child=child, differences=differences)


def _page(request, form, guardians, **context):
    context |= {"form": form, "guardians": guardians, "forms": [form, *guardians]}
    return render(request, "fitting/child.html", context)


def _names(child):
    return {"name": child, "number": child.shown_case_number}


def _first_record_on(child):
    """The day of the earliest entry that a birth date cannot come after."""
    visit = Visit.objects.filter(child=child).order_by("at").first()
    days = [child.clinic.day_of(visit.at)] if visit else []
    days += [limb.acquired_on for limb in child.limbs.all() if limb.acquired_on]
    return min(days, default=None)
