"""Readings of one limb as a sheet shows them: now, before and at cast, each change held against its noise."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _

from fitting.calc.limb import level_facts
from fitting.calc.takes import noise_between
from fitting.calc.tolerances import Tolerances
from fitting.inputs import error_sd, part_name, settings_of, tolerances_of
from fitting.models import Reading, Socket, Visit
from fitting.quantities import format_length, format_weight
from fitting.templatetags.days import short_day
from fitting.wording import landmark_words
from patients.models import Limb

M = Reading.Measure
RESIDUAL_LENGTHS = frozenset({M.RESIDUAL_LENGTH, M.RESIDUAL_LENGTH_BONY})


@dataclass(frozen=True)
class Place:
    """One place measured, with its standing readings oldest first; none where only the socket has the station."""

    measure: str
    landmark: str
    station_mm: float | None
    readings: tuple[Reading, ...] = ()

    @property
    def now(self) -> Reading | None:
        return self.readings[-1] if self.readings else None

    @property
    def before(self) -> Reading | None:
        return self.readings[-2] if len(self.readings) > 1 else None

    def at_visit(self, visit_pk: int) -> Reading | None:
        return next((reading for reading in self.readings if reading.visit_id == visit_pk), None)


@dataclass(frozen=True)
class Records:
    """What a limb's sheets are made from, read once. `socket` is the newest not retired, None without one."""

    limb: Limb
    tolerances: Tolerances
    places: tuple[Place, ...]
    socket: Socket | None

    @property
    def unit(self) -> str:
        return self.limb.child.clinic.length_unit

    @property
    def stations(self) -> tuple[Place, ...]:
        return tuple(place for place in self.places if place.measure == M.GIRTH and place.station_mm is not None)

    @property
    def measured_on(self) -> date | None:
        """Day of the limb's newest reading."""
        return max((self.day_of(place.now.visit) for place in self.places if place.now.limb_id), default=None)

    @property
    def before_on(self) -> date | None:
        """Day of the limb's newest reading that another has followed."""
        return max((self.day_of(place.before.visit) for place in self.places if place.before), default=None)

    def newest(self, *measures: str) -> float | None:
        """Newest value of the first of the measures that was taken [mm or kg]."""
        values = {place.measure: place.now.value for place in self.places}
        return next((values[measure] for measure in measures if measure in values), None)

    def part(self, landmark: str, station_mm: float) -> str:
        return part_name(self.limb.level, landmark, station_mm)

    def day_of(self, visit: Visit) -> date:
        return self.limb.child.clinic.day_of(visit.at)


def records_of(limb: Limb) -> Records:
    """Read the rows behind a limb's sheets, in a fixed number of queries."""
    rows = Reading.objects.current().filter(visit__child=limb.child).select_related("visit").order_by("visit__at", "pk")
    sockets = Socket.objects.filter(limb=limb, retired_on__isnull=True).select_related("visit").order_by("-version")
    return Records(
        limb=limb,
        tolerances=tolerances_of(settings_of(limb.child.clinic)),
        places=places_of([row for row in rows if row.limb_id in (None, limb.pk)]),
        socket=sockets.prefetch_related("stations", "layers").first(),
    )


def places_of(readings: Sequence[Reading]) -> tuple[Place, ...]:
    """Readings gathered by place, in the order of the measures and from the landmark outwards."""
    gathered = defaultdict(list)
    for reading in readings:
        gathered[reading.measure, reading.landmark, reading.station_mm].append(reading)
    order = {measure: number for number, measure in enumerate(M.values)}
    keys = sorted(gathered, key=lambda key: (order[key[0]], key[1], key[2] or 0))
    return tuple(Place(*key, tuple(gathered[key])) for key in keys)


def place_words(place: Place, records: Records) -> str:
    """Where a reading was taken, in words."""
    level = records.limb.level
    if place.station_mm is not None:
        distance = format_length(place.station_mm, records.unit)
        landmark = landmark_words(level, place.landmark)
        return _("%(distance)s from the %(landmark)s") % {"distance": distance, "landmark": landmark}
    words = str(M(place.measure).label)
    if place.measure not in RESIDUAL_LENGTHS:
        return words
    landmark = landmark_words(level, place.landmark or level_facts(level).length_landmark)
    return _("%(measure)s, from the %(landmark)s") % {"measure": words, "landmark": landmark}


# Rows of a table of readings


@dataclass(frozen=True)
class Shown:
    """A reading as printed; `day` is empty when it was taken on the column's day."""

    value: str
    day: str = ""


@dataclass(frozen=True)
class Change:
    """Change between two readings of a place: noise, up, down, or other (not comparable); said by shape and word."""

    code: str
    text: str


@dataclass(frozen=True)
class Row:
    """One place: its readings now, before and at cast, and what changed."""

    place: str
    now: Shown | None
    before: Shown | None
    at_cast: Shown | None
    since_before: Change | None
    since_cast: Change | None


def row_of(place: Place, records: Records, girth_at_cast_mm: float | None = None) -> Row:
    """A place as a row. girth_at_cast_mm: what the socket was made from there, where it has the station [mm]."""
    show = show_for(place.measure, records)
    cast = place.at_visit(records.socket.visit_id) if records.socket else None
    at_cast = girth_at_cast_mm if girth_at_cast_mm is not None else cast and cast.value
    return Row(
        place=place_words(place, records),
        now=_shown(place.now, records, show, records.measured_on),
        before=_shown(place.before, records, show, records.before_on),
        at_cast=None if at_cast is None else Shown(show(at_cast)),
        since_before=change(place.now, place.before, place.before and place.before.value, records.tolerances, show),
        since_cast=change(place.now, cast, at_cast, records.tolerances, show),
    )


def show_for(measure: str, records: Records) -> Callable[[float], str]:
    """How values of a measure are written in the clinic's units."""
    if measure == M.WEIGHT:
        return lambda kg: format_weight(kg, records.limb.child.clinic.weight_unit)
    return lambda mm: format_length(mm, records.unit)


def change(now: Reading | None, then: Reading | None, then_value: float | None, tolerances: Tolerances, show):
    """Change since `then_value` [mm or kg]; None when there is nothing to compare.

    Noise: 2.77 times the root mean square of the two readings' errors, which is 2.77 x TEM for two taken alike.
    """
    if now is None or then_value is None or (then is not None and then.pk == now.pk):
        return None
    if then is not None and now.is_girth and now.visit.covering != then.visit.covering:
        return Change("other", _("other: %(covering)s") % {"covering": then.visit.get_covering_display()})
    errors = [error_sd(reading, tolerances) for reading in (now, then or now)]
    return _change(now.value - then_value, noise_between(errors), show)


def _change(difference, noise, show) -> Change:
    size = show(abs(difference))
    sign = "±" if size == show(0) else "+" if difference > 0 else "−"
    text = sign + size
    if abs(difference) <= noise:
        return Change("noise", _("%(change)s noise") % {"change": text})
    return Change("up" if difference > 0 else "down", text)


def _shown(reading, records, show, column_day) -> Shown | None:
    if reading is None:
        return None
    day = records.day_of(reading.visit)
    return Shown(show(reading.value), "" if day == column_day else short_day(day))
