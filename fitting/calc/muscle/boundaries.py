"""Graded boundaries on the natural logarithm of the trailing RMS, fitted to the levels one person holds."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitting.calc.muscle.recording import LEVELS, Hold, samples_of

PRIOR_SD_LN = 0.35  # between repetitions; 60 sites of open adult recordings
PRIOR_REPETITIONS = 4  # degrees of freedom the prior counts for: one at each level, common practice
LEAST_STEP_LN = 0.02  # boundaries that cross are set this far apart
FLOOR = 1e-4  # of the strongest envelope: nothing is quieter, so that a dead sample cannot rule a mean


@dataclass(frozen=True)
class Repetition:
    """Log envelope of one hold: mean and variance [ln unit]; values: the samples themselves."""

    hold: Hold
    mean_ln: float
    variance_ln: float
    values: np.ndarray


@dataclass(frozen=True)
class LevelFit:
    """One level: mean log envelope and variance of a sample in a new repetition [ln unit]."""

    level: str
    mean_ln: float
    variance_ln: float
    repetitions: int


def log_envelope(envelope: np.ndarray) -> np.ndarray:
    """Natural logarithm of an envelope, with a floor."""
    floor = max(float(envelope.max()) * FLOOR, np.finfo(float).tiny)
    return np.log(np.maximum(envelope, floor))


def repetitions_of(time_s: np.ndarray, log_env: np.ndarray, holds: Sequence[Hold]) -> tuple[Repetition, ...]:
    """Log envelope in each hold that has samples."""
    parts = [(hold, log_env[samples_of(time_s, hold.start_s, hold.end_s)]) for hold in holds]
    return tuple(Repetition(hold, float(x.mean()), float(x.var()), x) for hold, x in parts if len(x))


def fit_levels(repetitions: Sequence[Repetition]) -> tuple[LevelFit, ...]:
    """Levels in order of strength. Variance: between repetitions (pooled, with the prior) plus within holds."""
    groups = [[rep for rep in repetitions if rep.hold.level == level] for level in LEVELS]
    groups = [group for group in groups if group]
    between = between_variance([[rep.mean_ln for rep in group] for group in groups])
    return tuple(
        LevelFit(
            group[0].hold.level,
            float(np.mean([rep.mean_ln for rep in group])),
            between + float(np.mean([rep.variance_ln for rep in group])),
            len(group),
        )
        for group in groups
    )


def between_variance(means_by_level: Sequence[Sequence[float]]) -> float:
    """Variance between repetitions, pooled over levels and drawn to the prior [ln unit squared]."""
    squares = sum(float(np.sum((np.asarray(means) - np.mean(means)) ** 2)) for means in means_by_level)
    free = sum(len(means) - 1 for means in means_by_level)
    return (PRIOR_REPETITIONS * PRIOR_SD_LN**2 + squares) / (PRIOR_REPETITIONS + free)


def equal_density(lower: LevelFit, upper: LevelFit) -> float:
    """Log envelope between two means at which both normal densities are equal.

    Where they do not cross between the means, the point as many standard deviations from the one as from the other.
    """
    (m1, v1), (m2, v2) = (lower.mean_ln, lower.variance_ln), (upper.mean_ln, upper.variance_ln)
    curve = (1 / v2 - 1 / v1, 2 * (m1 / v1 - m2 / v2), m2**2 / v2 - m1**2 / v1 + np.log(v2 / v1))
    roots = np.roots(curve)
    between = [root.real for root in roots if abs(root.imag) < 1e-9 and min(m1, m2) <= root.real <= max(m1, m2)]
    if between:
        return float(between[0])
    s1, s2 = np.sqrt((v1, v2))
    return float((m1 * s2 + m2 * s1) / (s1 + s2))


def boundaries_of(levels: Sequence[LevelFit]) -> tuple[float, ...]:
    """Boundary between each level and the next [ln unit], forced to increase."""
    found = []
    for lower, upper in zip(levels, levels[1:], strict=False):
        boundary = equal_density(lower, upper)
        found.append(max(boundary, found[-1] + LEAST_STEP_LN) if found else boundary)
    return tuple(found)


def smallest_d_prime(levels: Sequence[LevelFit]) -> float:
    """Smallest distance of neighbouring means by their root mean variance; negative for two in the wrong order."""
    return min(
        (upper.mean_ln - lower.mean_ln) / float(np.sqrt((lower.variance_ln + upper.variance_ln) / 2))
        for lower, upper in zip(levels, levels[1:], strict=False)
    )


def classify(log_env: np.ndarray, boundaries_ln: Sequence[float]) -> np.ndarray:
    """Number of the level each log envelope falls into, from 0; a value at a boundary belongs to the level above."""
    return np.searchsorted(np.asarray(boundaries_ln), log_env, side="right")
