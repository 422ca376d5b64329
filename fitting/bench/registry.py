"""An invented registry in a scratch database: staff, children, limbs, visits, bookings and stored forecasts."""

from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from fitting.models import Appointment, CurrentForecast, Forecast, Visit
from patients.case_numbers import case_number_of
from patients.models import Child, Clinic, Limb, RoleHeld, Staff
from patients.roles import Role

AS_OF = date(2026, 5, 4)
CLINICS = ("Tern Island", "Millbrook", "Eastgate")
VISITS, VISITS_APART_DAYS = 2, 180
BOOKED = 0.3  # share of children with an appointment to come
NO_SOCKET, FIT_PROBLEM = 0.1, 0.03  # shares of limbs
AT_ONCE = 500  # rows to an INSERT
NAMES = ("Wren", "Ada", "Juniper", "Otis", "Maren", "Tobias", "Ines", "Kit")


def noon(day: date) -> datetime:
    return datetime.combine(day, time(12), tzinfo=UTC)


def make_member() -> Staff:
    """A prosthetist who serves all three clinics."""
    clinics = Clinic.objects.bulk_create(
        Clinic(name=name, phone="555 0100", out_of_hours_phone="555 0199") for name in CLINICS
    )
    member = Staff.objects.create(username="bench", first_name="Bo", last_name="Quill")
    RoleHeld.objects.create(staff=member, role=Role.PROSTHETIST)
    member.clinics.set(clinics)
    return member


def make_registry(children: int, seed: int) -> Staff:
    """So many children with a limb, two visits and a current forecast each; returns who may see them all."""
    rng = np.random.default_rng(seed)
    member = make_member()
    cases = _stored(Child, _children(children, list(member.clinics.all()), rng))
    limbs = _stored(Limb, (_limb(child, rng) for child in cases))
    visits = (_visit(child, member, number) for child in cases for number in range(VISITS))
    _stored(Visit, visits)
    _stored(Appointment, (_booking(child, rng) for child in cases if rng.random() < BOOKED))
    promises = _stored(Forecast, (_promise(limb, rng) for limb in limbs))
    pairs = zip(limbs, promises, strict=True)
    _stored(CurrentForecast, (CurrentForecast(limb=limb, forecast=forecast) for limb, forecast in pairs))
    return member


def _stored(model, rows):
    return model.objects.bulk_create(rows, batch_size=AT_ONCE)


def _children(count, clinics, rng):
    for serial in range(1, count + 1):
        yield Child(
            case_serial=serial,
            case_number=case_number_of(serial),
            clinic=clinics[serial % len(clinics)],
            given_name=NAMES[serial % len(NAMES)],
            family_name=f"Quill {rng.integers(count)}",
            birth_date=AS_OF - timedelta(days=int(rng.integers(700, 6000))),
            growth_reference=str(rng.choice(Child.GrowthReference.values)),
        )


def _limb(child, rng):
    side, level = rng.choice(Limb.Side.values), rng.choice([Limb.Level.TRANSRADIAL, Limb.Level.TRANSHUMERAL])
    return Limb(child=child, side=str(side), level=str(level), cause=Limb.Cause.TRANSVERSE)


def _visit(child, member, number):
    at = noon(AS_OF - timedelta(days=VISITS_APART_DAYS * (VISITS - number)))
    return Visit(child=child, observer=member, at=at, recorded_at=at)


def _booking(child, rng):
    at = noon(AS_OF + timedelta(days=int(rng.integers(1, 120))))
    return Appointment(child=child, clinic=child.clinic, at=at)


def _promise(limb, rng) -> Forecast:
    """A stored promise: most with days, some without a socket or with a fit problem."""
    act = Forecast.NextAction
    drawn, day = rng.random(), AS_OF + timedelta(days=int(rng.integers(-60, 700)))
    common = {"limb": limb, "as_of": AS_OF, "why": "bench", "made_at": noon(AS_OF), "method": "bench"}
    if drawn < NO_SOCKET:
        return Forecast(**common, state=Forecast.State.NO_SOCKET, next_action=act.MAKE_SOCKET, act_on=AS_OF)
    days = {"start_refit_by": day, "fitted_by": day + timedelta(days=28), "early": day + timedelta(days=35)}
    days |= {"likely": day + timedelta(days=150), "late": day + timedelta(days=300)}
    days["remeasure_by"] = AS_OF + timedelta(days=int(rng.integers(-30, 180)))
    if drawn < NO_SOCKET + FIT_PROBLEM:
        return Forecast(**common, **days, state=Forecast.State.FIT_PROBLEM, next_action=act.FIT_PROBLEM, act_on=AS_OF)
    soon = min(day, days["remeasure_by"])
    action = act.START_REFIT if soon == day else act.REMEASURE
    return Forecast(
        **common, **days, state=Forecast.State.DATED, limiting="girth:60", next_action=action, act_on=max(soon, AS_OF)
    )
