"""Stored promises and what happened after them, read from the rows of some clinics: what the forecast check counts."""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import NamedTuple

import numpy as np

from fitting.calc.bands import BAND_MONTHS, Band, SeriesBands
from fitting.calc.calibration import Outcomes, probability_reached
from fitting.calc.followed import GIRTHS
from fitting.calc.own_error import Misses
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import age_years
from fitting.inputs import SOUND_MEASURE, measure_error_sd, part_name
from fitting.models import Forecast, Reading, Socket
from fitting.promise_rows import bands_of

M = Reading.Measure
STATURE = "stature"
FAMILIES = {GIRTHS: "girth", STATURE: "stature"}  # every other measure is a length
FOLLOWED_MEASURES = {measure.value: name for name, measure in SOUND_MEASURE.items()} | {M.STATURE.value: STATURE}
LEAST_AHEAD_DAYS = 7  # a reading sooner after the last tests the tape, not the forecast
REPEAT_DAYS = 14  # two visits this close measured the same limb: growth between them is below a millimetre
OUTGROWN = (Socket.WhyRetired.OUTGROWN_GIRTH, Socket.WhyRetired.OUTGROWN_LENGTH)
Z_90 = 1.2815515655446004


class Read(NamedTuple):
    """One reading and what is needed of its visit."""

    child: int
    limb: int | None
    visit: int
    at: datetime
    covering: str
    instrument: str
    measure: str
    landmark: str
    station_mm: float | None
    value: float
    takes: list

    @property
    def family(self) -> str:
        if self.measure in (M.GIRTH, M.WEIGHT):
            return str(self.measure)
        return family_of(FOLLOWED_MEASURES[self.measure])

    def part(self, level: str) -> str:
        """The part of a series it reads."""
        if self.measure == M.GIRTH:
            return part_name(level, self.landmark, self.station_mm or 0)
        return FOLLOWED_MEASURES[self.measure]


class Promised(NamedTuple):
    """One stored promise and what is needed of its limb."""

    limb: int
    level: str
    child: int
    birth_date: date
    clinic: int
    socket: int | None
    made_at: datetime
    state: str
    early: date | None
    likely: date | None
    late: date | None
    bands: list
    tolerances: Tolerances


READ_FIELDS = ["visit__child", "limb", "visit", "visit__at", "visit__covering", "visit__instrument"]
READ_FIELDS += ["measure", "landmark", "station_mm", "value", "takes"]
PROMISED_FIELDS = ["limb", "limb__level", "limb__child", "limb__child__birth_date", "limb__child__clinic"]
PROMISED_FIELDS += ["socket", "made_at", "state", "early", "likely", "late", "bands", "inputs__tolerances"]


class Outcome(NamedTuple):
    """One promise and one later reading of the same place; reached: the probability it gave to one as low or lower."""

    reached: float
    child: int
    start: int
    end: int
    family: str
    level: str
    age_years: float

    @property
    def ahead_days(self) -> int:
        return self.end - self.start


@dataclass(frozen=True)
class SocketOutcome:
    """A socket's first dated promise and what became of the socket; outgrown: the day it was retired for that."""

    family: str
    level: str
    age_years: float
    early: date
    likely: date | None
    late: date | None
    outgrown: date | None


@dataclass
class CheckRows:
    """Everything that can be held against promises. takes, repeats: differences of pairs by family [mm or kg]."""

    promises: int = 0
    outcomes: list[Outcome] = field(default_factory=list)
    misses: dict[str, list[tuple]] = field(default_factory=lambda: defaultdict(list))
    sockets: list[SocketOutcome] = field(default_factory=list)
    takes: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    repeats: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))

    def misses_of(self, family: str) -> Misses:
        return Misses(*np.array(self.misses[family], float).reshape(-1, 10).T)


def in_arrays(outcomes: list[Outcome]) -> Outcomes:
    return Outcomes(*np.array([row[:4] for row in outcomes], float).reshape(-1, 4).T)


def family_of(measure: str) -> str:
    """girth, length or stature, from the measure of a series."""
    return FAMILIES.get(measure, "length")


def check_rows(clinics) -> CheckRows:
    """Read the promises, readings and sockets of some clinics; four queries whatever their number."""
    found, day_of = CheckRows(), {clinic.pk: clinic.day_of for clinic in clinics}
    of_clinics = Forecast.objects.filter(limb__child__clinic__in=clinics).order_by("limb", "made_at", "pk")
    promises = _by(map(_promised, of_clinics.values_list(*PROMISED_FIELDS)), lambda row: row.limb)
    pictures = _by(
        of_clinics.filter(bands=[]).exclude(fan={}).values_list("limb", "made_at", "fan"), lambda row: row[:2]
    )
    wanted = {M.GIRTH, M.WEIGHT, *FOLLOWED_MEASURES}
    rows = Reading.objects.current().filter(visit__child__clinic__in=clinics, measure__in=wanted)
    rows = rows.order_by("visit__at", "pk").values_list(*READ_FIELDS)
    readings, counted = _by(map(Read._make, rows), lambda row: row.child), set()
    for rows in readings.values():
        _add_pairs(found, rows)
    for rows in promises.values():
        limb = _Limb(rows, readings.get(rows[0].child, []), day_of[rows[0].clinic], found, counted)
        limb.hold([(row, bands) for row in rows for bands in _stored(row, pictures)])
    found.promises = sum(map(len, promises.values()))
    _add_sockets(found, clinics, promises)
    return found


def _promised(row):
    *facts, tolerances = row
    return Promised(*facts, Tolerances(**(tolerances or {})))


def _by(rows, key):
    groups = defaultdict(list)
    for row in rows:
        groups[key(row)].append(row)
    return groups


