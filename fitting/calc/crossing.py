"""Probability that any of several parts of a limb has passed its capacity, and the days that follow from it."""

import math
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from scipy.special import ndtr

from fitting.calc.mixtures import first_crossing
from fitting.calc.outlook import Outlook

QUADRATURE_NODES = 40  # Gauss-Hermite over the shared drift; 100 nodes move no probability by more than 2e-5
FACTOR_STEPS = 10  # principal-factor iterations; more move no probability by 1e-5
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


def one_factor(covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Shared loading and own variance of each part: covariance ~ b b' + diag(v).

    covariance: (..., P, P). Returns b (..., P) and v (..., P), v + b^2 being the diagonal. With one part b is zero.
    Source: principal factor method (iterated communalities).
    """
    variance = np.diagonal(covariance, axis1=-2, axis2=-1)
    parts = variance.shape[-1]
    if parts == 1:
        return np.zeros_like(variance), variance.copy()
    own = np.eye(parts, dtype=bool)
    shared = np.abs(np.where(own, 0, covariance)).max(axis=-1)
    for _ in range(FACTOR_STEPS):
        shared = np.minimum(shared, variance)
        loading = _leading(np.where(own, shared[..., None], covariance))
        shared = loading**2
    kept = np.minimum(1, np.sqrt(variance / np.maximum(shared, LEAST_VARIANCE)))
    loading = loading * kept
    return loading, np.maximum(variance - loading**2, LEAST_VARIANCE)


def _leading(matrix):
    values, vectors = np.linalg.eigh(matrix)
    return vectors[..., -1] * np.sqrt(np.maximum(values[..., -1:], 0))


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
    nodes, weights = np.polynomial.hermite_e.hermegauss(QUADRATURE_NODES)
    held = ndtr((room[..., None] - loading[..., None] * nodes) / np.sqrt(own_variance)[..., None]).prod(axis=-2)
    none_passed = held @ (weights / weights.sum())
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
