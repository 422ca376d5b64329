"""The days of a clinic: what is booked, how full they are; opening, changing and closing one."""

from datetime import timedelta

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from fitting.day_books import book_of, day_books
from fitting.forms.clinic_day import ClinicDayForm
from fitting.forms.refusals import taken
from fitting.models import ClinicDay, PlanProposal
from fitting.services.clinic_days import change_day, close_day, open_day
from fitting.services.steps import StepError
from fitting.views.days import served_today
from patients.access import requires
from patients.models import Clinic
from patients.roles import Action
from patients.services import StaleVersionError

SHOWN_DAYS = 90


def _may_change(request) -> None:
    if not request.user.may(Action.BOOK):
        raise PermissionDenied


def _chosen(request) -> Clinic | None:
    """The clinic asked for among those served, or the first."""
    served = Clinic.objects.served_by(request.user)
    asked = request.GET.get("clinic", "")
    return served.filter(pk=asked).first() if asked.isdecimal() else served.first()


@requires(Action.READ_CASE)
def clinic_days(request):
    if request.method == "POST":
        _may_change(request)
    clinic, now = _chosen(request), timezone.now()
    clinics, as_of = served_today(request.user, clinic)
    context = {"clinics": clinics, "clinic": clinic, "as_of": as_of}
    if clinic is None:
        return render(request, "fitting/clinic_days.html", context)
    form = ClinicDayForm(request.POST or None, instance=ClinicDay(clinic=clinic))
    if request.method == "POST" and form.is_valid():
        staff = form.cleaned_data["staff"]
        if taken(form, lambda: open_day(form.save(commit=False), staff, now)):
            messages.success(request, _("The day is open."))
            return redirect(f"{reverse('clinic_days')}?clinic={clinic.pk}")
    context |= {
        "form": form,
        "forms": [form],
        "books": day_books(clinic, as_of, as_of + timedelta(days=SHOWN_DAYS)),
        "proposal": PlanProposal.objects.filter(clinic=clinic).first(),
    }
    return render(request, "fitting/clinic_days.html", context)


@requires(Action.READ_CASE)
def clinic_day(request, pk):
    days = ClinicDay.objects.visible_to(request.user).select_related("clinic")
    day = get_object_or_404(days, pk=pk)
    if request.method != "POST":
        return _page(request, day, ClinicDayForm(instance=day))
    _may_change(request)
    return _close(request, day) if "close" in request.POST else _change(request, day)


def _page(request, day, form, differences=None):
    context = {
        "day": day,
        "clinic": day.clinic,
        "book": book_of(day.clinic, day.on),
        "form": form,
        "forms": [form],
        "differences": differences,
    }
    return render(request, "fitting/clinic_day.html", context)


def _change(request, day):
    form = ClinicDayForm(request.POST, instance=ClinicDay.objects.select_related("clinic").get(pk=day.pk))
    try:
        if form.is_valid():
            staff, opened = form.cleaned_data["staff"], form.cleaned_data["opened_version"]
            if taken(form, lambda: change_day(form.save(commit=False), staff, opened)):
                messages.success(request, _("Saved."))
                return redirect("clinic_day", day.pk)
    except StaleVersionError as stale:
        return _page(request, stale.current, form, differences=form.reopen_at(stale.current))
    return _page(request, day, form)


def _close(request, day):
    opened = request.POST.get("opened_version", "")
    try:
        close_day(day, int(opened) if opened.isdecimal() else 0)
    except StepError as refusal:
        messages.warning(request, str(refusal))
        return redirect("clinic_day", day.pk)
    except StaleVersionError:
        messages.warning(request, _("Not closed: somebody changed this day meanwhile. This is how it stands."))
        return redirect("clinic_day", day.pk)
    messages.success(request, _("The day is closed."))
    return redirect(f"{reverse('clinic_days')}?clinic={day.clinic_id}")
