"""The questions typed readings raise, and their answers: remeasured with a new value, or confirmed with a reason."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace

from django.utils.translation import gettext_lazy

from fitting.alert_words import THIRD_TAKE, alert_sentence
from fitting.calc.errors import OutOfReference
from fitting.calc.limb import level_facts
from fitting.calc.lms import reference_age_months, z_score
from fitting.calc.parts import part_of
from fitting.calc.plausibility import (
    ASK,
    ERROR,
    Alert,
    NewReading,
    out_of_range,
    reading_alerts,
    rising_distally,
    unit_slip,
)
from fitting.calc.references import lms_table
from fitting.calc.takes import (
    MOST_TAKES,
    THIRD_TAKE_GIRTH_MM,
    THIRD_TAKE_LENGTH_MM,
    THIRD_TAKE_WEIGHT_KG,
    needs_third_take,
    noise_band,
)
from fitting.calc.units import age_years
from fitting.inputs import SOUND_MEASURE
from fitting.models import Reading
from fitting.services.visits import ReadingIn
from fitting.visit_entry import Entry, Occasion, Question, noise_of, typed_entry, why_not_compared
from fitting.visit_places import SOUND_GIRTH, Place

M = Reading.Measure
REFERENCE = {
    M.STATURE: part_of("stature").table,
    M.WEIGHT: part_of("weight").table,
    **{sound: part_of(name).table for name, sound in {**SOUND_MEASURE, **SOUND_GIRTH}.items()},
}
REMEASURED, CONFIRMED = "remeasured", "confirmed"
ANSWERS = (
    (REMEASURED, gettext_lazy("remeasured")),
    (CONFIRMED, gettext_lazy("confirmed, because")),
)
LONGEST_ASKED, LONGEST_BECAUSE = 4000, 300

NOT_REMEASURED = gettext_lazy("Type the new value above first, or confirm the value and say why.")
NO_BECAUSE = gettext_lazy("Say why the value is right.")
NOT_ANSWERED = gettext_lazy("Answer this before saving: measure again and type the new value, or confirm and say why.")


def read_entries(places: Sequence[Place], data: Mapping[str, str], occasion: Occasion) -> dict[str, Entry]:
    """Every place as typed in a form's data, with its alerts and their answers, by the place's key."""
    entries = {place.key: typed_entry(place, data, occasion) for place in places}
    slips = {key: slip for key, entry in entries.items() if (slip := _slip(entry, occasion))}
    believed = {key: entry for key, entry in entries.items() if key not in slips}
    alerts = {
        key: [slips[key]] if key in slips else _alerts(entry, believed, occasion) for key, entry in entries.items()
    }
    return {key: _answered(entry, alerts[key], data, occasion) for key, entry in entries.items()}


def third_take_limit(measure: str) -> float:
    """Difference of two takes that asks for a third [mm or kg]."""
    if measure == M.WEIGHT:
        return THIRD_TAKE_WEIGHT_KG
    return THIRD_TAKE_GIRTH_MM if measure in Reading.GIRTH_MEASURES else THIRD_TAKE_LENGTH_MM


def _slip(entry, occasion) -> Alert | None:
    """The first take that cannot be, or looks like another unit."""
    readings = [_new_reading(entry, take, occasion) for take in entry.takes]
    return next((alert for reading in readings if (alert := _impossible(reading) or unit_slip(reading))), None)


def _alerts(entry, believed, occasion) -> list[Alert]:
    """What is odd about the settled value of an entry without a slip, beside the other entries that have none."""
    if entry.value is None:
        return []
    reading = replace(
        _new_reading(entry, entry.value, occasion),
        sound=_sound_value(entry.place.limb, believed, occasion),
        z=_z_of(entry.place.measure, entry.value, occasion),
    )
    return [*_third_take(entry), *reading_alerts(reading), *_rising(entry, believed)]


def _impossible(reading) -> Alert | None:
    """A value no child has; where a mixed-up unit explains it, the value meant stands in the figures."""
    alert, slip = out_of_range(reading), unit_slip(reading)
    if alert and slip:
        return replace(alert, figures={**alert.figures, "meant": slip.figures["meant"]})
    return alert


def _third_take(entry):
    limit = third_take_limit(entry.place.measure)
    if needs_third_take(entry.takes, limit):
        yield Alert(THIRD_TAKE, entry.place.key, ASK, {"gap": abs(entry.takes[0] - entry.takes[1]), "limit": limit})


def _new_reading(entry, value, occasion) -> NewReading:
    last, child = entry.last, occasion.child
    last_on = child.clinic.day_of(last.visit.at) if last else child.clinic.day_of(occasion.at)
    return NewReading(
        subject=entry.place.key,
        measure=entry.place.measure,
        value=value,
        tem=noise_of(entry, occasion) / noise_band(1),
        before=last.value if last else None,
        years_since=age_years(last_on, child.clinic.day_of(occasion.at)),
        age_before=age_years(child.birth_date, last_on),
        surgery_since=last is not None and bool(why_not_compared(entry, occasion)),
    )


def _sound_value(limb, entries, occasion) -> float | None:
    """The sound side's same segment: as typed now, else as last read [mm]."""
    segment = limb and level_facts(limb.level).segment_measure
    if not segment:
        return None
    place = Place(SOUND_MEASURE[segment], limb)
    now, last = entries.get(place.key), occasion.history.last(place)
    return (now.value if now else None) or (last.value if last else None)


