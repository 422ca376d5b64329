"""Booking, moving and closing appointments."""

from datetime import datetime, timedelta

from django.db import transaction
from django.utils.formats import time_format
from django.utils.translation import gettext as _

from fitting.models import Appointment
from fitting.services.clinic_days import check_day
from fitting.services.steps import StepError
from patients.models import Child, Staff
from patients.services import StaleVersionError, save_versioned

LONGEST = timedelta(minutes=480)


@transaction.atomic
def book(appointment: Appointment, now: datetime) -> Appointment:
    """Store a new appointment; raises StepError when it is past, or child, staff or day cannot take it."""
    _check_time(appointment, now)
    appointment.save()
    return appointment


@transaction.atomic
def move(appointment: Appointment, opened_version: int, now: datetime) -> Appointment:
    """Store a changed appointment unless somebody changed it since it was opened.

    Raises StaleVersionError, or StepError when it is closed, or its new time is past or taken.
    """
    stored = Appointment.objects.get(pk=appointment.pk)
    if stored.version != opened_version:
        raise StaleVersionError(stored)
    if stored.status != Appointment.Status.BOOKED:
        raise StepError(_("This appointment is closed: book a new one."))
    _check_time(appointment, now, same_time=stored.at == appointment.at)
    return save_versioned(appointment, opened_version)


@transaction.atomic
def close(appointment: Appointment, opened_version: int, status: str, now: datetime) -> Appointment:
    """Mark an appointment kept, missed or cancelled.

    Raises StaleVersionError, or StepError when it is closed already, or has not begun and cannot be kept or missed.
    """
    if appointment.version == opened_version and appointment.status != Appointment.Status.BOOKED:
        raise StepError(_("This appointment is closed already."))
    clinic = appointment.clinic
    if status == Appointment.Status.FULFILLED and clinic.day_of(appointment.at) > clinic.day_of(now):
        raise StepError(_("This appointment is on a later day: it cannot have been kept yet."))
    if status == Appointment.Status.NOSHOW and appointment.at > now:
        raise StepError(_("This appointment has not begun: it cannot have been missed yet."))
    appointment.status = status
    return save_versioned(appointment, opened_version)


def _check_time(appointment, now, same_time=False):
    if appointment.at < now and not same_time:
        raise StepError(_("This time is past. Choose a later one."), "time")
    staff = appointment.with_staff
    if staff and not staff.clinics.filter(pk=appointment.clinic_id).exists():
        raise StepError(
            _("%(name)s does not work at %(clinic)s.") % {"name": staff, "clinic": appointment.clinic}, "with_staff"
        )
    _check_free(appointment, Child, "child", "time", appointment.child)
    if staff:
        _check_free(appointment, Staff, "with_staff", "with_staff", staff)
    check_day(appointment, now)


def _check_free(appointment, model, role, field, who):
    """Refuse a time at which `who` has another appointment; the row is locked, so two bookings wait for each other."""
    model.objects.select_for_update().get(pk=who.pk)
    near = Appointment.objects.booked().filter(
        **{role: who}, at__gt=appointment.at - LONGEST, at__lt=appointment.at + _length(appointment)
    )
    for other in near.exclude(pk=appointment.pk):
        if other.at + _length(other) > appointment.at:
            zone = appointment.clinic.zone
            begins, ends = other.at.astimezone(zone), (other.at + _length(other)).astimezone(zone)
            raise StepError(
                _("%(name)s has another appointment from %(begins)s to %(ends)s.")
                % {"name": who, "begins": time_format(begins), "ends": time_format(ends)},
                field,
            )


def _length(appointment) -> timedelta:
    return timedelta(minutes=appointment.minutes)
