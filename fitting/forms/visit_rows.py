"""One row of the Measure page: the place, the last value and its noise, the takes, what they come to, what is asked."""

from dataclasses import dataclass
from zlib import crc32

from django.utils.translation import gettext as _

from fitting.templatetags.days import short_day
from fitting.visit_alerts import ANSWERS, asked_text
from fitting.visit_entry import Change, Entry, Occasion, Question, change_since_last, noise_of
from fitting.visit_places import place_words


@dataclass(frozen=True)
class Take:
    """One input: its form name, what stands in it, what is wrong with it."""

    number: int
    name: str
    text: str
    error: str


@dataclass(frozen=True)
class Choice:
    """One way to answer a question."""

    value: str
    words: str
    chosen: bool


@dataclass(frozen=True)
class Asked:
    """A question on the page; `name` begins the names of its answer's fields."""

    name: str
    question: Question
    choices: tuple[Choice, ...]


@dataclass(frozen=True)
class Row:
    """One place to measure as the page shows it."""

    key: str
    words: str
    full_words: str
    station: str
    entry: Entry
    takes: tuple[Take, ...]
    unit: str
    last: str
    last_day: str
    noise: str
    value: str
    change: Change | None
    asked: tuple[Asked, ...]
    asked_text: str
    focus: bool

    @property
    def trouble_at(self) -> str:
        """Id of the first field that needs somebody."""
        if self.entry.errors:
            return f"{self.key}-take{min(self.entry.errors)}"
        return f"{self.key}-take1"

    @property
    def trouble_why(self) -> str:
        """What is wrong, or what is still to be answered, in one sentence or two."""
        unread = [
            _("Take %(number)s: %(error)s") % {"number": take.number, "error": take.error} for take in self.errors
        ]
        asked = [question.complaint if question.answer else question.sentence for question in self.entry.open_questions]
        return " ".join(unread or asked)

    @property
    def errors(self) -> tuple[Take, ...]:
        return tuple(take for take in self.takes if take.error)

    @property
    def shown(self) -> str:
        """A mark of what stands beside the takes, so that an unchanged row is not sent again."""
        said = [(a.question.code, a.question.sentence, a.question.answer, a.question.complaint) for a in self.asked]
        change = self.change and self.change.words
        return f"{crc32(repr((self.value, change, said, self.errors, self.asked_text)).encode()):08x}"


def row_of(entry: Entry, occasion: Occasion, focus: bool = False) -> Row:
    """An entry as a row of the page."""
    place, clinic, last = entry.place, occasion.child.clinic, entry.last
    words = place_words(place, clinic.length_unit)
    station = "" if place.station_mm is None else f"{place.station_mm:g}"
    return Row(
        key=place.key,
        words=words,
        full_words=_("Girth at %(distance)s") % {"distance": words} if station else words,
        station=station,
        entry=entry,
        takes=tuple(
            Take(number, f"{place.key}-take{number}", text, entry.errors.get(number, ""))
            for number, text in enumerate(entry.typed, start=1)
        ),
        unit=clinic.weight_unit if place.measure == "weight" else clinic.length_unit,
        last=occasion.show(place.measure, last.value) if last else "",
        last_day=short_day(clinic.day_of(last.visit.at)) if last else "",
        noise=occasion.show(place.measure, noise_of(entry, occasion)),
        value="" if entry.believed is None else occasion.show(place.measure, entry.value),
        change=None if entry.believed is None else change_since_last(entry, occasion),
        asked=tuple(_asked(place.key, question) for question in entry.questions),
        asked_text=asked_text(entry),
        focus=focus,
    )


def _asked(key, question) -> Asked:
    choices = tuple(Choice(value, str(words), value == question.answer) for value, words in ANSWERS)
    return Asked(f"{key}-{question.code}", question, choices if question.answerable else ())
