"""Quantiles of normal mixtures, and the first day a probability is reached. The mixture runs over the last axis (J)."""

import numpy as np
from scipy.special import ndtr, ndtri

DONE_SD = 0.02  # a step of so many SD of a part leaves an error near its cube: 1e-5 SD
MAX_STEPS = 60
P_FLOOR, P_CEILING = 1e-300, 1 - 1e-16  # keeps the normal score finite


def mixture_quantiles(weights, mean, sd, q) -> np.ndarray:
    """Quantiles of mixtures of normals.

    weights, mean, sd: broadcast to (..., J), weights adding up to 1; q: (Q,) probabilities. Returns (..., Q).
    Chebyshev's method on the normal score of the distribution, kept where the parts' own quantiles lie.
    """
    weights, mean, sd = np.broadcast_arrays(weights, mean, sd)
    z = ndtri(np.asarray(q, float))
    start = _start(weights, mean, sd, z)
    narrow, wide = sd.min(-1, keepdims=True), sd.max(-1, keepdims=True)
    low = mean.min(-1, keepdims=True) + np.minimum(narrow * z, wide * z)
    high = mean.max(-1, keepdims=True) + np.maximum(narrow * z, wide * z)
    mixture = (weights[..., None, :], mean[..., None, :], sd[..., None, :])
    return _refined(*mixture, np.broadcast_to(z, low.shape), low, high, np.clip(start, low, high), MAX_STEPS)


def _start(weights, mean, sd, z):
    """Quantile from the first four moments. Source: Cornish and Fisher 1938, Revue de l'Institut 5:307."""
    centre = (weights * mean).sum(-1, keepdims=True)
    off, own = (mean - centre) ** 2, sd**2
    variance, third, fourth = (
        np.einsum("...j,...j->...", weights, moment)[..., None]
        for moment in (own + off, (mean - centre) * (off + 3 * own), off * (off + 6 * own) + 3 * own**2)
    )
    skew, excess = third / variance**1.5, fourth / variance**2 - 3
    bent = z + (z**2 - 1) * (skew / 6) + (z**3 - 3 * z) * (excess / 24) - (2 * z**3 - 5 * z) * (skew**2 / 36)
    return centre + np.sqrt(variance) * bent


def _refined(weights, mean, sd, z, low, high, x, steps):
    """One step on every quantile, then again on those still moving; a step out of its bracket halves it instead."""
    score, slope, bend = _normal_score(weights, mean, sd, x)
    off = z - score
    low, high = np.where(off > 0, x, low), np.where(off < 0, x, high)
    with np.errstate(over="ignore", invalid="ignore"):  # far from the mixture the slope vanishes and the step is lost
        step = off / slope
        to = x + step * (1 - np.clip(0.5 * step * bend / slope, -0.5, 0.5))
    lost = ~((to >= low) & (to <= high))
    to = np.where(lost, (low + high) / 2, to)
    going = lost | (np.abs(step) > DONE_SD * sd.min(-1))
    if steps and going.any():
        mixture = [np.broadcast_to(a, (*x.shape, a.shape[-1]))[going] for a in (weights, mean, sd)]
        to[going] = _refined(*mixture, z[going], low[going], high[going], to[going], steps - 1)
    return to


def _normal_score(weights, mean, sd, x):
    """Normal score of the mixture's distribution function at x (...), its slope and its second derivative."""
    u = (x[..., None] - mean) / sd
    score = ndtri(np.clip(np.einsum("...j,...j->...", weights, ndtr(u)), P_FLOOR, P_CEILING))
    density = np.exp(-0.5 * u * u) * (weights / sd)
    per_score = np.exp(0.5 * score**2)
    slope = np.maximum(np.einsum("...j->...", density) * per_score, P_FLOOR)
    bend = score * slope**2 - np.einsum("...j,...j->...", density, u / sd) * per_score
    return score, slope, bend


def first_crossing(probability, days, q) -> np.ndarray:
    """First day a probability reaches each q, linear between the days given.

    probability: (..., T), nan where unknown; days: (T,) rising; q: (Q,). Returns (..., Q) days, nan where not reached.
    """
    return first_reach(np.asarray(probability)[..., None, :], days, q)


def first_reach(probability, days, q) -> np.ndarray:
    """First of the days (..., T) each probability (..., T) reaches its own q (...); all broadcast; nan where never."""
    q = np.asarray(q, float)
    reached = probability >= q[..., None]
    days, probability, _ = np.broadcast_arrays(days, probability, reached)
    at = reached.argmax(-1)[..., None]
    before = np.maximum(at - 1, 0)
    (p0, p1), (day0, day1) = (
        [np.take_along_axis(values, index, -1)[..., 0] for index in (before, at)] for values in (probability, days)
    )
    share = np.divide(q - p0, p1 - p0, out=np.ones_like(p1), where=(p1 > p0) & (at[..., 0] > 0))
    return np.where(reached.any(-1), day0 + share * (day1 - day0), np.nan)
