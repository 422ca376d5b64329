"""The forecast of a series: signatures first, the solve follows."""

from collections.abc import Mapping, Sequence
from datetime import date

from fitting.calc.outlook import Observation, Outlook

SEARCH_MONTHS = 60


def series_outlook(
    *,
    sex: str,
    birth_date: date,
    measure: str,
    readings: Sequence[Observation],
    stature: Sequence[Observation] = (),
    weight: Sequence[Observation] = (),
    wander_scale: float | None = None,
    ahead_months: int = SEARCH_MONTHS,
) -> Outlook:
    """Outlook of one series (P = 1, part named by its measure). sex "F" or "M". wander_scale is the lambda of the measure's family, None for the default."""
    raise NotImplementedError


def residual_girths_outlook(
    *,
    sex: str,
    birth_date: date,
    stations: Mapping[str, Sequence[Observation]],
    stature: Sequence[Observation] = (),
    weight: Sequence[Observation] = (),
    wander_scale: float | None = None,
    ahead_months: int = SEARCH_MONTHS,
) -> Outlook:
    """Outlook of all girth stations of one residual limb; the keys of `stations` ("girth:60") are the parts' names."""
    raise NotImplementedError
