"""What the reading pages need to put records and charts into words and shapes."""

from datetime import date

from django import template

from fitting import wording
from fitting.chart_axes import shown_number
from fitting.due import DueState
from fitting.quantities import format_length
from fitting.templatetags.days import short_day

register = template.Library()

# One shape a state on a 16 x 16 ground, so that a state is known without its colour.
SHAPES = {
    DueState.FIT_PROBLEM: "M5 1h6l4 4v6l-4 4H5l-4-4V5zM7 4v5h2V4zM7 10.5v2h2v-2z",
    DueState.OVERDUE: "M8 1l7.5 14H.5zM7 6v4.5h2V6zM7 11.5v2h2v-2z",
    DueState.REMEASURE: "M1 3h1.5v4h11V3H15v10h-1.5V9h-11v4H1z",
    DueState.START_30: "M8 .5L15.5 8 8 15.5.5 8z",
    DueState.START_90: "M8 .5L15.5 8 8 15.5.5 8zM8 3.3L3.3 8 8 12.7 12.7 8z",
    DueState.MATURING: "M8 1a7 7 0 1 1 0 14A7 7 0 0 1 8 1zm0 1.8v10.4a5.2 5.2 0 0 0 0-10.4z",
    DueState.NO_SOCKET: "M8 1a7 7 0 1 1 0 14A7 7 0 0 1 8 1zm0 1.8a5.2 5.2 0 1 0 0 10.4A5.2 5.2 0 0 0 8 2.8z",
    DueState.NO_REFERENCE: "M2 2h12v12H2zM3.8 3.8v8.4h8.4V3.8z",
    DueState.SOON: "M1 5h14v2H1zM1 9h14v2H1z",
    DueState.LATER: "M1 7h14v2H1z",
}


@register.inclusion_tag("fitting/_state.html")
def state_mark(state):
    """A state as shape and word."""
    return {"state": DueState(state), "shape": SHAPES[DueState(state)]}


@register.filter
def age_on(birth_date: date, on: date) -> str:
    return wording.age_words(birth_date, on)


@register.filter
def length_in(value_mm, unit: str) -> str:
    return "" if value_mm is None else format_length(value_mm, unit)


@register.filter
def bare_length_in(value_mm, unit: str) -> str:
    """A length without its unit, for columns whose heading says it."""
    return "" if value_mm is None else shown_number(value_mm, unit)


@register.filter
def next_step_on(forecast, as_of: date) -> str:
    return wording.next_step(forecast, as_of)


@register.filter
def iso_day(text: str | None) -> str:
    """A day stored as ISO text in a forecast, cut short; empty for none."""
    return short_day(date.fromisoformat(text)) if text else ""
