"""The solve: one small Gaussian-process regression per child at each tempo point, batched over children.

Arrays run over children first (N), then readings (n) or ages asked for (T), then tempo points (J). A child with fewer
readings than the others has places marked absent; such a place counts for nothing, exactly.
"""

from dataclasses import dataclass

import numpy as np

from fitting.calc.kernels import Kernel, Points, covariance, own_variance, shared_variance
from fitting.calc.shapes import TEMPO_POINTS, AgeTable

LN_PRIOR = -0.5 * TEMPO_POINTS**2
J = len(TEMPO_POINTS)


@dataclass(frozen=True)
class Evidence:
    """The readings of one part of N children, then the ages asked for.

    points: the n readings, oldest first, absent ones at the age of the last, then the T ages asked for
    male, present: (N,), (N, n) bool; ln_size, noise: (N, n) ln of the readings and the variance of their errors
    """

    points: Points
    male: np.ndarray
    present: np.ndarray
    ln_size: np.ndarray
    noise: np.ndarray

    def past(self) -> Points:
        """Where the part was read."""
        return self.points.part(slice(self.ln_size.shape[1]))

    def ahead(self) -> Points:
        """What is asked for."""
        return self.points.part(slice(self.ln_size.shape[1], None))


@dataclass(frozen=True)
class Posterior:
    """What the readings say at the ages asked for, given each tempo point.

    ln_weight: (N, J) ln weights of the tempo points, up to a constant
    mean: (N, T, J) mean of ln size
    explained: (N, n, T) covariance of the readings with the ages asked for, whitened
    shape_gap: (N, T, R, J) shape contrasts the readings leave open; shape_cov: (N, R, R, J) covariance of their factors
    """

    ln_weight: np.ndarray
    mean: np.ndarray
    explained: np.ndarray
    shape_gap: np.ndarray
    shape_cov: np.ndarray


def normalised(ln_weight: np.ndarray) -> np.ndarray:
    """Weights that add up to 1 over the last axis."""
    weights = np.exp(ln_weight - ln_weight.max(-1, keepdims=True))
    return weights / weights.sum(-1, keepdims=True)


@dataclass(frozen=True)
class Conditioned:
    """One part of N children at each tempo point, its readings taken in, to be asked at any ages.

    past: where it was read; whiten: (N, n, n) inverse Cholesky factor of the readings' covariance, 0 for absent places
    white: (N, n, J + R J) whitened residuals, then shape contrasts; last_contrasts: (N, 1, R J) at the last reading
    ln_weight: (N, J); shape_mean, shape_cov: (N, R, J), (N, R, R, J) of the shape factors
    """

    kernel: Kernel
    shapes: AgeTable
    male: np.ndarray
    past: Points
    whiten: np.ndarray
    white: np.ndarray
    last_contrasts: np.ndarray
    ln_weight: np.ndarray
    shape_mean: np.ndarray
    shape_cov: np.ndarray

    def residual(self, ahead: Points) -> np.ndarray:
        """Mean of level and wander (N, T, J), shape error left out."""
        return self._explained(ahead).swapaxes(1, 2) @ self.white[:, :, :J]

    def posterior(self, ahead: Points, drift=None) -> Posterior:
        """What the readings say at points ahead; drift: (N, T, J) what the companion adds there, None for nothing."""
        explained = self._explained(ahead)
        said = explained.swapaxes(1, 2) @ self.white
        rows = self.shapes.at(self.male, ahead.age_years)
        mean = rows[:, :, :J] + said[:, :, :J]
        if drift is not None:
            mean += drift
        gap = _by_contrast((rows[:, :, J:] - self.last_contrasts) * self.kernel.shape_weight - said[:, :, J:])
        for r in range(gap.shape[2]):
            mean += gap[:, :, r] * self.shape_mean[:, None, r]
        return Posterior(self.ln_weight, mean, explained, gap, self.shape_cov)

    def _explained(self, ahead):
        return self.whiten @ covariance(self.kernel, self.past, ahead)


