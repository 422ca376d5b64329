"""Opening, changing and closing the days of a clinic, and whether a day can take a booking."""

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fitting.day_books import book_of, bookings_between
from fitting.models import Absence, Appointment, ClinicDay
from fitting.services.steps import StepError
from fitting.wording import day_words
from patients.models import Clinic
from patients.services import save_versioned


@transaction.atomic
def open_day(day: ClinicDay, staff, now: datetime) -> ClinicDay:
    """Open a day; raises StepError when it is past or open already."""
    Clinic.objects.select_for_update().get(pk=day.clinic_id)
    if day.on < day.clinic.day_of(now):
        raise StepError(_("This day is past. Choose a later one."), "on")
    if ClinicDay.objects.filter(clinic=day.clinic, on=day.on).exists():
        raise StepError(_("This day is open already. Change it in the list."), "on")
    day.save()
    day.staff.set(staff)
    return day


@transaction.atomic
def change_day(day: ClinicDay, staff, opened_version: int) -> ClinicDay:
    """Store a changed day. Raises StaleVersionError, or StepError when less would be left than is booked."""
    save_versioned(day, opened_version)
    day.staff.set(staff)
    book = book_of(day.clinic, day.on)
    if book.used > book.minutes:
        raise StepError(
            _("%(used)d minutes are booked on this day and %(minutes)d would be left. Move bookings first.")
            % {"used": book.used, "minutes": book.minutes},
            "minutes",
        )
    return day


@transaction.atomic
def close_day(day: ClinicDay, opened_version: int) -> None:
    """Close a day. Raises StaleVersionError, or StepError while anybody is booked on it."""
    save_versioned(day, opened_version)
    booked = bookings_between(day.clinic, day.on, day.on).count()
    if booked:
        raise StepError(
            ngettext(
                "%(count)d booking stands on this day. Move or cancel it first.",
                "%(count)d bookings stand on this day. Move or cancel them first.",
                booked,
            )
            % {"count": booked}
        )
    day.delete()


def check_day(appointment: Appointment, now: datetime) -> None:
    """Refuse a booking at the wrong clinic, on a closed or full day, or with somebody who does not work that day.

    A clinic that has opened no day from today on does not plan by days: its bookings are not held against any.
    """
    clinic = appointment.clinic
    if appointment.child.clinic_id != clinic.pk:
        raise StepError(
            _("%(child)s is seen at %(clinic)s. Book there, or change the child's clinic first.")
            % {"child": appointment.child, "clinic": appointment.child.clinic},
            "clinic",
        )
    on = clinic.day_of(appointment.at)
    _check_absence(appointment, on)
    if not ClinicDay.objects.filter(clinic=clinic, on__gte=clinic.day_of(now)).exists():
        return
    ClinicDay.objects.select_for_update().filter(clinic=clinic, on=on).first()  # two bookings wait for each other
    book = book_of(clinic, on)
    if book is None:
        raise StepError(
            _("%(clinic)s is closed on %(day)s. Choose an open day, or open this one under Clinic days.")
            % {"clinic": clinic, "day": day_words(on)},
            "day",
        )
    _check_staff(appointment, book, on)
    _check_room(appointment, book, on)


def _check_absence(appointment, on: date):
    staff = appointment.with_staff
    if staff and Absence.objects.filter(staff=staff, first_on__lte=on, last_on__gte=on).exists():
        raise StepError(
            _("%(name)s is away on %(day)s. Choose another day or another person.")
            % {"name": staff, "day": day_words(on)},
            "with_staff",
        )


def _check_staff(appointment, book, on):
    staff = appointment.with_staff
    if staff and book.staffed and staff not in book.working:
        raise StepError(
            _("%(name)s does not work on %(day)s. Choose another day or another person.")
            % {"name": staff, "day": day_words(on)},
            "with_staff",
        )


def _check_room(appointment, book, on):
    free = book.minutes - sum(other.minutes for other in book.bookings if other.pk != appointment.pk)
    if appointment.minutes > free:
        raise StepError(
            _("%(day)s is full: %(free)d of %(minutes)d minutes are free. Choose another day or open one.")
            % {"day": day_words(on), "free": max(free, 0), "minutes": book.minutes},
            "day",
        )