def _add_pairs(found, readings):
    """Differences of two takes of one reading, and of two visits so close that nothing grew."""
    last = {}
    for read in readings:
        if len(read.takes) > 1:
            found.takes[read.family].append(read.takes[0] - read.takes[1])
        place = (read.limb, read.measure, read.landmark, read.station_mm, read.covering)
        earlier = last.pop(place, None)
        if earlier is not None and (read.at - earlier.at).days <= REPEAT_DAYS:
            found.repeats[read.family].append(read.value - earlier.value)
        else:
            last[place] = read


def _stored(promise, pictures):
    """The series a promise stored; of a row from before they were stored, the one station its picture shows."""
    if promise.state == Forecast.State.MATURING:
        return []
    pictured = pictures.get((promise.limb, promise.made_at), [])
    return [bands_of(row) for row in promise.bands] or [_pictured(fan) for _limb, _made_at, fan in pictured]


def _pictured(fan):
    at = [month for month in BAND_MONTHS if month < len(fan["days"])]
    median, low, high = (np.log([fan[q][month] for month in at]) for q in ("q50", "q10", "q90"))
    band = Band(median, (high - low) / (2 * Z_90))
    days = [fan["days"][month] for month in at]
    return SeriesBands(GIRTHS, date.fromisoformat(fan["origin"]), days, 0.0, {fan["part"]: band}, band, band, band)


class _Limb:
    """One limb's promises, oldest first, held against the visits that came after each."""

    def __init__(self, promises, readings, day_of, found, counted):
        self.first, self.day_of, self.found, self.counted = promises[0], day_of, found, counted
        mine = [r for r in readings if r.limb in (None, self.first.limb) and r.measure != M.WEIGHT]
        self.visits = list(_by(mine, lambda read: read.visit).values())
        self.covering_on = {day_of(read.at): read.covering for read in mine if read.measure == M.GIRTH}

    def hold(self, series):
        """Test every series of every promise; at each visit the newest promise from each day of reading counts."""
        for readings in self.visits:
            at, on = readings[0].at, self.day_of(readings[0].at)
            read = {reading.part(self.first.level): reading for reading in readings}
            newest = {(bands.measure, bands.origin): (made, bands) for made, bands in series if made.made_at < at}
            latest = {}
            for made, bands in newest.values():
                before = latest.get(bands.measure)
                if self._test(made, bands, read, on) and (before is None or bands.origin > before[1].origin):
                    latest[bands.measure] = (made, bands)
            for made, bands in latest.values():
                self._miss(made, bands, read, on)

    def _test(self, made, bands, read, on):
        """Add an outcome for each part of a series that the visit read; whether there was any."""
        ahead = (on - bands.origin).days
        parts = [part for part in bands.names if part in read]
        if not parts or not LEAST_AHEAD_DAYS <= ahead <= bands.days[-1]:
            return False
        newest = read[parts[0]]
        if bands.measure == GIRTHS and self.covering_on.get(bands.origin) != newest.covering:
            return False
        key = (self.first.child, bands.measure, newest.visit, bands.origin)
        if bands.measure != GIRTHS and key in self.counted:
            return False  # the child's other limb counted it
        self.counted.add(key)
        told = np.array([[_at(values, ahead, bands) for values in _looks(bands.of(part))] for part in parts])
        errors = [_error(read[part], made) for part in parts]
        reached = probability_reached([read[part].value for part in parts], *told.T, np.array(errors))
        age = age_years(self.first.birth_date, on)
        self.found.outcomes += [
            Outcome(
                float(one),
                self.first.child,
                bands.origin.toordinal(),
                on.toordinal(),
                family_of(bands.measure),
                self.first.level,
                age,
            )
            for one in reached
        ]
        return True

    def _miss(self, made, bands, read, on):
        """The mean over the series' parts against its shared band, where the visit read every part."""
        if not bands.wander_scale or not set(bands.names) <= read.keys():
            return
        rows, ahead = [read[part] for part in bands.names], (on - bands.origin).days
        sizes, errors = np.array([row.value for row in rows]), np.array([_error(row, made) for row in rows])
        looks = (bands.shared, bands.more_wander, bands.more_error)
        told = [_at(values, ahead, bands) for look in looks for values in _looks(look)]
        noise = np.sqrt(np.sum((errors / sizes) ** 2)) / len(rows)
        family = family_of(bands.measure)
        used = getattr(made.tolerances, f"tem_{family}_mm")
        self.found.misses[family].append((np.log(sizes).mean(), *told, noise, bands.wander_scale, used))


def _looks(band):
    return band.mean, band.sd


def _at(values, ahead, bands):
    return np.interp(ahead, bands.days, values)


def _error(read, made):
    return measure_error_sd(read.measure, read.instrument, made.tolerances)


def _add_sockets(found, clinics, promises):
    """Each socket worn until outgrown, or still worn, with the first dated promise made for it."""
    first = {}
    for rows in promises.values():
        for promise in rows:
            if promise.socket and promise.early:
                first.setdefault(promise.socket, promise)
    sockets = Socket.objects.filter(limb__child__clinic__in=clinics, fitted_on__isnull=False)
    for pk, fitted_on, retired_on, why in sockets.values_list("pk", "fitted_on", "retired_on", "why_retired"):
        if pk in first and (retired_on is None or why in OUTGROWN):
            made = first[pk]
            found.sockets.append(
                SocketOutcome(
                    family="length" if why == Socket.WhyRetired.OUTGROWN_LENGTH else "girth",
                    level=made.level,
                    age_years=age_years(made.birth_date, retired_on or fitted_on),
                    early=made.early,
                    likely=made.likely,
                    late=made.late,
                    outgrown=retired_on,
                )
            )
