"""The chance that a socket is outgrown by a day, read from a promise's three days; and the weeks worn outgrown."""

from datetime import date

import numpy as np
from scipy.special import ndtr, ndtri

from fitting.calc.crossing import EARLY, LATE, LIKELY
from fitting.calc.units import DAYS_PER_YEAR

ONE_DATE_SD_DAYS = DAYS_PER_YEAR / 2  # spread when only the early day is within the search; own guess
LEAST_APART_DAYS = 0.1  # the three days of a socket found outgrown coincide: a jump within that day
DAYS_PER_WEEK = 7


def chance_by(days: np.ndarray, early: date | None, likely: date | None, late: date | None) -> np.ndarray:
    """Chance of being outgrown by each day.

    days: proleptic ordinals, any shape; early, likely, late: the 10, 50 and 90 % days, None past the search.
    Returns chances, same shape; all 0 where no day is within the search.
    The normal deviate of the chance is linear between the days, and beyond them as between the nearest two.
    """
    days = np.asarray(days, float)
    if early is None:
        return np.zeros(days.shape)
    knots, deviates = _knots(early, likely, late)
    return ndtr(_linear(days, knots, deviates))


def _knots(early, likely, late):
    known = [(day.toordinal(), float(ndtri(p))) for day, p in ((early, EARLY), (likely, LIKELY), (late, LATE)) if day]
    if len(known) == 1:
        day, deviate = known[0]
        known.append((day + ONE_DATE_SD_DAYS, deviate + 1))
    days, deviates = np.array(known).T
    return days + LEAST_APART_DAYS * np.arange(len(days)), deviates


def _linear(days, knots, deviates):
    slopes = np.diff(deviates) / np.diff(knots)
    before = deviates[0] + slopes[0] * (days - knots[0])
    after = deviates[-1] + slopes[-1] * (days - knots[-1])
    inside = np.interp(days, knots, deviates)
    return np.where(days < knots[0], before, np.where(days > knots[-1], after, inside))


def outgrown_weeks(chances: np.ndarray) -> np.ndarray:
    """Expected child-weeks worn outgrown up to each day, from the chances of consecutive days along the last axis."""
    return np.cumsum(chances, axis=-1) / DAYS_PER_WEEK
