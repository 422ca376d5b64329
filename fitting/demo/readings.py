"""What staff would read and type at a visit: true sizes with reading error, in the clinic's units."""

import numpy as np

from fitting.calc.limb import level_facts
from fitting.calc.takes import THIRD_TAKE_GIRTH_MM, THIRD_TAKE_LENGTH_MM, THIRD_TAKE_WEIGHT_KG, needs_third_take
from fitting.calc.tolerances import Tolerances
from fitting.demo.growth import Grower
from fitting.demo.residual import Residual
from fitting.models import Reading
from fitting.services.visits import ReadingIn
from patients.models import Clinic, Limb

M = Reading.Measure
DEFAULTS = Tolerances()
MM_PER_INCH, KG_PER_LB = 25.4, 0.45359237  # exact by definition
INCH_PARTS = 16  # marks of an inch tape

# Part of the error of one reading that both takes share (posture, tape pull), and the part of each take: together the
# TEM. Picked for the demo.
SHARED_ERROR, TAKE_ERROR = 0.8, 0.6
SITTING_HEIGHT_FROM_MONTHS = 96
SOUND_OF_SEGMENT = {
    "forearm_length": {
        M.SOUND_FOREARM_LENGTH: "forearm_length",
        M.SOUND_ELBOW_THUMB_LENGTH: None,
        M.SOUND_FOREARM_GIRTH: "forearm_girth",
        M.SOUND_WRIST_GIRTH: "wrist_girth",
    },
    "upper_arm_length": {
        M.SOUND_UPPER_ARM_LENGTH: "upper_arm_length",
        M.SOUND_FOREARM_LENGTH: "forearm_length",
        M.SOUND_UPPER_ARM_GIRTH: "upper_arm_girth",
    },
    "hand_length": {M.SOUND_HAND_LENGTH: "hand_length", M.SOUND_WRIST_GIRTH: "wrist_girth"},
    None: {M.SOUND_UPPER_ARM_LENGTH: "upper_arm_length", M.SOUND_FOREARM_LENGTH: "forearm_length"},
}


class Observer:
    """Reads true sizes with error and types them in a clinic's units."""

    def __init__(self, clinic: Clinic, rng: np.random.Generator):
        self.clinic, self.rng = clinic, rng

    def length(self, measure: str, true_mm: float, limb: Limb | None = None, **place) -> ReadingIn:
        """Two takes of a length or girth, a third where two differ too much."""
        girth = measure in Reading.GIRTH_MEASURES
        limit_mm = THIRD_TAKE_GIRTH_MM if girth else THIRD_TAKE_LENGTH_MM
        pairs = self._takes(true_mm, _tem_mm(measure, girth), limit_mm, self._typed_length)
        return _reading(measure, pairs, limb, place)

    def weight(self, true_kg: float) -> ReadingIn:
        return _reading(
            M.WEIGHT, self._takes(true_kg, DEFAULTS.tem_weight_kg, THIRD_TAKE_WEIGHT_KG, self._typed_weight), None, {}
        )

    def _takes(self, true_value, tem, third_limit, typed):
        shared = SHARED_ERROR * tem * self.rng.normal()
        own = TAKE_ERROR * tem * self.rng.normal(size=3)
        pairs = [typed(true_value + shared + error) for error in own]
        return pairs if needs_third_take([value for value, _ in pairs[:2]], third_limit) else pairs[:2]

    def _typed_length(self, value_mm):
        """Value to the mark of the tape [mm], and as typed."""
        if self.clinic.length_unit == Clinic.LengthUnit.IN:
            marks = round(value_mm / MM_PER_INCH * INCH_PARTS)
            return marks / INCH_PARTS * MM_PER_INCH, inches_text(marks)
        whole_mm = round(value_mm)
        in_cm = self.clinic.length_unit == Clinic.LengthUnit.CM
        return float(whole_mm), f"{whole_mm / 10:.1f}" if in_cm else str(whole_mm)

    def _typed_weight(self, value_kg):
        if self.clinic.weight_unit == Clinic.WeightUnit.LB:
            pounds = round(value_kg / KG_PER_LB, 1)
            return pounds * KG_PER_LB, f"{pounds:.1f}"
        return round(value_kg, 1), f"{value_kg:.1f}"


def inches_text(marks: int) -> str:
    """Sixteenths of an inch as a ruler is read: 108 is 6 3/4."""
    whole, part = divmod(marks, INCH_PARTS)
    if not part:
        return str(whole)
    shared = np.gcd(part, INCH_PARTS)
    return f"{whole} {part // shared}/{INCH_PARTS // shared}" if whole else f"{part // shared}/{INCH_PARTS // shared}"


def _tem_mm(measure, girth):
    if girth:
        return DEFAULTS.tem_girth_mm
    return DEFAULTS.tem_stature_mm if measure in Reading.BODY_MEASURES else DEFAULTS.tem_length_mm


def _reading(measure, pairs, limb, place):
    takes, typed = zip(*pairs, strict=True)
    return ReadingIn(measure=measure, takes=takes, typed=typed, limb=limb, **place)


def body_readings(observer: Observer, grower: Grower, age_months: float, heavier: float = 1.0) -> list[ReadingIn]:
    """Height and weight, and sitting height from eight years. heavier: multiple of the weight."""
    rows = [
        observer.length(M.STATURE, float(grower.size("stature", age_months))),
        observer.weight(float(grower.size("weight", age_months)) * heavier),
    ]
    if age_months >= SITTING_HEIGHT_FROM_MONTHS:
        rows.append(observer.length(M.SITTING_HEIGHT, grower.sitting_height(age_months)))
    return rows


def limb_readings(observer: Observer, limb: Limb, residual: Residual, age_months: float) -> list[ReadingIn]:
    """Residual length and the girth at every station; nothing at the levels without a residual limb."""
    if not residual.has_girths:
        return []
    facts = level_facts(limb.level)
    length = {"landmark": facts.length_landmark}
    rows = [observer.length(M.RESIDUAL_LENGTH, residual.length_mm(age_months), limb, **length)]
    for station_mm, girth_mm in residual.girths_mm(age_months).items():
        place = {"landmark": facts.station_landmark, "station_mm": float(station_mm)}
        rows.append(observer.length(M.GIRTH, girth_mm, limb, **place))
    return rows


def sound_readings(observer: Observer, limb: Limb, grower: Grower, age_months: float) -> list[ReadingIn]:
    """The sound side's measures that go with a level."""
    wanted = SOUND_OF_SEGMENT[level_facts(limb.level).segment_measure]
    return [
        observer.length(
            measure,
            float(grower.size(name, age_months)) if name else grower.elbow_thumb_length(age_months),
            limb,
        )
        for measure, name in wanted.items()
    ]