def condition(kernel: Kernel, shapes: AgeTable, evidence: Evidence, ln_prior, drift=None) -> Conditioned:
    """Condition level, wander and shape on the readings, at each tempo point.

    ln_prior: (N, J) ln weights before these readings; drift: (N, n, J) what the companion adds, None for nothing.
    Source: the conditionals of a Gaussian process; the shape error is R = K - 1 factors of unit variance on contrasts.
    """
    past = evidence.past()
    rows = shapes.at(evidence.male, past.age_years)
    expected = rows[:, :, :J] if drift is None else rows[:, :, :J] + drift
    last_contrasts = rows[:, -1:, J:]
    seen = (rows[:, :, J:] - last_contrasts) * kernel.shape_weight
    whiten = reading_factor(kernel, evidence) * evidence.present[:, None]
    white = whiten @ np.concatenate([evidence.ln_size[:, :, None] - expected, seen], axis=2)
    ln_weight = ln_prior - 0.5 * np.einsum("nij,nij->nj", white[:, :, :J], white[:, :, :J])
    shape_mean, shape_cov = np.zeros((len(white), 0, J)), np.zeros((len(white), 0, 0, J))
    if seen.shape[2]:
        shape_mean, shape_cov, gain = _shape_factors(white[:, :, :J], _by_contrast(white[:, :, J:]))
        ln_weight += gain
    return Conditioned(
        kernel, shapes, evidence.male, past, whiten, white, last_contrasts, ln_weight, shape_mean, shape_cov
    )


def _by_contrast(columns):
    """(N, m, R J) as (N, m, R, J)."""
    return columns.reshape(*columns.shape[:2], columns.shape[2] // J, J)


def reading_factor(kernel: Kernel, evidence: Evidence) -> np.ndarray:
    """Inverse Cholesky factor of the readings' covariance, (N, n, n); 1 on the diagonal at absent places."""
    past, here = evidence.past(), evidence.present
    cov = np.where(here[:, :, None] & here[:, None, :], covariance(kernel, past, past), 0)
    n = cov.shape[1]
    cov[:, range(n), range(n)] += np.where(here, evidence.noise, 1)
    return np.linalg.inv(np.linalg.cholesky(cov))


def _shape_factors(v, V):
    """Posterior of the two shape factors: mean (N, 2, J), covariance (N, 2, 2, J), their part in ln weight (N, J)."""
    a, d, b = (np.einsum("nij,nij->nj", V[:, :, r], V[:, :, s]) for r, s in ((0, 0), (1, 1), (0, 1)))
    a, d = a + 1, d + 1
    det = a * d - b * b
    s0, s1 = (np.einsum("nij,nij->nj", V[:, :, r], v) for r in (0, 1))
    f0, f1 = (d * s0 - b * s1) / det, (a * s1 - b * s0) / det
    cov = np.stack([np.stack([d, -b], 1), np.stack([-b, a], 1)], 1) / det[:, None, None]
    return np.stack([f0, f1], 1), cov, 0.5 * (s0 * f0 + s1 * f1 - np.log(det))


def variance_ahead(kernel: Kernel, ahead: Points, posterior: Posterior) -> np.ndarray:
    """Variance of ln size at each age asked for and tempo point, (N, T, J)."""
    fixed = shared_variance(kernel, ahead) + own_variance(kernel)
    fixed = fixed - np.einsum("nit,nit->nt", posterior.explained, posterior.explained)
    return fixed[:, :, None] + _quadratic(posterior.shape_gap, posterior.shape_cov)


def covariance_ahead(kernel: Kernel, ahead: Points, posterior: Posterior, parts: int) -> np.ndarray:
    """Covariance of ln size between one child's parts at each age, (J, T, P, P); ahead runs over parts, then ages."""
    ages = ahead.age_years.shape[1] // parts
    shared = shared_variance(kernel, ahead)[0, :ages]
    W = posterior.explained[0].reshape(-1, parts, ages)
    fixed = shared[:, None, None] + own_variance(kernel) * np.eye(parts) - np.einsum("ipt,iqt->tpq", W, W)
    gap = posterior.shape_gap[0].reshape(parts, ages, -1, J)
    return fixed + np.einsum("ptrj,qtsj,rsj->jtpq", gap, gap, posterior.shape_cov[0])


def _quadratic(gap, cov):
    """gap' cov gap over the shape factors: (N, T, R, J) and (N, R, R, J) to (N, T, J)."""
    total = np.zeros(gap.shape[:2] + gap.shape[3:])
    for r in range(gap.shape[2]):
        for s in range(r + 1):
            total += gap[:, :, r] * gap[:, :, s] * ((1 if r == s else 2) * cov[:, None, r, s])
    return total
