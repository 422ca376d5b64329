"""What the page of a visit shows: what was measured, as typed, what it settled on, every correction with its why."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitting.alert_words import answered_words
from fitting.models import PresentFit, Reading, Visit
from fitting.quantities import format_length
from fitting.visit_entry import show_value
from fitting.visit_places import Place, place_words
from fitting.wording import landmark_words
from patients.models import Clinic

M = Reading.Measure


@dataclass(frozen=True)
class Written:
    """A reading as it was written down; `why` is empty unless it corrects another."""

    reading: Reading
    value: str
    typed: str
    takes: str
    alerts: tuple[str, ...]

    @property
    def why(self) -> str:
        return self.reading.why


@dataclass(frozen=True)
class Measured:
    """One place of a visit: the reading that stands and those it superseded, newest first."""

    words: str
    standing: Written
    superseded: tuple[Written, ...]


@dataclass(frozen=True)
class MeasuredGroup:
    """Places under one heading."""

    heading: str
    rows: tuple[Measured, ...]


def reading_words(reading: Reading, unit: str) -> str:
    """Where a reading was taken, in words that stand alone."""
    if reading.station_mm is None:
        return place_words(Place(reading.measure, reading.limb, reading.landmark), unit)
    return _("Girth at %(distance)s from the %(landmark)s") % {
        "distance": format_length(reading.station_mm, unit),
        "landmark": landmark_words(reading.limb.level, reading.landmark),
    }


def written(reading: Reading, clinic: Clinic) -> Written:
    """A reading with its texts; the takes only where they were typed in other words than the clinic's unit."""
    takes = [show_value(reading.measure, take, clinic) for take in reading.takes]
    as_shown = all(typed in (take, take.split()[0]) for typed, take in zip(reading.typed, takes, strict=False))
    return Written(
        reading=reading,
        value=show_value(reading.measure, reading.value, clinic),
        typed=" / ".join(reading.typed),
        takes="" if as_shown else " / ".join(takes),
        alerts=tuple(answered_words(alert) for alert in reading.alerts),
    )


def measured_groups(visit: Visit, clinic: Clinic) -> list[MeasuredGroup]:
    """Everything measured at a visit, limb by limb, the body last; two queries at most."""
    readings = list(visit.readings.select_related("limb", "recorded_by").order_by("station_mm", "pk"))
    order = {measure: number for number, measure in enumerate(M.values)}
    standing = [reading for reading in readings if reading.pk not in {other.supersedes_id for other in readings}]
    standing.sort(key=lambda reading: (order[reading.measure], reading.station_mm or 0))
    limbs = sorted({reading.limb for reading in standing if reading.limb}, key=lambda limb: limb.side)
    groups = [(str(limb), [reading for reading in standing if reading.limb == limb]) for limb in limbs]
    groups.append((_("The body"), [reading for reading in standing if reading.limb is None]))
    by_pk = {reading.pk: reading for reading in readings}
    return [
        MeasuredGroup(heading, tuple(_measured(reading, by_pk, clinic) for reading in rows))
        for heading, rows in groups
        if rows
    ]


def _measured(reading, by_pk, clinic) -> Measured:
    superseded = tuple(written(old, clinic) for old in _before(reading, by_pk))
    return Measured(reading_words(reading, clinic.length_unit), written(reading, clinic), superseded)


def _before(reading, by_pk) -> Iterator[Reading]:
    while reading.supersedes_id:
        reading = by_pk[reading.supersedes_id]
        yield reading


def fit_words(fit: PresentFit, unit: str) -> list[tuple[str, str]]:
    """The present fit as recorded, pairs of label and finding; what was not found is left out."""
    names = (
        "donning",
        "hold",
        "marks",
        "minutes_to_clear",
        "pain",
        "wear_hours_per_day",
        "end_gap_mm",
        "brim_moved_mm",
    )
    pairs = [(name, _finding(fit, name, unit)) for name in names]
    pairs += [
        (name, _("yes"))
        for name in ("open_skin", "numb_or_cold", "end_contact", "overgrowth_signs")
        if getattr(fit, name)
    ]
    return [(_label(name), words) for name, words in pairs if words]


def _finding(fit, name, unit) -> str:
    value = getattr(fit, name)
    if value is None:
        return ""
    if name.endswith("_mm"):
        return format_length(value, unit)
    shown = getattr(fit, f"get_{name}_display", None)
    return str(shown()) if shown else f"{value:g}"


def _label(name) -> str:
    words = str(PresentFit._meta.get_field(name).verbose_name).removesuffix(" [mm]")
    return words[0].upper() + words[1:]
