"""Whether a declared error of reading can be trusted; takes and histories that show a larger one are believed."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import chdtri, logsumexp

from fitting.calc.series import Series, evidence_of, posterior_of
from fitting.calc.takes import tem
from fitting.calc.tempo import Evidence, reading_factor

DOUBT = 0.01  # chance of doubting an error that was declared rightly, common practice
SCALES = np.array([1, 1.15, 1.3, 1.5, 1.75, 2, 2.5, 3, 4])  # multiples of the declared error that are tried
MOST_CHILDREN = 500  # enough to tell 1.15 from 1; more only cost time
NEEDED_READINGS = 48  # readings beyond each child's first; with fewer a fifth of error cannot be told, see own_error


def trusted_error_sd(declared_sd: float, differences: Sequence[float]) -> float:
    """SD of one reading [unit of the differences]: as declared, or as pairs of takes show when they show clearly more.

    differences: between two takes of one place. n TEM^2 / declared^2 is chi square with n degrees of freedom if the
    declared error is right.
    """
    n = len(differences)
    if not n:
        return declared_sd
    shown = tem(differences)
    return shown if n * (shown / declared_sd) ** 2 > chdtri(n, DOUBT) else declared_sd


def error_scale(series: Series) -> float:
    """Multiple of the declared error that makes the histories most likely; 1 unless they clearly show a larger one.

    The likelihood of every child's readings, tempo averaged out, is added up over children. Twice its gain is chi
    square with one degree of freedom if the declared error is right (Wilks 1938, Ann Math Stat 9:60).
    """
    few = series.of(_most_read(series))
    readings = int(np.isfinite(few.readings.age_years).sum()) - len(few.male)
    if readings < NEEDED_READINGS:
        return 1.0
    likelihood = np.array([_ln_likelihood(few, scale) for scale in SCALES])
    best = int(likelihood.argmax())
    clearly = 2 * (likelihood[best] - likelihood[0]) > chdtri(1, DOUBT)
    return float(SCALES[best]) if clearly else 1.0


def with_error_scale(series: Series, own: float = 1.0, stature: float = 1.0, weight: float = 1.0) -> Series:
    """The same series with the declared errors of its readings, and of its companions', multiplied."""
    return replace(
        series,
        readings=_scaled(series.readings, own),
        stature=_scaled(series.stature, stature),
        weight=_scaled(series.weight, weight),
    )


def _scaled(readings, scale):
    return readings and replace(readings, error_sd=readings.error_sd * scale)


def _most_read(series):
    """The children with most readings, who tell most of the error."""
    counts = np.isfinite(series.readings.age_years).sum(1)
    return np.sort(np.argsort(-counts, kind="stable")[:MOST_CHILDREN])


def _ln_likelihood(series, scale):
    scaled = with_error_scale(series, scale)
    evidence = evidence_of(scaled.part, scaled.male, scaled.readings, scaled.readings.age_years[:, :0])
    posterior = posterior_of(scaled.part, evidence, scaled.stature, scaled.weight)
    return float(logsumexp(posterior.ln_weight, axis=1).sum() + _ln_root_precision(scaled, evidence))


def _ln_root_precision(series: Series, evidence: Evidence):
    """Half the log determinant of the readings' precision, summed over children; an absent place adds nothing."""
    factor = reading_factor(series.part.kernel, evidence)
    return np.log(np.diagonal(factor, axis1=1, axis2=2)).sum()
