"""One child's forecast by scikit-learn's Gaussian-process regressor with the same kernel: slow, and independent."""

import numpy as np
from scipy.special import ndtr
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import Kernel

from fitting.calc.forecast import EARLY_LIKELY_LATE, SEARCH_MONTHS
from fitting.calc.kernels import covariance
from fitting.calc.mixtures import first_crossing, mixture_quantiles
from fitting.calc.parts import STATURE_DRIFT, WEIGHT_DRIFT, Part, part_of
from fitting.calc.references import EDGE_MONTHS
from fitting.calc.series import Readings, Series, points_of
from fitting.calc.shapes import TEMPO_POINTS, shape_table
from fitting.calc.tempo import LN_PRIOR, J, normalised
from fitting.calc.units import DAYS_PER_MONTH, MONTHS_PER_YEAR


class PartKernel(Kernel):
    """Covariance of level, wander and shape error of a part at one tempo point, between ages in one column."""

    def __init__(self, part: Part, male: bool, tempo: int, last_years: float):
        self.part, self.male, self.tempo, self.last_years = part, male, tempo, last_years

    def __call__(self, X, Y=None, eval_gradient=False):
        a, b = X[:, 0], X[:, 0] if Y is None else Y[:, 0]
        male = np.array([self.male])
        between = covariance(self.part.kernel, *(points_of(self.part, male, ages[None]) for ages in (a, b)))[0]
        return between + self._contrasts(a) @ self._contrasts(b).T

    def _contrasts(self, ages):
        """What the shapes differ in since the last reading, (n, K - 1)."""
        rows = shape_rows(self.part, self.male, np.append(ages, self.last_years))[:, J + self.tempo :: J]
        return (rows[:-1] - rows[-1]) * self.part.kernel.shape_weight

    def diag(self, X):
        return np.diagonal(self(X))

    def is_stationary(self):
        return False


def shape_rows(part: Part, male: bool, age_years):
    """Mean shape and contrasts at ages (n,), (n, K J)."""
    table = shape_table(part.shapes, part.kernel.tempo_sd)
    return table.at(np.array([male]), np.asarray(age_years, float)[None])[0]


def fitted(part: Part, male: bool, readings: Readings, tempo: int, drift=None) -> GaussianProcessRegressor:
    """The regressor of a part at one tempo point, conditioned on one child's readings less what is expected."""
    ages, size, error_sd = (values[0] for values in (readings.age_years, readings.size, readings.error_sd))
    expected = shape_rows(part, male, ages)[:, tempo] + (0 if drift is None else drift(ages))
    kernel = PartKernel(part, male, tempo, ages[-1])
    regressor = GaussianProcessRegressor(kernel, alpha=(error_sd / size) ** 2, optimizer=None)
    return regressor.fit(ages[:, None], np.log(size) - expected)


def mixture(series: Series, asked_years):
    """Weights (J,), means and SD (T, J) of ln size of one child at ages [years], a regressor for each tempo point."""
    part, male, last = series.part, bool(series.male[0]), series.readings.last_age_years()[0]
    ln_weight, columns = LN_PRIOR.copy(), []
    for tempo in range(len(TEMPO_POINTS)):
        drift, own_weight = _companions(series, male, last, tempo)
        regressor = fitted(part, male, series.readings, tempo, drift)
        off, sd = regressor.predict(np.asarray(asked_years)[:, None], return_std=True)
        expected = shape_rows(part, male, asked_years)[:, tempo] + (0 if drift is None else drift(asked_years))
        ln_weight[tempo] += own_weight + regressor.log_marginal_likelihood_value_
        columns.append((expected + off, sd))
    mean, sd = np.moveaxis(columns, 0, -1)
    return normalised(ln_weight), mean, sd


def _companions(series, male, last, tempo):
    """What the companions add to the mean since the last reading, and to the ln weight, at one tempo point."""
    drift, ln_weight = None, 0.0
    if series.stature is not None and series.part.family != "stature":
        stature = fitted(part_of("stature"), male, series.stature, tempo)
        ln_weight = stature.log_marginal_likelihood_value_
        drift = _drift(stature, STATURE_DRIFT, last) if series.part.family == "length" else None
    if series.weight is not None and series.part.family == "girth":
        drift = _drift(fitted(part_of("weight"), male, series.weight, tempo), WEIGHT_DRIFT, last)
    return drift, ln_weight


def _drift(regressor, beta, last):
    def since_last(ages):
        residual = regressor.predict(np.append(ages, last)[:, None])
        return beta * (residual[:-1] - residual[-1])

    return since_last


def bands(series: Series, ahead_months, q) -> np.ndarray:
    """Quantiles (T, Q) of one child's readings to be expected; of ages past the reference too."""
    last = series.readings.last_age_years()[0]
    weights, mean, sd = mixture(series, last + np.asarray(ahead_months) / MONTHS_PER_YEAR)
    error = series.readings.error_sd[0, -1] / np.exp(mean)
    return np.exp(mixture_quantiles(weights, mean, np.hypot(sd, error), q))


def dates(series: Series, thresholds) -> np.ndarray:
    """Early, likely and late day (M, 3) one child passes thresholds (1, M), month by month."""
    last = series.readings.last_age_years()[0]
    left = int(series.part.last_months + EDGE_MONTHS - last * MONTHS_PER_YEAR)
    months = np.arange(min(SEARCH_MONTHS, left) + 1)
    final = series.part.last_months / MONTHS_PER_YEAR
    weights, mean, sd = mixture(series, np.minimum(last + months / MONTHS_PER_YEAR, final))
    above = np.stack([ndtr((mean - ln_threshold) / sd) @ weights for ln_threshold in np.log(thresholds[0])])
    return first_crossing(above, months * DAYS_PER_MONTH, EARLY_LIKELY_LATE)
