"""A place as typed at a visit: its takes, the value they settle on, the change since last time and its noise."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.utils.translation import gettext as _

from fitting.alert_words import THIRD_TAKE
from fitting.calc.plausibility import ASK, Alert
from fitting.calc.takes import MOST_TAKES, closest_two_mean, noise_between
from fitting.calc.tolerances import Tolerances
from fitting.inputs import error_sd
from fitting.models import Reading, Visit
from fitting.quantities import UnreadableQuantity, format_length, format_weight, parse_length_mm, parse_weight_kg
from fitting.templatetags.days import short_day
from fitting.visit_places import History, Place
from patients.models import Child, Clinic

M = Reading.Measure


def show_value(measure: str, value: float, clinic: Clinic) -> str:
    """A value [mm or kg] in the clinic's unit."""
    if measure == M.WEIGHT:
        return format_weight(value, clinic.weight_unit)
    return format_length(value, clinic.length_unit)


@dataclass(frozen=True)
class Occasion:
    """The visit a reading is taken at, and what it is held against."""

    child: Child
    at: datetime
    covering: str
    instrument: str
    tolerances: Tolerances
    history: History

    def reading(self, measure: str, value: float) -> Reading:
        """A reading of this visit, not stored."""
        return Reading(
            measure=measure, value=value, visit=Visit(at=self.at, covering=self.covering, instrument=self.instrument)
        )

    def show(self, measure: str, value: float) -> str:
        """A value in the clinic's unit."""
        return show_value(measure, value, self.child.clinic)

    def parse(self, measure: str, text: str) -> float:
        """A typed text as mm or kg. Raises UnreadableQuantity."""
        clinic = self.child.clinic
        if measure == M.WEIGHT:
            return parse_weight_kg(text, clinic.weight_unit)
        return parse_length_mm(text, clinic.length_unit)


@dataclass(frozen=True)
class Question:
    """An alert at its field: the sentence, the answer given, and what is still wrong with that answer."""

    alert: Alert
    sentence: str
    answer: str = ""
    because: str = ""
    complaint: str = ""

    @property
    def code(self) -> str:
        return self.alert.code

    @property
    def answerable(self) -> bool:
        return self.alert.severity == ASK

    @property
    def settled(self) -> bool:
        return self.answerable and bool(self.answer) and not self.complaint


@dataclass(frozen=True)
class Entry:
    """One place as typed. `asked` remembers by alert code what stood there when it was first and last asked about."""

    place: Place
    typed: tuple[str, ...] = ("", "", "")
    takes: tuple[float, ...] = ()
    errors: Mapping[int, str] = field(default_factory=dict)
    questions: tuple[Question, ...] = ()
    asked: Mapping[str, dict] = field(default_factory=dict)
    last: Reading | None = None

    @property
    def value(self) -> float | None:
        return closest_two_mean(self.takes) if self.takes and not self.errors else None

    @property
    def believed(self) -> float | None:
        """The value, unless it cannot be or a unit slip is still to be answered."""
        slips = {question.code for question in self.open_questions} & {"out_of_range", "unit_slip"}
        return None if slips else self.value

    @property
    def filled(self) -> tuple[str, ...]:
        """The texts typed, without the empty ones."""
        return tuple(text for text in self.typed if text)

    @property
    def wants_third(self) -> bool:
        return any(question.code == THIRD_TAKE for question in self.questions)

    @property
    def open_questions(self) -> tuple[Question, ...]:
        return tuple(question for question in self.questions if not question.settled)

    @property
    def ready(self) -> bool:
        return not self.errors and not self.open_questions


def typed_entry(place: Place, data: Mapping[str, str], occasion: Occasion) -> Entry:
    """A place as it stands in a form's data, before any question is asked."""
    typed = tuple(data.get(f"{place.key}-take{number}", "").strip() for number in range(1, MOST_TAKES + 1))
    takes, errors = [], {}
    for number, text in enumerate(typed, start=1):
        if text:
            try:
                takes.append(occasion.parse(place.measure, text))
            except UnreadableQuantity as error:
                errors[number] = str(error)
    return Entry(place, typed, tuple(takes), errors, last=occasion.history.last(place))


def tem_of(measure: str, occasion: Occasion) -> float:
    """Error of one reading of a measure at this visit [mm or kg]."""
    return error_sd(occasion.reading(measure, 1.0), occasion.tolerances)


def noise_of(entry: Entry, occasion: Occasion) -> float:
    """Half-width of the noise between now and the last reading [mm or kg]: 2.77 x TEM, with both readings' errors."""
    errors = [tem_of(entry.place.measure, occasion)]
    errors.append(error_sd(entry.last, occasion.tolerances) if entry.last else errors[0])
    return noise_between(errors)


def why_not_compared(entry: Entry, occasion: Occasion) -> str:
    """Why the last reading is not held against this one: other covering, or surgery since; empty when it is."""
    last, limb = entry.last, entry.place.limb
    if last.is_girth and last.visit.covering != occasion.covering:
        return _("last time %(covering)s") % {"covering": last.visit.get_covering_display()}
    if limb and limb.acquired_on and occasion.child.clinic.day_of(last.visit.at) < limb.acquired_on:
        return _("last time before the limb was acquired")
    return ""


@dataclass(frozen=True)
class Change:
    """Change since the last reading: up, down, noise or other (not comparable), and the words for it."""

    code: str
    words: str


def change_since_last(entry: Entry, occasion: Occasion) -> Change | None:
    """The change between the last reading and the value typed; never called growth inside the noise."""
    if entry.value is None or entry.last is None:
        return None
    apart = why_not_compared(entry, occasion)
    if apart:
        return Change("other", _("not compared: %(why)s") % {"why": apart})
    difference, noise = entry.value - entry.last.value, noise_of(entry, occasion)
    sign = "+" if difference > 0 else "−" if difference < 0 else "±"
    words = {
        "change": sign + occasion.show(entry.place.measure, abs(difference)),
        "noise": occasion.show(entry.place.measure, noise),
        "day": short_day(occasion.child.clinic.day_of(entry.last.visit.at)),
    }
    if abs(difference) <= noise:
        return Change("noise", _("%(change)s: inside the noise of ±%(noise)s") % words)
    return Change("up" if difference > 0 else "down", _("%(change)s since %(day)s") % words)
