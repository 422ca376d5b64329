"""The levels of a limb difference: segment, landmark, measures that drive it, length level, default stations."""

from dataclasses import dataclass
from enum import StrEnum

from fitting.calc.errors import DoorpostError


class Level(StrEnum):
    """Levels in the words of ISO 8549-4:2020."""

    PARTIAL_HAND = "partial_hand"
    WRIST_DISARTICULATION = "wrist_disarticulation"
    TRANSRADIAL = "transradial"
    ELBOW_DISARTICULATION = "elbow_disarticulation"
    TRANSHUMERAL = "transhumeral"
    SHOULDER_DISARTICULATION = "shoulder_disarticulation"
    SCAPULOTHORACIC = "scapulothoracic"


@dataclass(frozen=True)
class LevelFacts:
    """What follows from a level. Landmarks: classic definitions, from memory; station rules: common practice.

    segment_measure: measure of the same segment on the sound side, as the forecast names it; None where no residual
    length is taken; girth_measure: intact girth nearest to the residual girths, None where none is taken
    length_landmark: landmark the residual length starts from; station_landmark: landmark the stations start from
    bone: the bone that ends, as the growth plate table names it; for the forearm the ulna, the longer remaining bone
    """

    segment_measure: str | None
    girth_measure: str | None
    length_landmark: str
    station_landmark: str
    bone: str | None
    disarticulation: bool


LEVELS = {
    Level.PARTIAL_HAND: LevelFacts("hand_length", "wrist_girth", "ulnar_styloid", "ulnar_styloid", None, False),
    Level.WRIST_DISARTICULATION: LevelFacts(
        "forearm_length", "forearm_girth", "medial_epicondyle", "cubital_fold", "ulna", True
    ),
    Level.TRANSRADIAL: LevelFacts(
        "forearm_length", "forearm_girth", "medial_epicondyle", "cubital_fold", "ulna", False
    ),
    Level.ELBOW_DISARTICULATION: LevelFacts(
        "upper_arm_length", "upper_arm_girth", "acromion", "axilla", "humerus", True
    ),
    Level.TRANSHUMERAL: LevelFacts("upper_arm_length", "upper_arm_girth", "acromion", "axilla", "humerus", False),
    Level.SHOULDER_DISARTICULATION: LevelFacts(None, None, "acromion", "acromion", None, True),
    Level.SCAPULOTHORACIC: LevelFacts(None, None, "sternal_notch", "sternal_notch", None, False),
}


def level_facts(level: str) -> LevelFacts:
    """Facts of a level named in ISO 8549-4 words. Raises DoorpostError for another word."""
    try:
        return LEVELS[Level(level)]
    except ValueError:
        raise DoorpostError(f"{level!r} is not a level in the words of ISO 8549-4.") from None


# Length level

# Lower bounds [percent of the sound side] and names. The rule at a bound: a band includes its lower bound and ends
# before the next one (35.0 is short, 55.0 is long). Classic: from memory. Teaching: student notes, weak.
FOREARM, UPPER_ARM = "forearm_length", "upper_arm_length"
LENGTH_BANDS = {
    "classic": {
        FOREARM: ((0, "very_short"), (35, "short"), (55, "long"), (90, "wrist_disarticulation")),
        UPPER_ARM: ((0, "humeral_neck"), (30, "short"), (50, "standard"), (90, "elbow_disarticulation")),
    },
    "teaching": {
        FOREARM: ((0, "short"), (30, "medium"), (55, "long")),
        UPPER_ARM: ((0, "short"), (30, "medium"), (60, "long")),
    },
}


def length_level_percent(residual_mm: float, sound_mm: float) -> float:
    """Residual length in percent of the sound side's same segment, same landmarks [mm]."""
    if sound_mm <= 0:
        raise DoorpostError("The length of the sound side must be above zero.")
    return 100 * residual_mm / sound_mm


def length_band(level: str, percent: float, bands: str = "classic") -> str | None:
    """Name of the length band of a transradial or transhumeral limb; None at other levels, which have no bands."""
    if bands not in LENGTH_BANDS:
        raise DoorpostError(f"There are no length bands called {bands!r}.")
    if level not in (Level.TRANSRADIAL, Level.TRANSHUMERAL):
        return None
    named = [name for bound, name in LENGTH_BANDS[bands][level_facts(level).segment_measure] if percent >= bound]
    if not named:
        raise DoorpostError("A length level cannot be below zero percent.")
    return named[-1]


def side_difference_percent(affected_mm: float, sound_mm: float) -> float:
    """How much smaller (negative) or larger the affected side is than the sound side [percent of the sound side]."""
    return length_level_percent(affected_mm, sound_mm) - 100


@dataclass(frozen=True)
class TargetLength:
    """Length a limb is compared with [mm]; estimated when it comes from stature because there is no sound side."""

    length_mm: float
    estimated: bool


def target_length(
    sound_mm: float | None, stature_mm: float | None, segment_median_mm: float, stature_median_mm: float
) -> TargetLength:
    """The sound side's length, or for a child with both limbs affected the segment expected from stature.

    segment_median_mm, stature_median_mm: reference medians at the child's age [mm].
    Source: common practice (predicted segment length from height, marked estimated).
    """
    if sound_mm is not None:
        return TargetLength(sound_mm, False)
    if stature_mm is None:
        raise DoorpostError("Without a sound side the target length needs the child's height.")
    return TargetLength(stature_mm * segment_median_mm / stature_median_mm, True)


# Default stations

SPACING_MM = 25  # every 20 to 30 mm, common practice
SHORT_SPACING_MM = 15  # every 15 to 20 mm on a short residual limb, common practice
SHORT_BELOW_MM = 80
END_STATION_BEFORE_MM = 10  # last station, from the end
ABOVE_CONDYLES_MM = 30  # from the end of an elbow disarticulation, common practice
LEAST_STATION_GAP_MM = 10  # a regular station closer to the last one is left out, common practice


def default_stations_mm(level: str, length_mm: float) -> tuple[int, ...]:
    """Distances of the girth stations from the level's station landmark, proximal first [mm].

    length_mm: from the station landmark to the end (transradial: cubital fold; transhumeral: axilla) [mm].
    Returns () for levels without girths.
    """
    if length_mm <= 0:
        raise DoorpostError("The residual length must be above zero.")
    facts = level_facts(level)
    if facts.girth_measure is None:
        return ()
    if level == Level.PARTIAL_HAND:
        return _rising(0, round(length_mm / 2))
    end_mm = round(length_mm - END_STATION_BEFORE_MM)
    if level == Level.ELBOW_DISARTICULATION:
        return _rising(0, round(length_mm / 2), round(length_mm - ABOVE_CONDYLES_MM), end_mm)
    spacing_mm = SHORT_SPACING_MM if length_mm < SHORT_BELOW_MM else SPACING_MM
    return _rising(*range(0, max(end_mm - LEAST_STATION_GAP_MM, 0) + 1, spacing_mm), end_mm)


def _rising(*stations_mm):
    return tuple(sorted({max(station_mm, 0) for station_mm in stations_mm}))
