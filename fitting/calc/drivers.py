"""What drove a forecast: the measure that runs out first, how fast it grows, and what its uncertainty is made of."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from fitting.calc.bands import SeriesBands
from fitting.calc.outlook import Outlook, quantiles
from fitting.calc.units import DAYS_PER_YEAR

LEAST_YEARS = 0.5  # growth a year is never told from less than half a year ahead


@dataclass(frozen=True)
class Drivers:
    """What drove the dates of one limb.

    measure: the series behind the limiting part; readings: how many days it was read on
    size_mm: expected at the last reading; growth_mm_per_year: expected from then to the likely day
    sd_mm: standard deviation of the size on the likely day
    by_error, by_wander, by_rest: shares of its variance: error of reading; how this child's growth wanders; tempo and
    the borrowed shape
    """

    measure: str
    readings: int
    size_mm: float
    growth_mm_per_year: float
    sd_mm: float
    by_error: float
    by_wander: float
    by_rest: float


def drivers(outlook: Outlook, part: str, bands: SeriesBands, readings: int, likely: date | None) -> Drivers:
    """What drove the dates, seen at one part of an outlook on the likely day (a year ahead when there is none)."""
    ahead = (likely - outlook.origin).days if likely else DAYS_PER_YEAR
    ahead = float(np.clip(ahead, LEAST_YEARS * DAYS_PER_YEAR, max(outlook.days_ahead[-1], 1)))
    middle = quantiles(outlook, part, 0.5)[0]
    then_mm = float(np.interp(ahead, outlook.days_ahead, middle))
    band_sd = float(np.interp(ahead, bands.days, bands.of(part).sd))
    by_error, by_wander, by_rest = bands.shares_at(ahead)
    return Drivers(
        measure=bands.measure,
        readings=readings,
        size_mm=float(middle[0]),
        growth_mm_per_year=(then_mm - float(middle[0])) / ahead * DAYS_PER_YEAR,
        sd_mm=then_mm * band_sd,
        by_error=by_error,
        by_wander=by_wander,
        by_rest=by_rest,
    )
