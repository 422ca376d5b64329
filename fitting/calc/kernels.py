"""How far a child's ln size strays from its shape: the covariance of level and wander, one row of numbers a family.

All rows: estimated for this project on published longitudinal records of 136 children aged 2-18 years (Tuddenham and
Snyder 1954); calf girth and leg length stand in for arms, because no open longitudinal record of arms could be found.
Exceptions: the weight row and the wander of single stations are guesses of this project, to be re-estimated.
"""

from dataclasses import dataclass, replace

import numpy as np

SPURT_AGE_YEARS = {"M": 14.0, "F": 12.0}
FAST_FADE_FROM_YEARS = 2.0
FAST_FADE_YEARS = 1.5
STATION_WANDER_YEARS = 2.0


@dataclass(frozen=True)
class Kernel:
    """Spread of one family of measures, on ln size [1]; times in years.

    level: SD of the child's own level
    slow, slow_spurt, spurt_width, slow_years: slow wander s0, its rise s1 around the spurt of width w, its time tau
    fast, fast_years, fast_early: fast wander so, its time to, its rise e2 in toddlers
    tempo_sd: SD of ln tempo; wander_scale: lambda; shape_weight: sigma_w
    table_level: level again, as a multiple of the reference's S
    in_forearm_z: slow and fast wander are multiples of S of the forearm girth
    station_wander: SD of what one station does alone
    """

    level: float
    slow: float
    slow_spurt: float
    spurt_width: float
    slow_years: float
    fast: float
    fast_years: float
    fast_early: float
    tempo_sd: float
    wander_scale: float
    shape_weight: float
    table_level: float = 0.0
    in_forearm_z: bool = False
    station_wander: float = 0.0


STATURE = Kernel(0.045, 0.016, 0.006, 1.2, 7.5, 0.0021, 0.9, 15, 0.085, 1.15, 0)
LENGTH = Kernel(2, 0.0036, 0.0127, 2.6, 3.8, 0.0052, 1.5, 0, 0.074, 1.15, 1.0)
TABLE_LENGTH = replace(LENGTH, level=0.056)
GIRTH = Kernel(1, 0.33, 0.075, 9.5, 3.4, 0.19, 2.3, 0, 0.08, 1.0, 0.3, table_level=0.91, in_forearm_z=True)
TABLE_GIRTH = replace(GIRTH, level=0)
RESIDUAL_GIRTH = replace(GIRTH, station_wander=0.008)
WEIGHT = Kernel(0.16, 0.06, 0.02, 2.5, 4, 0.02, 1, 0, 0.085, 1, 0)


@dataclass(frozen=True)
class Points:
    """Ages at which sizes are read or asked for, with what the covariance needs to know there.

    age_years: (N, n); spurt_years: (N, 1) usual age of the spurt
    table_spread, forearm_spread: (N, n) S of the part's own reference, and of the forearm girth
    station: (n,) number of the station, 0 where there is only one
    """

    age_years: np.ndarray
    spurt_years: np.ndarray
    table_spread: np.ndarray
    forearm_spread: np.ndarray
    station: np.ndarray

    def part(self, columns: slice):
        """The same children at some of the points."""
        cut = [a[:, columns] for a in (self.age_years, self.table_spread, self.forearm_spread)]
        return Points(cut[0], self.spurt_years, cut[1], cut[2], self.station[columns])


def covariance(kernel: Kernel, a: Points, b: Points) -> np.ndarray:
    """Covariance of level and wander between points a (N, n) and b (N, m), as (N, n, m) [ln size squared].

    level^2 + K(t, t') with K = lambda^2 [g g' (1 + r) e^-r + o o' e^-(d/to)], r = sqrt(3) d / tau.
    """
    apart = np.abs(a.age_years[:, :, None] - b.age_years[:, None, :])
    slow_a, fast_a = _amplitudes(kernel, a)
    slow_b, fast_b = _amplitudes(kernel, b)
    r = apart * (np.sqrt(3) / kernel.slow_years)
    cov = (1 + r) * np.exp(-r) * slow_a[:, :, None] * slow_b[:, None, :]
    cov += np.exp(apart * (-1 / kernel.fast_years)) * fast_a[:, :, None] * fast_b[:, None, :]
    if kernel.table_level:
        cov += (kernel.table_level**2) * a.table_spread[:, :, None] * b.table_spread[:, None, :]
    return cov + _own_level(kernel, a, b, apart)


def shared_variance(kernel: Kernel, a: Points) -> np.ndarray:
    """Variance at each point of what all stations share: wander and the table's level, (N, n)."""
    slow, fast = _amplitudes(kernel, a)
    return slow**2 + fast**2 + (kernel.table_level * a.table_spread) ** 2


def own_variance(kernel: Kernel) -> float:
    """Variance of what one station has to itself: its level and its own wander."""
    return kernel.level**2 + kernel.station_wander**2


def _own_level(kernel, a, b, apart):
    """level^2 + what one station does alone, between readings of the same station only."""
    if not kernel.station_wander:
        return kernel.level**2
    same = a.station[:, None] == b.station[None, :]
    return same * (kernel.level**2 + kernel.station_wander**2 * np.exp(-apart / STATION_WANDER_YEARS))


def _amplitudes(kernel, at):
    age = at.age_years
    slow = kernel.slow + kernel.slow_spurt * np.exp(-0.5 * ((age - at.spurt_years) / kernel.spurt_width) ** 2)
    fast = np.full_like(age, kernel.fast)
    if kernel.fast_early:
        fast *= 1 + kernel.fast_early * np.exp(-np.maximum(age - FAST_FADE_FROM_YEARS, 0) / FAST_FADE_YEARS)
    unit = kernel.wander_scale * at.forearm_spread if kernel.in_forearm_z else kernel.wander_scale
    return slow * unit, fast * unit
