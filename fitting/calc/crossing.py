"""Probability that any of several parts of a limb has passed its capacity, and the days that follow from it."""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from fitting.calc.mixtures import first_crossing
from fitting.calc.outlook import Outlook

# Shared drift, in standard deviations: the trapezoid rule to six, exact to 1e-4 while a part's own spread is at least
# a fifteenth of what it shares.
DRIFT = np.linspace(-6, 6, 121)
DRIFT_WEIGHTS = np.exp(-(DRIFT**2) / 2) / np.exp(-(DRIFT**2) / 2).sum()
FACTOR_ROUNDS = 60  # over the parts; weak loadings settle slowly, to half a percent of correlation by then
SETTLED = 1e-4  # largest change of a loading in a round that is not worth another; moves no probability by 1e-4
LEAST_VARIANCE = 1e-12
SAME_DAY = 1e-9  # rounding of an interpolated day


@dataclass(frozen=True)
class Curve:
    """Probability of having passed, day by day: origin, (T,) days from it, (T,) probabilities."""

    origin: date
    days: np.ndarray
    probability: np.ndarray

    def on_days_of(self, other: "Curve") -> np.ndarray:
        """This curve's probabilities at another curve's days; held at both ends."""
        return np.interp(other.days + (other.origin - self.origin).days, self.days, self.probability)


@dataclass(frozen=True)
class Dates:
    """Days on which a probability reaches its early, likely and late level; None when not within the search."""

    early: date | None = None
    likely: date | None = None
    late: date | None = None


EARLY, LIKELY, LATE = 0.10, 0.50, 0.90
CHECK = 0.05


def reach_day(curve: Curve, q: float) -> date | None:
    """First day with probability at or above q, linear between the curve's days; None when it is not reached."""
    day = float(first_crossing(curve.probability, curve.days, np.array([q]))[0])
    return None if math.isnan(day) else curve.origin + timedelta(days=math.ceil(day - SAME_DAY))


def reach_dates(curve: Curve) -> Dates:
    """Early, likely and late day of one curve."""
    return Dates(reach_day(curve, EARLY), reach_day(curve, LIKELY), reach_day(curve, LATE))


def not_before(day: date | None, dates: Dates) -> Dates:
    """The same dates, none before a day; None leaves them as they are."""
    if day is None:
        return dates
    return Dates(*(None if on is None else max(on, day) for on in (dates.early, dates.likely, dates.late)))


def one_factor(covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shared loading and own variance of each part: covariance ~ b b' + diag(v).

    covariance: (..., P, P). Returns b (..., P) and v (..., P), v + b^2 being the diagonal. With one part b is zero.
    Least squares on what lies off the diagonal, one part at a time.
    Source: Harman and Jones 1966, Psychometrika 31:351 (from memory).
    """
    variance = np.diagonal(covariance, axis1=-2, axis2=-1)
    parts = variance.shape[-1]
    if parts == 1:
        return np.zeros_like(variance), variance.copy()
    sd = np.sqrt(variance)
    correlation = np.where(np.eye(parts, dtype=bool), 0, covariance / (sd[..., None] * sd[..., None, :]))
    loading = np.sqrt(np.clip(correlation.max(axis=-1), 0, 1))
    for _ in range(FACTOR_ROUNDS):
        before = loading.copy()
        for part in range(parts):
            pulled = (correlation[..., part, :] * loading).sum(-1)
            weight = (loading**2).sum(-1) - loading[..., part] ** 2
            best = np.divide(pulled, weight, out=np.zeros_like(pulled), where=weight > 0)
            loading[..., part] = np.clip(best, -1, 1)
        if np.abs(loading - before).max() < SETTLED:
            break
    loading *= sd
    return loading, np.maximum(variance - loading**2, LEAST_VARIANCE)


def joint_curve(outlook: Outlook, thresholds_mm: dict[str, float]) -> Curve:
    """Probability that any of several parts of one outlook is above its threshold [mm].

    Given the shared drift the parts are independent, so P = 1 - integral of the product of (1 - P_k) over the drift, by
    quadrature; mixed over tempo; never below the largest single probability.
    """
    rows = [outlook.parts.index(part) for part in thresholds_mm]
    mean = outlook.mean_ln[:, rows]
    covariance = outlook.cov_ln[:, :, rows][:, :, :, rows]
    limits = np.log(np.array(list(thresholds_mm.values())))
    room = (limits[None, :, None] - mean).transpose(0, 2, 1)
    loading, own_variance = one_factor(covariance)
    held = ndtr((room[..., None] - loading[..., None] * DRIFT) / np.sqrt(own_variance)[..., None]).prod(axis=-2)
    none_passed = held @ DRIFT_WEIGHTS
    single = ndtr(-room / np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1)))
    joint = outlook.weights @ (1 - none_passed)
    largest = np.tensordot(outlook.weights, single, axes=1).max(axis=-1)
    return Curve(outlook.origin, outlook.days_ahead, np.clip(np.maximum(joint, largest), 0, 1))


def summed(curves: list[Curve]) -> Curve:
    """At most the probability that any has passed, min(1, sum of P), on the first curve's days: for the early date."""
    first = curves[0]
    total = sum(curve.on_days_of(first) for curve in curves)
    return Curve(first.origin, first.days, np.minimum(total, 1))


def either(curves: list[Curve]) -> Curve:
    """Probability that any has passed if they are independent, on the first curve's days: for likely and late dates."""
    first = curves[0]
    none = np.prod([1 - curve.on_days_of(first) for curve in curves], axis=0)
    return Curve(first.origin, first.days, 1 - none)
