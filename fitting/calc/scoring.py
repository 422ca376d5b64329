"""How good a forecast was: errors, coverage, CRPS, and the plain rules it is held against."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitting.calc.lms import value_at_z, z_score
from fitting.calc.parts import Part
from fitting.calc.references import lms_table
from fitting.calc.units import MONTHS_PER_YEAR

LEVELS = np.arange(1, 40) / 40  # 2.5 % to 97.5 %, every 2.5 %
BANDS = {50: (0.25, 0.75), 80: (0.1, 0.9), 95: (0.025, 0.975)}
VELOCITY_OVER_YEARS = 1.0  # growth over a year, never from less than half a year: common practice
VELOCITY_LEAST_YEARS = 0.49


@dataclass(frozen=True)
class Score:
    """Scores of one group of forecasts [unit of the readings]. Coverage is None for a rule without a band."""

    n: int
    rmse: float
    mae: float
    bias: float
    crps: float
    coverage: dict[int, float] | None


def score_bands(quantiles: np.ndarray, happened: np.ndarray) -> Score:
    """Score of forecasts given as quantiles at LEVELS.

    quantiles: (N, 39); happened: (N,), both in one unit.
    """
    middle = quantiles[:, len(LEVELS) // 2]
    inside = {
        percent: float(np.mean((happened >= _level(quantiles, low)) & (happened <= _level(quantiles, high))))
        for percent, (low, high) in BANDS.items()
    }
    return _score(middle - happened, crps_of_quantiles(quantiles, happened), inside)


def score_points(points: np.ndarray, happened: np.ndarray) -> Score:
    """Score of forecasts that are one number each; their CRPS is the absolute error."""
    error = points - happened
    return _score(error, np.abs(error), None)


def _score(error, crps, coverage):
    rmse = float(np.sqrt(np.mean(error**2)))
    return Score(len(error), rmse, float(np.mean(np.abs(error))), float(np.mean(error)), float(np.mean(crps)), coverage)


def _level(quantiles, level):
    return quantiles[:, np.argmin(np.abs(LEVELS - level))]


def crps_of_quantiles(quantiles: np.ndarray, happened: np.ndarray) -> np.ndarray:
    """Continuous ranked probability score of forecasts given at LEVELS, (N,): twice the mean pinball loss.

    Source: Gneiting and Raftery 2007, J Am Stat Assoc 102:359.
    """
    off = happened[:, None] - quantiles
    return 2 * np.mean(np.where(off >= 0, LEVELS * off, (LEVELS - 1) * off), axis=1)


def last_velocity(age_years: Sequence[float], size: Sequence[float], ahead_years: float) -> float:
    """Size ahead if growth goes on as over the last year (at least half a year of it); the last size with less."""
    ages, sizes = np.asarray(age_years, float), np.asarray(size, float)
    span = ages[-1] - ages[:-1]
    usable = np.flatnonzero(span >= VELOCITY_LEAST_YEARS)
    if not usable.size:
        return float(sizes[-1])
    since = usable[np.argmin(np.abs(span[usable] - VELOCITY_OVER_YEARS))]
    return float(sizes[-1] + (sizes[-1] - sizes[since]) / span[since] * ahead_years)


def constant_z(part: Part, sex, age_years, size, ahead_years) -> np.ndarray:
    """Size ahead if the child stays where it stands in the reference; arrays over children.

    A part with its own table keeps its z-score. A part with its own level has no z-score: it keeps its ratio to the
    median of the table it borrows. Ages outside the table are looked up at its end.
    """
    table = lms_table(part.table)
    now, then = (
        np.clip((np.asarray(age_years, float) + years) * MONTHS_PER_YEAR, table.first_months, table.last_months)
        for years in (0, np.asarray(ahead_years, float))
    )
    if len(part.shapes) == 1:
        return value_at_z(table, sex, then, z_score(table, sex, now, size))
    at_now, at_then = (value_at_z(table, sex, months, 0) for months in (now, then))
    return np.asarray(size, float) * at_then / at_now
