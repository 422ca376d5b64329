"""Making a promise: every change that bears on a limb ends here."""

from dataclasses import asdict
from datetime import date, datetime

from django.db import transaction

from fitting.calc.outlook import quantiles
from fitting.calc.promise import Promise, promise
from fitting.inputs import LimbInputs, limb_inputs
from fitting.models import CurrentForecast, Forecast
from patients.models import Clinic, Limb, Staff

FAN_QUANTILES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)
FAN_MONTHS = 36


@transaction.atomic
def repromise(limb: Limb, as_of: date, why: str, now: datetime, by: Staff | None = None) -> Forecast:
    """Forecast a limb anew from its records and make that its current promise; earlier promises stay as they are."""
    inputs = limb_inputs(limb)
    made = promise(inputs.outlooks, inputs.socket, inputs.fit, inputs.facts, inputs.tolerances, as_of)
    forecast = Forecast.objects.create(
        limb=limb,
        socket=inputs.socket_row,
        visit=inputs.newest_visit,
        as_of=as_of,
        why=why,
        made_by=by,
        made_at=now,
        **_row(made, inputs),
    )
    CurrentForecast.objects.update_or_create(limb=limb, defaults={"forecast": forecast})
    return forecast


def repromise_clinic(clinic: Clinic, as_of: date, why: str, now: datetime, by: Staff | None = None) -> int:
    """Forecast every limb of a clinic's active children anew; returns how many."""
    limbs = Limb.objects.of_active_children().filter(child__clinic=clinic).select_related("child__clinic")
    for limb in limbs:
        repromise(limb, as_of=as_of, why=why, now=now, by=by)
    return len(limbs)


def _row(made: Promise, inputs: LimbInputs) -> dict:
    return {
        "method": made.method,
        "references": list(inputs.references),
        "inputs": _remembered(inputs),
        "state": made.state,
        "early": made.dates.early,
        "likely": made.dates.likely,
        "late": made.dates.late,
        "limiting": made.limiting,
        "layer_on": made.days.layer_on,
        "length_on": made.days.length_on,
        "fitted_by": made.days.fitted_by,
        "start_refit_by": made.days.start_refit_by,
        "check_on": made.days.check_on,
        "remeasure_by": made.days.remeasure_by,
        "next_action": made.next_action.code,
        "act_on": made.act_on,
        "room": [_room(room) for room in made.rooms],
        "fan": _fan(made, inputs),
        "notes": [*made.notes, *inputs.notes],
    }


def _remembered(inputs):
    newest = inputs.facts.last_measured_on
    return {
        "readings": list(inputs.reading_ids),
        "tolerances": asdict(inputs.tolerances),
        "last_reading": newest.isoformat() if newest else None,
        "findings": _findings(inputs.fit),
    }


def _findings(fit):
    if fit is None:
        return {}
    groups = {"surgeon": fit.surgeon, "red": fit.red, "outgrown": fit.outgrown, "loose": fit.loose}
    return {name: list(codes) for name, codes in {**groups, "remeasure": fit.remeasure}.items() if codes}


def _iso(day):
    return day.isoformat() if day else None


def _room(room):
    return {
        "part": room.part,
        "station_mm": float(room.part.rpartition(":")[2]),
        "girth_mm": room.girth_now_mm,
        "capacity_mm": round(room.capacity_now_mm, 1),
        "full_mm": round(room.full_capacity_mm, 1),
        "outgrown_above_mm": round(room.outgrown_above_mm, 1),
        "room_mm": None if room.room_now_mm is None else round(room.room_now_mm, 1),
        "comparable": room.comparable,
        "early": _iso(room.dates.early),
        "likely": _iso(room.dates.likely),
        "late": _iso(room.dates.late),
    }


def _fan(made, inputs):
    """Quantiles of the true girth ahead at the station dated first, and the girth above which that one is outgrown."""
    followed = [room for room in made.rooms if room.comparable]
    if inputs.outlooks.girths is None or not followed:
        return {}
    shown = min(followed, key=lambda room: (room.part != made.limiting, room.dates.early or date.max))
    outlook = inputs.outlooks.girths
    bands = quantiles(outlook, shown.part, FAN_QUANTILES)[:, : FAN_MONTHS + 1]
    fan = {
        "origin": outlook.origin.isoformat(),
        "part": shown.part,
        "threshold_mm": round(shown.outgrown_above_mm, 1),
        "days": [round(day) for day in outlook.days_ahead[: FAN_MONTHS + 1].tolist()],
    }
    return fan | {
        f"q{100 * q:g}": [round(size, 1) for size in band]
        for q, band in zip(FAN_QUANTILES, bands.tolist(), strict=True)
    }
