"""A promise as the row that is stored of it."""

from dataclasses import asdict
from datetime import date

from fitting.calc.bands import Band, SeriesBands, series_bands
from fitting.calc.drivers import drivers
from fitting.calc.errors import OutOfReference
from fitting.calc.followed import GIRTHS
from fitting.calc.outgrowth import END_GAP
from fitting.calc.outlook import quantiles
from fitting.calc.promise import DATED, Promise
from fitting.calc.sharpen import sharpening, visit_days
from fitting.inputs import LimbInputs

FAN_QUANTILES = (0.025, 0.10, 0.25, 0.50, 0.75, 0.90, 0.975)
FAN_MONTHS = 36
LN_PLACES = 5  # of ln size: a hundredth of a millimetre in a metre


def row_of(made: Promise, inputs: LimbInputs) -> dict:
    """Fields of the `Forecast` row of a promise, but for whose it is and when and why it was made."""
    bands = _bands(inputs)
    return {
        "method": made.method,
        "basis": inputs.basis,
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
        "bands": [_stored_bands(one) for one in bands.values()],
        "drivers": _drivers(made, inputs, bands),
        "sharper": _sharper(made, inputs),
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


def _bands(inputs):
    """Bands of every series followed whose age has a reference, by measure."""
    found = {}
    for measure, followed in inputs.followed.items():
        try:
            found[measure] = series_bands(followed)
        except OutOfReference:
            continue
    return found


def _stored_bands(bands: SeriesBands):
    return {
        "measure": bands.measure,
        "origin": bands.origin.isoformat(),
        "days": list(bands.days),
        "wander_scale": bands.wander_scale,
        "parts": {part: _stored_band(band) for part, band in bands.parts.items()},
        "shared": _stored_band(bands.shared),
        "more_wander": _stored_band(bands.more_wander),
        "more_error": _stored_band(bands.more_error),
    }


def _stored_band(band):
    return {name: [round(float(value), LN_PLACES) for value in values] for name, values in vars(band).items()}


def bands_of(row: dict) -> SeriesBands:
    """The bands of one series as they were stored."""
    bands = {name: Band(**row[name]) for name in ("shared", "more_wander", "more_error")}
    return SeriesBands(
        measure=row["measure"],
        origin=date.fromisoformat(row["origin"]),
        days=row["days"],
        wander_scale=row["wander_scale"],
        parts={part: Band(**band) for part, band in row["parts"].items()},
        **bands,
    )


def _drivers(made, inputs, bands):
    """What drove the dates of a dated limb; nothing where the limiting part is not followed ahead."""
    if made.state != DATED:
        return {}
    segment = inputs.outlooks.segment
    at_end = made.limiting == END_GAP
    if at_end and (segment is None or segment.estimated):
        return {}
    outlook, part = (segment.outlook, segment.part) if at_end else (inputs.outlooks.girths, made.limiting)
    measure = part if at_end else GIRTHS
    if outlook is None or part not in outlook.parts or measure not in bands:
        return {}
    read_on = {o.on for o in inputs.followed[measure].readings[part]}
    told = asdict(drivers(outlook, part, bands[measure], len(read_on), made.dates.likely))
    return {name: round(value, 3) if isinstance(value, float) else value for name, value in told.items()}


def _sharper(made, inputs):
    if made.state != DATED:
        return {}
    days = visit_days(made.as_of, made.days.start_refit_by)
    found = sharpening(
        inputs.followed, inputs.outlooks, inputs.socket, inputs.facts, inputs.tolerances, made.outgrowth, days
    )
    return asdict(found) | {"visit_on": found.visit_on.isoformat()} if found else {}
