"""Whether the arm may be worn tonight, and what a family is told of the days to come."""

from datetime import date

from django.db import models

from fitting.calc.promise import NO_REFERENCE_UNDER_YEARS
from fitting.models import Forecast
from fitting.wording import (
    FAMILY_GROWN,
    FAMILY_MEASURE_AGAIN,
    FAMILY_NO_SOCKET,
    FAMILY_UNDER_TWO,
    action_of,
    family_next_step,
    family_outlook,
)

Next = Forecast.NextAction


class Wear(models.TextChoices):
    """May the arm be worn; if not, the gravest reason."""

    YES = "yes"
    FIT = "fit"
    NO_SOCKET = "no_socket"
    GROWN = "grown"


def next_code(forecast: Forecast | None, as_of: date) -> str | None:
    """What comes first on a day; None without a forecast."""
    return None if forecast is None else action_of(forecast, as_of)[0]


def waits_for_fit(forecast: Forecast | None, as_of: date) -> bool:
    """A finding that harms, or one for the surgeon, was seen; a loose fit may be worn."""
    if forecast is None:
        return False
    return forecast.state == Forecast.State.FIT_PROBLEM or next_code(forecast, as_of) == Next.SURGEON


def wear_tonight(forecast: Forecast | None, in_use: bool, as_of: date) -> Wear:
    """Whether the arm may be worn. in_use: whether a fitted socket is in use on the limb."""
    if waits_for_fit(forecast, as_of):
        return Wear.FIT
    if not in_use:
        return Wear.NO_SOCKET
    return Wear.GROWN if forecast is not None and is_past_limit(forecast, as_of) else Wear.YES


def is_past_limit(forecast: Forecast, as_of: date) -> bool:
    """The early day has come, or a girth already measures more than its station serves."""
    return (forecast.early is not None and forecast.early <= as_of) or any(_outgrown(room) for room in forecast.room)


def _outgrown(room) -> bool:
    girth_mm, above_mm = room.get("girth_mm"), room.get("outgrown_above_mm")
    return girth_mm is not None and above_mm is not None and girth_mm > above_mm


def outlook(forecast: Forecast | None, wear: Wear, age_years: float, as_of: date) -> tuple[str, ...]:
    """The stored forecast in sentences for the family, first things first; no dates of outgrowth unless worn."""
    if wear == Wear.GROWN:
        return (str(FAMILY_GROWN),)
    step = family_next_step(forecast, as_of) if forecast else ""
    told = {
        Wear.FIT: (step,),
        Wear.NO_SOCKET: (str(FAMILY_NO_SOCKET), step),
        Wear.YES: (step, _ahead(forecast, age_years, as_of) if forecast else ""),
    }
    return tuple(sentence for sentence in told[wear] if sentence)


def _ahead(forecast, age_years, as_of) -> str:
    if forecast.remeasure_by and forecast.remeasure_by <= as_of:
        return "" if next_code(forecast, as_of) == Next.REMEASURE else str(FAMILY_MEASURE_AGAIN)
    if age_years < NO_REFERENCE_UNDER_YEARS:
        return str(FAMILY_UNDER_TWO)
    return family_outlook(forecast, as_of)
