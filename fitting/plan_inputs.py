"""Rows -> a planning problem: who is due for a refit at a clinic, the days there are, and what is booked on them."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.conf import settings
from django.db.models import Q

from fitting.calc.planner import problem as calc
from fitting.day_books import DayBook, bookings_between, day_books
from fitting.due import P
from fitting.inputs import settings_of
from fitting.models import Appointment, ClinicDay, Forecast, Socket, VisitKind, usual_minutes
from patients.models import Clinic, Limb, Staff
from patients.roles import ROLES_FOR, Action

FITTING_KINDS = (VisitKind.REFIT, VisitKind.FIRST_FITTING)
FITS_SOCKETS = ROLES_FOR[Action.MAKE_SOCKET]
BEYOND_HORIZON_DAYS = 60  # days that may still take what falls due at the end of the horizon; common practice
FRIDAY = 4


@dataclass(frozen=True)
class PlanInputs:
    """A problem, with the rows behind its keys."""

    problem: calc.Problem
    limbs: dict[str, Limb]
    kinds: dict[str, str]
    days: dict[str, ClinicDay]
    pinned: dict[str, Appointment]


def due_for_refit(clinic: Clinic, as_of: date, horizon_days: int):
    """Limbs of a clinic's active children whose refit starts within the horizon, or that have no socket."""
    until = as_of + timedelta(days=horizon_days)
    due = Q(**{f"{P}start_refit_by__lte": until}) | Q(**{f"{P}state": Forecast.State.NO_SOCKET})
    return (
        Limb.objects.of_active_children()
        .filter(due, child__clinic=clinic)
        .select_related("child", "current_forecast__forecast")
        .order_by("pk")
    )


def plan_inputs(clinic: Clinic, as_of: date, horizon_days: int) -> PlanInputs:
    """The problem of one clinic as of a day; as many queries for one limb as for all."""
    last = as_of + timedelta(days=horizon_days + BEYOND_HORIZON_DAYS)
    limbs = {str(limb.pk): limb for limb in due_for_refit(clinic, as_of, horizon_days)}
    books = {f"{book.day.on}": book for book in day_books(clinic, as_of, last)}
    booked = list(bookings_between(clinic, as_of, last))
    pinned = _pinned(limbs, booked, clinic)
    made = set(Socket.objects.filter(limb__in=limbs, fitted_on=None, retired_on=None).values_list("limb_id", flat=True))
    worn = set(Socket.objects.in_use().filter(limb__in=limbs).values_list("limb_id", flat=True))
    kinds = {key: VisitKind.REFIT if limb.pk in worn else VisitKind.FIRST_FITTING for key, limb in limbs.items()}
    minutes = {kind: usual_minutes(clinic, kind) for kind in FITTING_KINDS}
    fitters = set(Staff.objects.filter(roles_held__role__in=FITS_SOCKETS, clinics=clinic).values_list("pk", flat=True))
    lead = timedelta(days=settings_of(clinic).lead_time_days)
    refits, counted = [], set()
    for key, limb in limbs.items():
        ready_on = as_of if limb.pk in made else as_of + lead
        stands = _booking(pinned[key], clinic, counted) if key in pinned else None
        refits.append(_refit(key, limb, clinic, as_of, ready_on, minutes[kinds[key]], stands))
    problem = calc.Problem(
        as_of=as_of,
        refits=tuple(refits),
        days=(
            *(_day(book, clinic, fitters) for book in books.values()),
            *_closed_but_booked(pinned.values(), books, clinic),
        ),
        taken=tuple(_booking(row, clinic, set()) for row in booked if row.pk not in counted),
        could_open=tuple(_could_open(clinic, as_of, last, books)),
    )
    return PlanInputs(problem, limbs, kinds, {key: book.day for key, book in books.items()}, pinned)


def _pinned(limbs, booked, clinic):
    """The fitting that stands for each limb, if one does: a fitting of a child is for all of its limbs that are due."""
    fittings = {row.child_id: row for row in reversed(booked) if row.kind in FITTING_KINDS}
    return {key: fittings[limb.child_id] for key, limb in limbs.items() if limb.child_id in fittings}


def _booking(row, clinic, counted):
    """A booking's minutes, counted once even where it stands for two limbs."""
    minutes = 0 if row.pk in counted else row.minutes
    counted.add(row.pk)
    return calc.Booking(f"{clinic.day_of(row.at)}", minutes, str(row.with_staff_id or calc.ANYBODY))


def _refit(key, limb, clinic, as_of, ready_on, minutes, stands):
    forecast, child = limb.current_forecast.forecast, limb.child
    days = (forecast.early, forecast.likely, forecast.late) if forecast.early else (as_of, as_of, as_of)
    return calc.Refit(
        key=key,
        minutes=minutes,
        ready_on=ready_on,
        fitted_by=forecast.fitted_by or as_of,
        early=days[0],
        likely=days[1],
        late=days[2],
        travel_minutes=((clinic.name, child.travel_minutes or 0),),
        household=str(child.household),
        language=calc.ANY_LANGUAGE if child.language == settings.LANGUAGE_CODE else child.language,
        pinned=stands,
    )


def _day(book: DayBook, clinic: Clinic, fitters: set[int]):
    """A day as a refit sees it: of who works, those who fit sockets."""
    day = book.day
    staff = tuple((str(who.pk), day.minutes) for who in book.working if who.pk in fitters)
    return calc.ClinicDay(
        key=f"{day.on}",
        clinic=clinic.name,
        on=day.on,
        room_minutes=book.room_minutes,
        staff=staff if book.staffed else ((calc.ANYBODY, book.room_minutes),),
        languages=frozenset({day.interpreter} - {""}),
    )


def _closed_but_booked(rows, books, clinic):
    """Bookings made before days were opened keep their day; it takes nothing more."""
    for on in sorted({clinic.day_of(row.at) for row in rows}):
        if f"{on}" not in books:
            yield calc.ClinicDay(f"{on}", clinic.name, on, 0, ())


def _could_open(clinic, as_of, last, books):
    """Weekdays that are closed, as long as a day usually is, an interpreter included."""
    minutes = ClinicDay._meta.get_field("minutes").default
    every = frozenset(code for code, _name in settings.LANGUAGES)
    for ahead in range(1, (last - as_of).days + 1):
        on = as_of + timedelta(days=ahead)
        if on.weekday() <= FRIDAY and f"{on}" not in books:
            yield calc.ClinicDay(f"{on}", clinic.name, on, minutes, ((calc.ANYBODY, minutes),), every)
