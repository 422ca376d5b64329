"""What is measured at a visit: the places of the body and of each limb, and what was last read at each."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from fitting.calc.limb import default_stations_mm, level_facts
from fitting.inputs import SOUND_MEASURE
from fitting.limb_outlines import end_mm
from fitting.models import Reading
from fitting.quantities import format_length
from fitting.wording import landmark_words
from patients.models import Child, Limb

M = Reading.Measure
BODY = (M.STATURE, M.SITTING_HEIGHT, M.WEIGHT)
SOUND_GIRTH = {
    "forearm_girth": M.SOUND_FOREARM_GIRTH,
    "upper_arm_girth": M.SOUND_UPPER_ARM_GIRTH,
    "wrist_girth": M.SOUND_WRIST_GIRTH,
}


@dataclass(frozen=True)
class Place:
    """One place to measure. `landmark` and `station_mm` as a Reading has them."""

    measure: str
    limb: Limb | None = None
    landmark: str = ""
    station_mm: float | None = None

    @property
    def key(self) -> str:
        """Name of the place in a form: letters, digits and hyphens."""
        limb = f"l{self.limb.pk}-" if self.limb else ""
        return f"{limb}{self.measure}" + ("" if self.station_mm is None else f"-{station_key(self.station_mm)}")


@dataclass(frozen=True)
class LimbPlaces:
    """Places of one limb: lengths and widths, stations from proximal to distal, the sound side."""

    limb: Limb
    lengths: tuple[Place, ...]
    stations: tuple[Place, ...]
    widths: tuple[Place, ...]
    sound: tuple[Place, ...]

    @property
    def all(self) -> tuple[Place, ...]:
        return self.lengths + self.stations + self.widths + self.sound


def station_key(station_mm: float) -> str:
    """A station's distance as part of a form name: 12.5 is 12-5."""
    return f"{station_mm:g}".replace(".", "-")


def body_places() -> tuple[Place, ...]:
    return tuple(Place(measure) for measure in BODY)


def limb_places(limb: Limb, stations_mm: Iterable[float], has_sound_side: bool) -> LimbPlaces:
    """Places of a limb with girths at the stations given [mm from the level's landmark]."""
    facts = level_facts(limb.level)
    lengths = (M.RESIDUAL_LENGTH, M.RESIDUAL_LENGTH_BONY) if facts.segment_measure else ()
    widths = (M.WIDTH_ML, M.WIDTH_AP) if facts.girth_measure else ()
    stations = sorted(set(stations_mm)) if facts.girth_measure else ()
    return LimbPlaces(
        limb=limb,
        lengths=tuple(Place(measure, limb, facts.length_landmark) for measure in lengths),
        stations=tuple(Place(M.GIRTH, limb, facts.station_landmark, station_mm) for station_mm in stations),
        widths=tuple(Place(measure, limb) for measure in widths),
        sound=tuple(Place(measure, limb) for measure in sound_measures(limb)) if has_sound_side else (),
    )


def sound_measures(limb: Limb) -> tuple[str, ...]:
    """Measures of the sound side that go with a limb's level: the same segment, lengths of the prosthesis, girths."""
    facts = level_facts(limb.level)
    segment = (SOUND_MEASURE[facts.segment_measure],) if facts.segment_measure else (M.SOUND_UPPER_ARM_LENGTH,)
    girth = (SOUND_GIRTH[facts.girth_measure],) if facts.girth_measure else ()
    lengths = (*segment, M.SOUND_FOREARM_LENGTH, M.SOUND_ELBOW_THUMB_LENGTH, M.SOUND_HAND_LENGTH)
    return tuple(dict.fromkeys((*lengths, *girth, M.SOUND_WRIST_GIRTH)))


def place_words(place: Place, unit: str) -> str:
    """A place in words, lengths in the clinic's unit."""
    words = str(M(place.measure).label)
    if place.station_mm is not None:
        return format_length(place.station_mm, unit)
    if place.measure not in (M.RESIDUAL_LENGTH, M.RESIDUAL_LENGTH_BONY):
        return words[0].upper() + words[1:]
    landmark = landmark_words(place.limb.level, place.landmark)
    return _("%(measure)s, from the %(landmark)s") % {
        "measure": words[0].upper() + words[1:],
        "landmark": landmark,
    }


def proposed_stations_mm(limb: Limb, residual_length_mm: float) -> tuple[int, ...]:
    """The level's default stations for a residual length; from the axilla, what lies above it is left out."""
    return default_stations_mm(limb.level, end_mm(limb.level, (), residual_length_mm))


class History:
    """A child's standing readings by place, newest last, as they stood before a moment."""

    def __init__(self, readings: Sequence[Reading], at: datetime):
        self._readings = tuple(reading for reading in readings if reading.visit.at < at)
        self._rows = defaultdict(list)
        for reading in self._readings:
            self._rows[self._place(reading)].append(reading)

    def before(self, at: datetime) -> "History":
        """The same history up to an earlier moment."""
        return History(self._readings, at)

    @property
    def any(self) -> bool:
        return bool(self._readings)

    @staticmethod
    def _place(reading):
        return reading.measure, reading.limb_id, reading.station_mm

    def last(self, place: Place) -> Reading | None:
        """The newest reading of a place, from the same landmark; a reading that names none is from the level's own."""
        limbs = (place.limb.pk, None) if place.limb else (None,)  # the sound side may stand with the child alone
        found = (self._rows.get((place.measure, limb_pk, place.station_mm)) for limb_pk in limbs)
        rows = next((rows for rows in found if rows), ())
        return next((row for row in reversed(rows) if row.landmark in ("", place.landmark)), None)

    def last_stations_mm(self, limb: Limb, visits: int = 1) -> tuple[float, ...]:
        """Stations of the newest visits that read girths of a limb from the level's own landmark [mm]."""
        landmark = level_facts(limb.level).station_landmark
        rows = [
            row
            for (measure, limb_pk, station_mm), rows in self._rows.items()
            if measure == M.GIRTH and limb_pk == limb.pk and station_mm is not None
            for row in rows
            if row.landmark in ("", landmark)
        ]
        newest = sorted({row.visit.at for row in rows})[-visits:]
        return tuple(sorted({row.station_mm for row in rows if row.visit.at in newest}))


def history_of(child: Child, before: datetime) -> History:
    """Read a child's standing readings before a moment, in one query."""
    rows = Reading.objects.current().filter(visit__child=child).select_related("visit").order_by("visit__at", "pk")
    return History(rows, before)
