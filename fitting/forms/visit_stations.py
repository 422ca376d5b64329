"""The girth stations of a limb while the Measure page is filled in: kept in the form, added one by one, or laid out."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from fitting.calc.limb import level_facts
from fitting.models import Reading, Socket
from fitting.quantities import UnreadableQuantity, parse_length_mm
from fitting.visit_entry import Occasion, typed_entry
from fitting.visit_places import Place, proposed_stations_mm
from patients.models import Limb

STATION_MOST_MM = 450  # longer than any arm segment of the tables, common practice
MOST_STATIONS = 24
LENGTHS = (Reading.Measure.RESIDUAL_LENGTH, Reading.Measure.RESIDUAL_LENGTH_BONY)


@dataclass(frozen=True)
class Stations:
    """Stations of a limb [mm], the distance typed to be added, what is wrong with it, and the one to go on with."""

    mm: tuple[float, ...]
    new: str = ""
    error: str = ""
    go_on_at: float | None = None

    @property
    def text(self) -> str:
        return ",".join(f"{station_mm:g}" for station_mm in self.mm)


def stations_of(limb: Limb, worn: Socket | None, data: Mapping[str, str], occasion: Occasion) -> Stations:
    """Stations of a limb: those in the form, else the usual ones; one added or all laid out when asked for."""
    kept = data.get(f"l{limb.pk}-stations")
    mm = _usual_mm(limb, worn, occasion) if kept is None else _numbers(kept)
    stations = Stations(mm, data.get(f"l{limb.pk}-new-station", "").strip())
    if data.get("add-station") == str(limb.pk):
        return _added(stations, occasion.child.clinic.length_unit)
    if data.get("lay-out") == str(limb.pk):
        return _laid_out(stations, limb, residual_mm(limb, data, occasion))
    return stations


def _usual_mm(limb, worn, occasion) -> tuple[float, ...]:
    """Stations of the last visit and of the socket worn; without a socket those of the last two visits.

    A visit cut short by a tired child must not make the next one forget a station.
    """
    if worn is None:
        return occasion.history.last_stations_mm(limb, visits=2)
    landmark = level_facts(limb.level).station_landmark
    of_socket = {station.station_mm for station in worn.stations.all() if station.landmark in ("", landmark)}
    return tuple(sorted({*of_socket, *occasion.history.last_stations_mm(limb)}))


def residual_mm(limb: Limb, data: Mapping[str, str], occasion: Occasion) -> float | None:
    """Residual length as typed, else as last read; to the soft-tissue end before the bony one [mm]."""
    landmark = level_facts(limb.level).length_landmark
    entries = [typed_entry(Place(measure, limb, landmark), data, occasion) for measure in LENGTHS]
    sizes = (entry.value or (entry.last.value if entry.last else None) for entry in entries)
    return next((size for size in sizes if size), None)


def _added(stations, unit) -> Stations:
    try:
        station_mm = round(parse_length_mm(stations.new, unit), 1)
    except UnreadableQuantity as error:
        return replace(stations, error=str(error))
    if station_mm in stations.mm:
        return replace(stations, error=_("This station is there already."))
    if station_mm > STATION_MOST_MM:
        return replace(stations, error=_("This is farther than any limb is long. Check the unit."))
    if len(stations.mm) >= MOST_STATIONS:
        return replace(stations, error=_("No more stations fit on one limb."))
    return Stations(tuple(sorted((*stations.mm, station_mm))), go_on_at=station_mm)


def _laid_out(stations, limb, length_mm) -> Stations:
    if length_mm is None:
        return replace(stations, error=_("Type the residual length first: the stations are spaced along it."))
    proposed = tuple(float(station_mm) for station_mm in proposed_stations_mm(limb, length_mm))
    return Stations(tuple(sorted({*stations.mm, *proposed})), stations.new, go_on_at=proposed[0])


def _numbers(text) -> tuple[float, ...]:
    """Stations kept in the form; anything else than plausible distances is left out."""
    numbers = set()
    for part in text.split(",")[:MOST_STATIONS]:
        try:
            number = float(part)
        except ValueError:
            continue
        if 0 <= number <= STATION_MOST_MM:
            numbers.add(number)
    return tuple(sorted(numbers))
