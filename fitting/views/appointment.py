"""A new appointment, and an appointment's page: move it, or say how it ended."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from fitting.booking_risks import day_risks
from fitting.forms.appointment import AppointmentForm, CloseForm
from fitting.forms.refusals import taken
from fitting.models import Appointment
from fitting.plan_words import chance_words
from fitting.services.appointments import book, close, move
from fitting.wording import day_words
from patients.access import requires
from patients.models import Child, Clinic
from patients.roles import Action
from patients.services import StaleVersionError


@requires(Action.BOOK)
def appointment_new(request, case_number):
    child = get_object_or_404(Child.objects.visible_to(request.user).select_related("clinic"), case_number=case_number)
    now = timezone.now()
    form = AppointmentForm(
        request.POST or None,
        instance=Appointment(child=child),
        clinics=Clinic.objects.served_by(request.user),
        initial={"clinic": child.clinic_id, "day": request.GET.get("day")},
    )
    if request.method == "POST" and form.is_valid() and taken(form, lambda: book(form.save(commit=False), now)):
        messages.success(request, _("Booked."))
        return redirect("appointment", form.instance.pk)
    return render(
        request,
        "fitting/appointment.html",
        {"form": form, "forms": [form], "child": child, "editable": True, "risks": _risks(child, now)},
    )


@requires(Action.READ_CASE)
def appointment(request, pk):
    rows = Appointment.objects.visible_to(request.user).select_related("child__clinic", "clinic", "with_staff")
    row = get_object_or_404(rows, pk=pk)
    if request.method == "POST":
        if not request.user.may(Action.BOOK):
            raise PermissionDenied
        return _close(request, row) if "status" in request.POST else _move(request, row)
    return _page(request, row, _form(request, row))


def _form(request, row, data=None):
    return AppointmentForm(data, instance=row, clinics=Clinic.objects.served_by(request.user))


def _move(request, row):
    form, now = _form(request, row, request.POST), timezone.now()
    try:
        if form.is_valid() and taken(
            form, lambda: move(form.save(commit=False), form.cleaned_data["opened_version"], now)
        ):
            messages.success(request, _("Saved."))
            return redirect("appointment", row.pk)
    except StaleVersionError as stale:
        return _page(request, stale.current, form, differences=form.reopen_at(stale.current))
    return _page(request, Appointment.objects.select_related("child__clinic", "clinic").get(pk=row.pk), form)


def _close(request, row):
    form, now = CloseForm(request.POST), timezone.now()
    try:
        if form.is_valid() and taken(
            form, lambda: close(row, form.cleaned_data["opened_version"], form.cleaned_data["status"], now)
        ):
            messages.success(request, _("Marked: %(status)s.") % {"status": row.get_status_display()})
            return redirect("appointment", row.pk)
        messages.warning(request, " ".join(form.non_field_errors()) or _("Nothing was changed."))
    except StaleVersionError:
        messages.warning(request, _("Not saved: somebody changed this appointment meanwhile. This is how it stands."))
    return redirect("appointment", row.pk)


def _page(request, row, form, differences=None):
    local, booked = row.at.astimezone(row.clinic.zone), row.status == Appointment.Status.BOOKED
    context = {
        "appointment": row,
        "child": row.child,
        "form": form,
        "forms": [form],
        "when": _("%(day)s at %(time)s") % {"day": day_words(local.date()), "time": time_format(local)},
        "closable": booked,
        "editable": booked or form.is_bound,
        "differences": differences,
        "risks": _risks(row.child, timezone.now()) if booked else [],
    }
    return render(request, "fitting/appointment.html", context)


def _risks(child, now):
    return [(risk, chance_words(risk.chance)) for risk in day_risks(child, child.clinic.day_of(now))]
