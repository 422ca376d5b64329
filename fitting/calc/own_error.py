"""A clinic's own error of measurement and wander, estimated from its takes, its repeats and its forecasts' misses."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from fitting.calc.bands import PER_STEP, STEP
from fitting.calc.takes import tem

# A standard deviation from so many independent differences is known within a fifth, 19 times in 20:
# 1.96 / sqrt(2 n) <= 0.2.
NEEDED_DIFFERENCES = 48
WIDEST_RATIO = 2.0  # an interval from one value to more than its double tells too little to act on
SCALES = np.geomspace(0.3, 3.0, 81)  # multiples of what is in use now that are tried
LN_DROP_95 = 1.92  # half of the 95 % point of chi square with one degree of freedom (Wilks 1938)
LEAST_VARIANCE = 1e-10


@dataclass(frozen=True)
class Estimate:
    """An estimated scale with its 95 % interval; at_edge: the search ended before the best value was found."""

    value: float
    low: float
    high: float
    n: int
    at_edge: bool = False

    @property
    def enough(self) -> bool:
        return self.n >= NEEDED_DIFFERENCES and not self.at_edge

    @property
    def known(self) -> bool:
        """Whether the interval is narrow enough to act on."""
        return self.high <= WIDEST_RATIO * self.low

    def agrees_with(self, value: float) -> bool:
        return self.low <= value <= self.high


def tem_estimate(differences: Sequence[float]) -> Estimate | None:
    """TEM from differences of n pairs, with its interval: sum(d^2) / (2 TEM^2) is chi square, n degrees of freedom."""
    if not len(differences):
        return None
    n, value = len(differences), tem(list(differences))
    if not value:
        return Estimate(0.0, 0.0, 0.0, n, at_edge=True)
    low, high = (value * np.sqrt(n / chi2.ppf(q, n)) for q in (0.975, 0.025))
    return Estimate(value, float(low), float(high), n)


@dataclass(frozen=True)
class Misses:
    """Readings that came one visit after a promise, (N,) each: ln of what was read, and what the promise made of it.

    mean, sd: of ln true size as promised; those under STEP times the wander and under STEP times the error of reading
    noise: SD of the reading's error [ln]; wander_scale, tem: lambda and TEM the promise was made with
    """

    ln_read: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    mean_wander: np.ndarray
    sd_wander: np.ndarray
    mean_error: np.ndarray
    sd_error: np.ndarray
    noise: np.ndarray
    wander_scale: np.ndarray
    tem: np.ndarray


def ln_likelihood(misses: Misses, wander_scale, tem) -> np.ndarray:
    """Log likelihood of the misses under other values of lambda (L, 1) and TEM (1, E); returns (L, E).

    One visit ahead, each miss is independent of the ones before, so this is the likelihood of the readings themselves.
    The variance runs straight in the squares of the scales, the mean in their logarithms.
    """
    wander = np.asarray(wander_scale)[..., None] / misses.wander_scale
    error = np.asarray(tem)[..., None] / misses.tem
    base = misses.sd**2
    variance = base + (misses.sd_wander**2 - base) / PER_STEP * (wander**2 - 1)
    variance = variance + (misses.sd_error**2 - base) / PER_STEP * (error**2 - 1) + (misses.noise * error) ** 2
    variance = np.maximum(variance, LEAST_VARIANCE)
    mean = misses.mean + (misses.mean_wander - misses.mean) * np.log(wander) / np.log(STEP)
    mean = mean + (misses.mean_error - misses.mean) * np.log(error) / np.log(STEP)
    return -0.5 * (np.log(variance) + (misses.ln_read - mean) ** 2 / variance).sum(axis=-1)


def estimates(misses: Misses) -> tuple[Estimate, Estimate] | None:
    """Lambda and TEM that make the misses most likely, each with the interval of its profile; None without misses."""
    n = len(misses.ln_read)
    if not n:
        return None
    wander, error = (np.median(used) * SCALES for used in (misses.wander_scale, misses.tem))
    ln_like = ln_likelihood(misses, wander[:, None], error[None])
    return _profiled(wander, ln_like.max(axis=1), n), _profiled(error, ln_like.max(axis=0), n)


def _profiled(values, profile, n):
    """Best value and where the profile has dropped by 1.92 on either side, between the values tried."""
    best = int(profile.argmax())
    ln_values, limit = np.log(values), profile[best] - LN_DROP_95
    below, above = profile[: best + 1], profile[best:]
    low = np.interp(limit, np.maximum.accumulate(below), ln_values[: best + 1])
    high = np.interp(limit, np.maximum.accumulate(above[::-1]), ln_values[best:][::-1])
    edge = best in (0, len(values) - 1)
    return Estimate(float(values[best]), float(np.exp(low)), float(np.exp(high)), n, edge)
