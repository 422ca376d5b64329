"""Appointments of the invented clinics: kept ones behind the visits, some today, some coming, some missed."""

from datetime import date, datetime, time, timedelta

from fitting.day_books import bookings_between
from fitting.demo.calendar import clinic_time, weekday_on_or_after, weekday_on_or_before
from fitting.demo.child_course import Team
from fitting.models import Appointment, ClinicDay, Visit, VisitKind
from fitting.services.appointments import book, close
from fitting.services.clinic_days import open_day
from patients.models import Child, Clinic

KEPT_BACK_DAYS = 120
BOOKED_AHEAD, CLOSED_AFTER = timedelta(days=14), timedelta(hours=1)
TODAY_AT = ((8, 30), (9, 15), (10, 0), (11, 0), (13, 0), (14, 0), (15, 0))
MISSED_DAYS_AGO = 6
OPEN_WEEKS, OPEN_WEEKDAYS, INTERPRETER_WEEKDAY = 16, (0, 1, 3), 3
OPENS_AT, OPEN_MINUTES = time(8, 30), 420
COMING_FIRST_DAYS, COMING_EVERY_DAYS = 3, 4


def open_clinic_days(clinic: Clinic, team: Team, now: datetime):
    """Open three weekdays of each of the coming weeks, and every day on which somebody is booked already."""
    today = clinic.day_of(now)
    last = today + timedelta(weeks=OPEN_WEEKS)
    booked = {clinic.day_of(row.at) for row in bookings_between(clinic, today, last)}
    for ahead in range((last - today).days + 1):
        on = today + timedelta(days=ahead)
        if on.weekday() in OPEN_WEEKDAYS or on in booked:
            interpreter = "es" if on.weekday() == INTERPRETER_WEEKDAY else ""
            day = ClinicDay(clinic=clinic, on=on, opens_at=OPENS_AT, minutes=OPEN_MINUTES, interpreter=interpreter)
            open_day(day, [team.prosthetist], now)


def book_kept(visit: Visit, team: Team, today: date):
    """The appointment behind a visit of the last months."""
    child = visit.child
    if (today - child.clinic.day_of(visit.at)).days > KEPT_BACK_DAYS:
        return
    kept = _appointment(child, team, visit.at, visit.kind)
    close(kept, kept.version, Appointment.Status.FULFILLED, visit.recorded_at)


class Bookings:
    """Books what the table "children" says of each child, one after the other at each clinic."""

    def __init__(self):
        self.counts = {}

    def book(self, child: Child, team: Team, when: str, today: date):
        """when: today, coming, missed, or empty for none."""
        if not when:
            return
        place = self.counts[child.clinic, when] = self.counts.get((child.clinic, when), -1) + 1
        {"today": _today, "coming": _coming, "missed": _missed}[when](child, team, today, place)


def _today(child, team, today, place):
    _appointment(child, team, clinic_time(child.clinic, today, *TODAY_AT[place]), VisitKind.FOLLOW_UP)


def _coming(child, team, today, place):
    day = weekday_on_or_after(today + timedelta(days=COMING_FIRST_DAYS + COMING_EVERY_DAYS * place))
    _appointment(child, team, clinic_time(child.clinic, day, 10, 30), VisitKind.REMEASURE)


def _missed(child, team, today, place):
    day = weekday_on_or_before(today - timedelta(days=MISSED_DAYS_AGO + place))
    missed = _appointment(child, team, clinic_time(child.clinic, day, 9), VisitKind.REMEASURE)
    close(missed, missed.version, Appointment.Status.NOSHOW, missed.at + CLOSED_AFTER)


def _appointment(child, team, at, kind):
    appointment = Appointment(child=child, clinic=child.clinic, at=at, kind=kind, with_staff=team.prosthetist)
    return book(appointment, at - BOOKED_AHEAD)