def _z_of(measure, value, occasion) -> float | None:
    if measure not in REFERENCE:
        return None
    child = occasion.child
    months, _corrected = reference_age_months(child.birth_date, child.clinic.day_of(occasion.at), child.gestation_weeks)
    try:
        return float(z_score(lms_table(REFERENCE[measure]), child.growth_reference, months, value))
    except OutOfReference:
        return None


def _rising(entry, entries):
    if entry.place.measure != M.GIRTH:
        return
    limb = entry.place.limb
    girths = [
        (other.place.station_mm, other.value)
        for other in entries.values()
        if other.place.measure == M.GIRTH and other.place.limb == limb and other.value is not None
    ]
    for alert in rising_distally(limb.level, limb.bulbous_end, girths):
        if alert.subject == f"{entry.place.station_mm:g}":
            yield replace(alert, subject=entry.place.key)


# Answers


def _answered(entry, alerts, data, occasion) -> Entry:
    before = _asked_before(data.get(f"{entry.place.key}-asked", ""))
    questions = [_question(entry, alert, before.get(alert.code), data, occasion) for alert in alerts]
    if questions and questions[0].code == THIRD_TAKE and not questions[0].settled:
        questions = questions[:1]  # until the takes agree there is no value to ask more about
    raised = {question.code for question in questions}
    asked = {code: seen for code, seen in before.items() if code not in raised}
    for code in raised:
        first = before[code]["first"] if code in before else list(entry.filled)
        asked[code] = {"first": first, "last": list(entry.filled)}
    return replace(entry, questions=tuple(questions), asked=asked)


def _question(entry, alert, seen, data, occasion) -> Question:
    sentence = alert_sentence(alert, lambda figure: occasion.show(entry.place.measure, figure))
    if alert.severity == ERROR:
        return Question(alert, sentence, complaint=sentence)
    name = f"{entry.place.key}-{alert.code}"
    answer, because = data.get(f"{name}-answer", ""), data.get(f"{name}-because", "").strip()[:LONGEST_BECAUSE]
    if answer not in (REMEASURED, CONFIRMED) or seen is None:
        answer = ""
    elif answer == CONFIRMED and seen["last"] != list(entry.filled):
        answer = ""  # confirmed for another value than the one that stands there now
    return Question(alert, sentence, answer, because, _complaint(answer, because, entry, seen))


def _complaint(answer, because, entry, seen) -> str:
    if answer == REMEASURED and seen["first"] == list(entry.filled):
        return str(NOT_REMEASURED)
    if answer == CONFIRMED and not because:
        return str(NO_BECAUSE)
    return "" if answer else str(NOT_ANSWERED)


def _asked_before(text) -> dict[str, dict]:
    """What the form remembers of alerts raised before; nothing when it cannot be read."""
    try:
        found = json.loads(text[:LONGEST_ASKED]) if text else {}
        return {
            str(code): {name: [str(typed) for typed in seen[name]][:MOST_TAKES] for name in ("first", "last")}
            for code, seen in found.items()
        }
    except (ValueError, AttributeError, TypeError, KeyError):
        return {}


def asked_text(entry: Entry) -> str:
    """What a form is to remember of the alerts raised at an entry."""
    return json.dumps(entry.asked, sort_keys=True) if entry.asked else ""


# What is stored


def reading_in(entry: Entry) -> ReadingIn:
    """A finished entry as the service takes it."""
    return ReadingIn(
        measure=entry.place.measure,
        takes=entry.takes,
        typed=entry.filled,
        limb=entry.place.limb,
        landmark=entry.place.landmark,
        station_mm=entry.place.station_mm,
        alerts=stored_alerts(entry),
    )


def stored_alerts(entry: Entry) -> tuple[dict, ...]:
    """Alerts with their answers; one that a new value made go away was answered by remeasuring."""
    stored = []
    for question in entry.questions:
        answer = {"code": question.code, "answer": question.answer, "figures": dict(question.alert.figures)}
        if question.answer == CONFIRMED:
            stored.append({**answer, "because": question.because})
        else:
            stored.append({**answer, "typed_first": entry.asked[question.code]["first"]})
    raised = {question.code for question in entry.questions}
    for code, seen in entry.asked.items():
        if code not in raised and code != THIRD_TAKE and seen["first"] != list(entry.filled):
            stored.append({"code": code, "answer": REMEASURED, "typed_first": seen["first"]})
    return tuple(stored)
