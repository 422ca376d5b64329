"""Scales and ticks of the charts: numbers and days to places on a drawing."""

import math
from dataclasses import dataclass
from datetime import date

from django.utils.formats import date_format, number_format

from fitting.quantities import MM, format_length, in_unit

POST_WIDTH = 6.0
MOST_PLACES, SAME = 2, 1e-6
LAST_LABEL_HALF = 10.0  # a label nearer to the end of its scale than this would be cut off
NICE = (1, 2, 2.5, 5, 10)


@dataclass(frozen=True)
class Scale:
    """A straight scale: value `low` lies at `start`, value `high` at `end` [drawing units]."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)


@dataclass(frozen=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What every chart has: its name, its words, its ground and the door-frame post its scale stands on."""

    uid: str
    title: str
    desc: str
    unit: str
    y_ticks: list[Tick]
    x_ticks: list[Tick]
    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float

    @property
    def post_x(self) -> float:
        return self.left - POST_WIDTH

    @property
    def post_height(self) -> float:
        return self.bottom - self.top


def nice_step(span: float, about: int) -> float:
    """A round step that divides a span into about so many parts."""
    rough = span / about
    magnitude = 10 ** math.floor(math.log10(rough))
    return next(nice * magnitude for nice in NICE if nice * magnitude >= rough * (1 - 1e-9))


def round_values(low: float, high: float, about: int) -> list[float]:
    """Round values within low and high."""
    step = nice_step(high - low, about)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [step * number for number in range(first, last + 1)]


def plain(number: float) -> str:
    """A number as short as it is exact, in the reader's notation."""
    places = next((p for p in range(MOST_PLACES) if abs(number - round(number, p)) < SAME), MOST_PLACES)
    return number_format(round(number, places), places)  # number_format alone cuts off


def shown_number(length_mm: float, unit: str) -> str:
    """A length in the reader's unit as a bare number, for places where the unit stands beside the scale."""
    return format_length(length_mm, unit).removesuffix(f" {unit}")


def length_ticks(scale: Scale, unit: str, about: int = 5) -> list[Tick]:
    """Ticks of a scale of mm at round numbers of the reader's unit."""
    per = in_unit(1.0, unit, MM)
    return [
        Tick(scale.at(value * per), plain(value)) for value in round_values(scale.low / per, scale.high / per, about)
    ]


def number_ticks(scale: Scale, about: int = 5) -> list[Tick]:
    return [Tick(scale.at(value), plain(value)) for value in round_values(scale.low, scale.high, about)]


def month_ticks(scale: Scale, most: int = 5) -> list[Tick]:
    """Ticks of a scale of days (ordinals) at firsts of a month, every 1, 3, 6 or 12 months."""
    first, last = date.fromordinal(round(scale.low)), date.fromordinal(round(scale.high))
    for step in (1, 3, 6, 12, 24, 60):
        days = _firsts(first, last, step)
        if len(days) <= most:
            break
    ticks = [Tick(scale.at(day.toordinal()), date_format(day, "M Y")) for day in days]
    return [tick for tick in ticks if tick.at <= scale.end - LAST_LABEL_HALF]


def _firsts(first, last, step):
    months = range(first.year * 12 + first.month - 1, last.year * 12 + last.month)
    days = [date(month // 12, month % 12 + 1, 1) for month in months if month % 12 % min(step, 12) == 0]
    return [day for day in days if first <= day <= last and (step <= 12 or day.year % (step // 12) == 0)]


def points(pairs) -> str:
    """Places as the points of an SVG line."""
    return " ".join(f"{x:g},{y:g}" for x, y in pairs)
