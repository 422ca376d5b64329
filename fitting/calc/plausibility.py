"""Questions a new reading raises: codes and figures, no wording. Each must be answered; none erases what was typed."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from fitting.calc.limb import level_facts
from fitting.calc.takes import noise_band

ERROR, ASK = "error", "ask"  # cannot be saved; must be answered "remeasured" or "confirmed, because"

# New / last reading when a unit was mixed up (cm and mm, inch and cm, inch and mm; pound and kilogram).
LENGTH_SLIPS = (10.0, 0.1, 2.54, 1 / 2.54, 25.4, 1 / 25.4)
WEIGHT_SLIPS = (2.20462, 1 / 2.20462)
SLIP_NEAR = 0.12  # on ln ratio: room for a year of growth and reading error, common practice

LONGER_THAN_SOUND_MM = 5.0  # common practice
RISING_RATIO = 1.10  # girth of a station over the one before it, common practice

# Lowest and highest value that is saved [mm, weight kg]. Arm: common practice (mid-upper-arm girth 8 to 50 cm, upper
# arm 8 to 45, ulna 6 to 32, residual girth 6 to 45, residual length 0.5 to 40); the others: own, wide, common practice.
HARD_RANGES = {
    "stature": (400.0, 2300.0),
    "sitting_height": (250.0, 1200.0),
    "weight": (1.5, 250.0),
    "girth": (60.0, 450.0),
    "residual_length": (5.0, 400.0),
    "residual_length_bony": (5.0, 400.0),
    "width_ml": (10.0, 200.0),
    "width_ap": (10.0, 200.0),
    "sound_girth": (60.0, 500.0),
    "sound_forearm_length": (60.0, 320.0),
    "sound_upper_arm_length": (80.0, 450.0),
    "sound_elbow_thumb_length": (80.0, 550.0),
    "sound_hand_length": (40.0, 260.0),
    "sound_forearm_girth": (60.0, 450.0),
    "sound_upper_arm_girth": (80.0, 500.0),
    "sound_wrist_girth": (60.0, 300.0),
}

# z-scores beyond which a reading is asked about: WHO flags, from memory; other measures take the stature's or girth's.
Z_LIMITS = {
    "stature": (-6.0, 6.0),
    "weight": (-6.0, 5.0),
    "sound_upper_arm_girth": (-5.0, 5.0),
    "sound_forearm_girth": (-5.0, 5.0),
    "sound_wrist_girth": (-5.0, 5.0),
    "sound_forearm_length": (-6.0, 6.0),
    "sound_upper_arm_length": (-6.0, 6.0),
    "sound_hand_length": (-6.0, 6.0),
}

# Most a measure grows in a year, as a share of its last value, by age at that value: under 1 year, under 2, older.
# Lengths: the WHO median stature gains 52 % and 16 % in the first two years and weight 190 % in the first, from memory;
# later the 95th centile of a year's stature (height_velocity_whole_year.csv, 113 mm at 2.5 years). Girth and the other
# weights: common practice.
INFANT_YEARS, TODDLER_YEARS = 1.0, 2.0
GROWTH_MOST_PER_YEAR = {"length": (0.60, 0.20, 0.12), "girth": (0.30, 0.12, 0.12), "weight": (2.00, 0.30, 0.30)}
STATURE_MOST_MM_PER_YEAR = 120.0  # from 2 years on: above the highest 95th centile of the same table, 119 mm
WEIGHT_AT_ONCE = 0.10  # a meal, clothes, water, an illness got over: common practice

# Measures that do not become smaller on their own; weight may.
NEVER_SHRINKING = frozenset(HARD_RANGES) - {"weight", "width_ml", "width_ap"}


@dataclass(frozen=True)
class Alert:
    """One question. code: what is odd; subject: the reading or station it is about; severity: error or ask."""

    code: str
    subject: str
    severity: str = ASK
    figures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class NewReading:
    """A reading as typed and what it is held against [mm or kg]; None where there is nothing.

    measure: name as in HARD_RANGES; subject: where the alert is shown; before: last reading of the same measure at the
    same place; years_since, age_before: time since then and age at that time [years]; tem: error of one reading;
    sound: sound side on the same landmarks; z: z-score in its reference
    """

    subject: str
    measure: str
    value: float
    tem: float
    before: float | None = None
    years_since: float = 0.0
    age_before: float = TODDLER_YEARS
    surgery_since: bool = False
    sound: float | None = None
    z: float | None = None


def reading_alerts(reading: NewReading) -> tuple[Alert, ...]:
    """What is odd about one reading. Out of range stops there; a likely unit slip stands for every other question."""
    impossible = out_of_range(reading)
    if impossible:
        return (impossible,)
    slip = unit_slip(reading)
    if slip:
        return (slip,)
    found = (longer_than_sound(reading), shrinking(reading), grown_too_much(reading), beyond_z(reading))
    return tuple(alert for alert in found if alert)


def out_of_range(reading: NewReading) -> Alert | None:
    """A value no child has, which is not saved."""
    low, high = HARD_RANGES[reading.measure]
    if low <= reading.value <= high:
        return None
    return Alert("out_of_range", reading.subject, ERROR, {"value": reading.value, "low": low, "high": high})


def unit_slip(reading: NewReading) -> Alert | None:
    """A value whose ratio to the last one is near a unit's: figures say the value meant if that is what happened."""
    if not reading.before:
        return None
    ratio = reading.value / reading.before
    slips = WEIGHT_SLIPS if reading.measure == "weight" else LENGTH_SLIPS
    near = [slip for slip in slips if abs(math.log(ratio / slip)) <= SLIP_NEAR]
    if not near:
        return None
    meant = reading.value / near[0]
    figures = {"value": reading.value, "before": reading.before, "ratio": ratio, "meant": meant}
    return Alert("unit_slip", reading.subject, ASK, figures)


