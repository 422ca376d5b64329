"""Clinic days with what is booked on them: minutes there are, taken and free."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from fitting.models import Absence, Appointment, ClinicDay
from patients.models import Clinic, Staff


@dataclass(frozen=True)
class DayBook:
    """One clinic day: the bookings that stand, earliest first, and who works and is not away."""

    day: ClinicDay
    bookings: tuple[Appointment, ...]
    working: tuple[Staff, ...]
    staffed: bool

    @property
    def room_minutes(self) -> int:
        return self.day.minutes * self.day.rooms

    @property
    def minutes(self) -> int:
        """Minutes that can be booked: as many as both rooms and staff have; a day without names has its rooms."""
        return min(self.room_minutes, self.day.minutes * len(self.working)) if self.staffed else self.room_minutes

    @property
    def used(self) -> int:
        return sum(booking.minutes for booking in self.bookings)

    @property
    def free(self) -> int:
        return max(self.minutes - self.used, 0)

    def used_by(self, staff: Staff) -> int:
        return sum(booking.minutes for booking in self.bookings if booking.with_staff_id == staff.pk)


def bookings_between(clinic: Clinic, first: date, last: date):
    """Bookings that stand at a clinic from the first to the last day, both the clinic's own and included."""
    start = datetime.combine(first, time(), tzinfo=clinic.zone)
    end = datetime.combine(last + timedelta(days=1), time(), tzinfo=clinic.zone)
    return Appointment.objects.booked().filter(clinic=clinic, at__gte=start, at__lt=end).order_by("at", "pk")


def day_books(clinic: Clinic, first: date, last: date) -> list[DayBook]:
    """The open days of a clinic from the first to the last day; as many queries for one day as for a year."""
    days = ClinicDay.objects.filter(clinic=clinic, on__range=(first, last)).order_by("on").prefetch_related("staff")
    bookings = defaultdict(list)
    for booking in bookings_between(clinic, first, last).select_related("child", "with_staff"):
        bookings[clinic.day_of(booking.at)].append(booking)
    absences = list(Absence.objects.filter(staff__clinics=clinic, first_on__lte=last, last_on__gte=first))
    return [_book(day, bookings[day.on], absences) for day in days]


def _book(day, bookings, absences):
    away = {absence.staff_id for absence in absences if absence.first_on <= day.on <= absence.last_on}
    named = list(day.staff.all())
    return DayBook(day, tuple(bookings), tuple(who for who in named if who.pk not in away), bool(named))


def book_of(clinic: Clinic, on: date) -> DayBook | None:
    """The book of one day, or None where the clinic is closed."""
    return next(iter(day_books(clinic, on, on)), None)
