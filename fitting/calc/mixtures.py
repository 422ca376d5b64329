"""Quantiles of normal mixtures, and the first day a probability is reached. The mixture runs over the last axis (J)."""

import numpy as np
from scipy.special import ndtr, ndtri

DONE_Z = 1e-4  # a Newton step below this leaves an error near its square: 1e-8 standard deviations
MAX_STEPS = 60
P_FLOOR, P_CEILING = 1e-300, 1 - 1e-16  # keeps the normal score finite


def mixture_quantiles(weights, mean, sd, q) -> np.ndarray:
    """Quantiles of mixtures of normals.

    weights, mean, sd: broadcast to (..., J), weights adding up to 1; q: (Q,) probabilities. Returns (..., Q).
    Newton's method on the normal score of the distribution, kept between the least and greatest quantile of the parts.
    """
    weights, mean, sd = np.broadcast_arrays(weights, mean, sd)
    z = ndtri(np.asarray(q, float))
    start = _skewed_start(weights, mean, sd, z)
    parts = mean[..., None, :] + sd[..., None, :] * z[:, None]
    low, high = parts.min(-1), parts.max(-1)
    mixture = (weights[..., None, :], mean[..., None, :], sd[..., None, :])
    return _refined(*mixture, np.broadcast_to(z, low.shape), low, high, np.clip(start, low, high), MAX_STEPS)


def _skewed_start(weights, mean, sd, z):
    """Quantile from mean, variance and skewness. Source: Cornish and Fisher 1938, Revue de l'Institut 5:307."""
    centre = (weights * mean).sum(-1, keepdims=True)
    off = mean - centre
    variance = (weights * (sd**2 + off**2)).sum(-1, keepdims=True)
    third = (weights * off * (off**2 + 3 * sd**2)).sum(-1, keepdims=True)
    return centre + np.sqrt(variance) * z + third / variance * ((z**2 - 1) / 6)


def _refined(weights, mean, sd, z, low, high, x, steps):
    """Newton steps on every quantile, then again on those not done; a step that leaves its bracket halves it instead."""
    score, slope = _normal_score(weights, mean, sd, x)
    off = z - score
    low, high = np.where(off > 0, x, low), np.where(off < 0, x, high)
    to = x + off / slope
    lost = ~((to >= low) & (to <= high))
    to = np.where(lost, (low + high) / 2, to)
    going = lost | (np.abs(off) > DONE_Z)
    if steps and going.any():
        mixture = [np.broadcast_to(a, (*x.shape, a.shape[-1]))[going] for a in (weights, mean, sd)]
        to[going] = _refined(*mixture, z[going], low[going], high[going], to[going], steps - 1)
    return to


def _normal_score(weights, mean, sd, x):
    """Normal score of the mixture's distribution function at x (...), and its slope."""
    u = (x[..., None] - mean) / sd
    score = ndtri(np.clip(np.einsum("...j,...j->...", weights, ndtr(u)), P_FLOOR, P_CEILING))
    u *= u
    u *= -0.5
    density = np.einsum("...j,...j->...", weights / sd, np.exp(u, out=u))
    return score, np.maximum(density * np.exp(0.5 * score**2), P_FLOOR)


def first_crossing(probability, days, q) -> np.ndarray:
    """First day a probability reaches q, linear between the days given.

    probability: (..., T), nan where unknown; days: (T,) rising; q: (Q,). Returns (..., Q) days, nan where never reached.
    """
    reached = probability[..., None, :] >= np.asarray(q, float)[:, None]
    at = reached.argmax(-1)
    before = np.maximum(at - 1, 0)
    p0, p1 = (np.take_along_axis(probability, index, -1) for index in (before, at))
    share = np.divide(q - p0, p1 - p0, out=np.ones_like(p0), where=p1 > p0)
    day = days[before] + np.where(at > 0, share, 0) * (days[at] - days[before])
    return np.where(reached.any(-1), day, np.nan)
