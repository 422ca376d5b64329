"""Everything typed on the Measure page, judged as one: the facts, the fit of each socket, every place measured."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from django.utils.formats import time_format
from django.utils.translation import gettext as _

from fitting.calc.limb import level_facts
from fitting.drawings import LimbDrawing, StationMark, limb_drawing
from fitting.forms.measure import PresentFitForm, VisitForm
from fitting.forms.visit_rows import Row, row_of
from fitting.forms.visit_stations import Stations, residual_mm, stations_of
from fitting.inputs import settings_of, tolerances_of
from fitting.models import Appointment, Socket
from fitting.models.visit import VisitKind
from fitting.services.visits import FitIn, ReadingIn
from fitting.visit_alerts import read_entries, reading_in
from fitting.visit_entry import Entry, Occasion
from fitting.visit_places import LimbPlaces, Place, body_places, history_of, limb_places
from fitting.wording import landmark_words
from patients.models import Child, Limb, Staff

TWO_DAYS = timedelta(days=2)  # wide enough for one calendar day in any time zone


@dataclass(frozen=True)
class Group:
    """Rows under one heading."""

    heading: str
    rows: tuple[Row, ...]
    girths: bool = False
    seldom: bool = False

    @property
    def filled(self) -> bool:
        return any(row.entry.filled for row in self.rows)


@dataclass(frozen=True)
class LimbBlock:
    """One limb on the page: its drawing, its rows, its stations."""

    limb: Limb
    drawing: LimbDrawing
    groups: tuple[Group, ...]
    landmark: str
    stations: Stations


@dataclass(frozen=True)
class Trouble:
    """Something that stands in the way of saving: the id of the field it is at, what it is, and why."""

    at: str
    words: str
    why: str = ""


@dataclass(frozen=True)
class KeptOffer:
    """A booked appointment on the day of the visit, offered to be marked as kept."""

    appointment: Appointment
    ticked: bool

    @property
    def time(self) -> str:
        return time_format(self.appointment.at.astimezone(self.appointment.clinic.zone))


class VisitSheet:
    """The Measure page of a child as filled in so far; nothing was sent yet when `data` is None."""

    def __init__(self, data: Mapping[str, str] | None, child: Child, by: Staff, now: datetime, first_limb: str = ""):
        self.data, self.child = data or {}, child
        self.limbs = sorted(child.limbs.all(), key=lambda limb: str(limb.pk) != first_limb)
        for limb in self.limbs:
            limb.child = child
        history = history_of(child, now)
        kind = VisitKind.REMEASURE if history.any else VisitKind.ASSESSMENT
        self.visit_form = VisitForm(data, child=child, by=by, now=now, kind=kind)
        self.fits = [PresentFitForm(data, socket=socket) for socket in _worn(self.limbs, self.data)]
        self.occasion = _occasion(self.visit_form, child, now, history)
        worn = {form.row.limb_id: form.row for form in self.fits}
        self.stations = {limb.pk: stations_of(limb, worn.get(limb.pk), self.data, self.occasion) for limb in self.limbs}

    def _typed(self, name: str) -> str:
        return self.data.get(name, "").strip()

    @cached_property
    def limb_places(self) -> list[LimbPlaces]:
        has_sound_side = len(self.limbs) == 1
        return [limb_places(limb, self.stations[limb.pk].mm, has_sound_side) for limb in self.limbs]

    @cached_property
    def entries(self) -> dict[str, Entry]:
        places = [place for limb in self.limb_places for place in limb.all] + list(body_places())
        return read_entries(places, self.data, self.occasion)

    # What is stored

    @property
    def readings(self) -> list[ReadingIn]:
        return [reading_in(entry) for entry in self.entries.values() if entry.filled]

    @property
    def fit_findings(self) -> list[FitIn]:
        return [form.fit for form in self.fits if form.fit]

    # Appointments kept

    @cached_property
    def kept_offers(self) -> list[KeptOffer]:
        """Booked appointments on the day of the visit, ticked when first offered, then as ticked on the page."""
        at, offered = self.occasion.at, self._typed("offered").split(",")
        near = self.child.appointments.booked().filter(at__gt=at - TWO_DAYS, at__lt=at + TWO_DAYS)
        return [
            KeptOffer(row, f"kept-{row.pk}" in self.data or str(row.pk) not in offered)
            for row in near.select_related("clinic").order_by("at")
            if row.clinic.day_of(row.at) == row.clinic.day_of(at)
        ]

    @property
    def offered_text(self) -> str:
        return ",".join(str(offer.appointment.pk) for offer in self.kept_offers)

    @property
    def kept(self) -> list[int]:
        """Keys of the appointments ticked; what the page did not show yet is left booked."""
        keys = [offer.appointment.pk for offer in self.kept_offers]
        return [key for key in keys if f"kept-{key}" in self.data]

    # What stands in the way

    @cached_property
    def troubles(self) -> list[Trouble]:
        """Everything in the way of saving, in the order of the page."""
        found = [*self._stale(), *self._fit_troubles(), *self._fact_troubles(), *self._row_troubles()]
        return found or list(self._nothing())

    def _stale(self) -> Iterator[Trouble]:
        opened_with = self._typed("limbs")
        if opened_with and opened_with != self.limbs_text:
            yield Trouble(
                "main", _("The limbs of this child changed after you opened this page. Look through it again.")
            )

    def _fit_troubles(self) -> Iterator[Trouble]:
        for form in self.fits:
            if not form.is_valid():
                words = _("How the socket fits, %(limb)s") % {"limb": form.row.limb}
                yield Trouble(f"fit-{form.row.limb_id}", words, " ".join(_complaints(form)))

    def _fact_troubles(self) -> Iterator[Trouble]:
        for sentence in self.visit_form.non_field_errors():
            yield Trouble("main", sentence)
        for name, field in self.visit_form.fields.items():
            if name in self.visit_form.errors:
                yield Trouble(f"id_{name}", str(field.label), " ".join(self.visit_form.errors[name]))

    def _row_troubles(self) -> Iterator[Trouble]:
        for row in self.rows:
            if not row.entry.ready:
                yield Trouble(row.trouble_at, row.full_words, row.trouble_why)

    def _nothing(self) -> Iterator[Trouble]:
        if not (self.readings or self.fit_findings or self._typed("note")):
            yield Trouble("main", _("Nothing is typed yet: measure at least one place, or write a note."))

    # What the page shows

    @property
    def limbs_text(self) -> str:
        return ",".join(str(pk) for pk in sorted(limb.pk for limb in self.limbs))

    @property
    def rows(self) -> list[Row]:
        groups = [group for block in self.blocks for group in block.groups] + [self.body]
        return [row for group in groups for row in group.rows]

    @cached_property
    def body(self) -> Group:
        return Group(_("The body"), self._rows(body_places()))

    @cached_property
    def blocks(self) -> list[LimbBlock]:
        return [
            LimbBlock(
                limb=places.limb,
                drawing=self._drawing(places),
                groups=tuple(self._groups(places)),
                landmark=landmark_words(places.limb.level),
                stations=self.stations[places.limb.pk],
            )
            for places in self.limb_places
        ]

    def _groups(self, places: LimbPlaces) -> Iterator[Group]:
        takes_girths = level_facts(places.limb.level).girth_measure is not None
        if places.lengths:
            yield Group(_("Lengths"), self._rows(places.lengths))
        if takes_girths:
            yield Group(_("Girths"), self._rows(places.stations), girths=True)
        if places.widths:
            yield Group(_("Widths"), self._rows(places.widths), seldom=True)
        if places.sound:
            yield Group(_("The sound side"), self._rows(places.sound))

    def _rows(self, places: Sequence[Place]) -> tuple[Row, ...]:
        return tuple(self._row(self.entries[place.key]) for place in places)

    def _row(self, entry: Entry) -> Row:
        place = entry.place
        go_on_at = self.stations[place.limb.pk].go_on_at if place.limb else None
        return row_of(entry, self.occasion, focus=place.station_mm is not None and place.station_mm == go_on_at)

    def _drawing(self, places: LimbPlaces) -> LimbDrawing:
        return limb_drawing(
            level=places.limb.level,
            side=places.limb.side,
            stations=[
                StationMark(place.station_mm, _now_or_last(self.entries[place.key])) for place in places.stations
            ],
            residual_length_mm=residual_mm(places.limb, self.data, self.occasion),
            unit=self.child.clinic.length_unit,
        )


def _occasion(form: VisitForm, child, now, history) -> Occasion:
    """The visit as far as its facts can be read; the usual facts where they cannot."""
    form.is_valid()
    facts = getattr(form, "cleaned_data", {})
    at = facts.get("at", now)
    return Occasion(
        child=child,
        at=at,
        covering=facts.get("covering", form.initial["covering"]),
        instrument=facts.get("instrument", form.initial["instrument"]),
        tolerances=tolerances_of(settings_of(child.clinic)),
        history=history.before(at),
    )


def _complaints(form: PresentFitForm) -> Iterator[str]:
    """What is wrong with a fit, each sentence once, with the labels of the fields it is about."""
    labels = {}
    for name, sentences in form.errors.items():
        for sentence in sentences:
            labels.setdefault(sentence, []).extend([str(form.fields[name].label)] if name in form.fields else [])
    for sentence, names in labels.items():
        yield f"{', '.join(names)}: {sentence}" if names else sentence


def _now_or_last(entry: Entry) -> float | None:
    """The girth typed; before that the last one, so that the limb is drawn from the start."""
    return entry.believed or (entry.last.value if entry.last else None)


def _worn(limbs: Sequence[Limb], data) -> Iterator[Socket]:
    """The socket in use of each limb; where the page was opened on one retired since and none followed, that one."""
    fitted = Socket.objects.filter(limb__in=limbs, fitted_on__isnull=False).order_by("version")
    fitted = fitted.prefetch_related("stations")
    by_limb = {limb.pk: [row for row in fitted if row.limb_id == limb.pk] for limb in limbs}
    for limb in limbs:
        opened = data.get(f"fit-{limb.pk}-socket")
        in_use = [row for row in by_limb[limb.pk] if row.retired_on is None]
        worn = in_use or [row for row in by_limb[limb.pk] if str(row.pk) == opened]
        if worn:
            worn[-1].limb = limb
            yield worn[-1]