def longer_than_sound(reading: NewReading) -> Alert | None:
    """A residual limb longer than the sound side on the same landmarks: a side or entry slip."""
    if reading.sound is None or not reading.measure.startswith("residual_length"):
        return None
    if reading.value <= reading.sound + LONGER_THAN_SOUND_MM:
        return None
    return Alert("longer_than_sound", reading.subject, ASK, {"value": reading.value, "sound": reading.sound})


def shrinking(reading: NewReading) -> Alert | None:
    """A length or girth smaller than last time beyond its noise, without surgery since."""
    if reading.before is None or reading.surgery_since or reading.measure not in NEVER_SHRINKING:
        return None
    noise = noise_band(reading.tem)
    if reading.value >= reading.before - noise:
        return None
    figures = {"value": reading.value, "before": reading.before, "noise": noise}
    return Alert("shrinking", reading.subject, ASK, figures)


def grown_too_much(reading: NewReading) -> Alert | None:
    """A value above the last one by more than noise and the fastest growth explain: the other arm, or another child."""
    if reading.before is None or reading.surgery_since:
        return None
    growth = growth_most(reading.measure, reading.before, reading.years_since, reading.age_before)
    most = reading.before + noise_band(reading.tem) + growth
    if reading.value <= most:
        return None
    return Alert(
        "grown_too_much", reading.subject, ASK, {"value": reading.value, "before": reading.before, "most": most}
    )


def growth_most(measure: str, before: float, years: float, age_before: float) -> float:
    """Most a measure grows from a value in some years [mm or kg].

    before: last value [mm or kg]; years: time since then; age_before: age at that time [years]
    """
    if measure == "stature" and age_before >= TODDLER_YEARS:
        return STATURE_MOST_MM_PER_YEAR * years
    kind = "weight" if measure == "weight" else "girth" if measure.endswith("girth") else "length"
    infant, toddler, older = GROWTH_MOST_PER_YEAR[kind]
    rate = infant if age_before < INFANT_YEARS else toddler if age_before < TODDLER_YEARS else older
    return before * (rate * years + (WEIGHT_AT_ONCE if kind == "weight" else 0))


def beyond_z(reading: NewReading) -> Alert | None:
    """A value outside the z-scores the reference flags."""
    if reading.z is None or reading.measure not in Z_LIMITS:
        return None
    low, high = Z_LIMITS[reading.measure]
    return None if low <= reading.z <= high else Alert("beyond_z", reading.subject, ASK, {"z": reading.z})


def rising_distally(level: str, bulbous_end: bool, girths_mm: Sequence[tuple[float, float]]) -> tuple[Alert, ...]:
    """Stations whose girth is more than 10 % above the one before: the order of stations may be mixed up.

    girths_mm: pairs of distance from the landmark and girth [mm]. Not asked at disarticulations and bulbous ends.
    The subject is the station's distance [mm].
    """
    if bulbous_end or level_facts(level).disarticulation:
        return ()
    rows = sorted(girths_mm)
    return tuple(
        Alert("rising_distally", f"{station:g}", ASK, {"girth": girth, "before": above})
        for (_, above), (station, girth) in zip(rows, rows[1:], strict=False)
        if girth > RISING_RATIO * above
    )


def date_alerts(visit_on: date, birth_on: date, as_of: date) -> tuple[Alert, ...]:
    """A visit before birth or in the future, which is not saved."""
    if visit_on < birth_on:
        return (Alert("before_birth", "visit", ERROR),)
    return (Alert("in_future", "visit", ERROR),) if visit_on > as_of else ()
