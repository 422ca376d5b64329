"""The forecast of one child written straight from its equations: plain loops, no batching, no shortcuts.

A reading or an age asked for is a pair (age in years, station number).
"""

import math

import numpy as np

from fitting.calc.references import lms_table
from fitting.calc.shapes import STEP_YEARS, TEMPO_POINTS, ln_shape

SPURT = {"M": 14.0, "F": 12.0}


def shape(name, sex, tempo_sd, x, age):
    """h_k at the maturity age of tempo point x, linear between the ages of the table the product keeps."""
    k = math.floor(age / STEP_YEARS)
    low, high = (float(ln_shape(name, sex, (k + step) * STEP_YEARS * math.exp(-tempo_sd * x))) for step in (0, 1))
    return low + (high - low) * (age / STEP_YEARS - k)


def spread(table, sex, age):
    curves = lms_table(table).curves[sex]
    return float(np.interp(age * 12, curves.age_months, curves.S))


def level_and_wander(part, sex, a, b):
    """level^2 + K(t, t') of one part between two points."""
    (t, station), (u, other), kernel = a, b, part.kernel
    unit = table = 1.0
    if kernel.in_forearm_z:
        unit = spread("forearm_girth_us1977", sex, t) * spread("forearm_girth_us1977", sex, u)
        table = spread(part.table, sex, t) * spread(part.table, sex, u)
    d = abs(t - u)
    r = math.sqrt(3) * d / kernel.slow_years
    g, h = (
        kernel.slow + kernel.slow_spurt * math.exp(-0.5 * ((v - SPURT[sex]) / kernel.spurt_width) ** 2) for v in (t, u)
    )
    o, p = (kernel.fast * (1 + kernel.fast_early * math.exp(-max(v - 2, 0) / 1.5)) for v in (t, u))
    wander = g * h * (1 + r) * math.exp(-r) + o * p * math.exp(-d / kernel.fast_years)
    own = kernel.level**2 + kernel.station_wander**2 * math.exp(-d / 2) if station == other else 0
    return own + kernel.table_level**2 * table + kernel.wander_scale**2 * wander * unit


def shape_error(part, sex, x, last, a, b):
    """sigma_w^2 times the sum over shapes of (d_k - mean d)(d_k' - mean d')."""
    sd = part.kernel.tempo_sd
    rows = []
    for age in (a[0], b[0]):
        d = [shape(n, sex, sd, x, age) - shape(n, sex, sd, x, last) for n in part.shapes]
        rows.append([value - sum(d) / len(d) for value in d])
    return part.kernel.shape_weight**2 * sum(p * q for p, q in zip(*rows, strict=True))


def condition(part, sex, x, read, ln_size, noise, asked, drift=lambda age: 0.0):
    """Mean and covariance of ln size at the points asked for, residual there, and ln likelihood, at one tempo point."""
    last = max(age for age, _ in read)

    def expected(point):
        shapes = [shape(n, sex, part.kernel.tempo_sd, x, point[0]) for n in part.shapes]
        return sum(shapes) / len(shapes) + drift(point[0])

    def cov(a, b):
        return level_and_wander(part, sex, a, b) + shape_error(part, sex, x, last, a, b)

    K = np.array([[cov(a, b) for b in read] for a in read]) + np.diag(noise)
    k = np.array([[cov(a, b) for b in asked] for a in read])
    R = np.array(ln_size) - [expected(a) for a in read]
    residual = k.T @ np.linalg.solve(K, R)
    covariance = np.array([[cov(a, b) for b in asked] for a in asked]) - k.T @ np.linalg.solve(K, k)
    likelihood = -0.5 * np.linalg.slogdet(K)[1] - 0.5 * R @ np.linalg.solve(K, R)
    return residual + [expected(a) for a in asked], covariance, residual, likelihood


def companion(part, sex, x, readings, ages):
    """Residual of a companion at ages, and ln likelihood of its readings; readings are (age, size, error)."""
    read = [(age, 0) for age, _, _ in readings]
    ln_size = [math.log(size) for _, size, _ in readings]
    noise = [(error / size) ** 2 for _, size, error in readings]
    _, _, residual, likelihood = condition(part, sex, x, read, ln_size, noise, [(age, 0) for age in ages])
    return dict(zip(ages, residual, strict=True)), likelihood


def slow_forecast(part, sex, readings, asked, stature=None, weight=None):
    """Weights (J,), means (J, A) and covariances (J, A, A) of ln size at points asked for [(age, station)].

    readings: (age, station, size, error); stature, weight: (part, [(age, size, error)]) or None.
    """
    read = [(age, station) for age, station, _, _ in readings]
    ln_size = [math.log(size) for _, _, size, _ in readings]
    noise = [(error / size) ** 2 for _, _, size, error in readings]
    ages = sorted({age for age, _ in read + asked})
    last = max(age for age, _ in read)
    ln_weight, means, covariances = [], [], []
    for x in TEMPO_POINTS:
        ln_prior, drift = -0.5 * x**2, dict.fromkeys(ages, 0.0)
        if stature and part.family != "stature":
            residual, likelihood = companion(stature[0], sex, x, stature[1], ages)
            ln_prior += likelihood
            if part.family == "length":
                drift = {age: residual[age] - residual[last] for age in ages}
        if weight and part.family == "girth":
            residual, _ = companion(weight[0], sex, x, weight[1], ages)
            drift = {age: 0.5 * (residual[age] - residual[last]) for age in ages}
        mean, covariance, _, likelihood = condition(part, sex, x, read, ln_size, noise, asked, drift.get)
        ln_weight.append(ln_prior + likelihood)
        means.append(mean)
        covariances.append(covariance)
    weights = np.exp(np.array(ln_weight) - max(ln_weight))
    return weights / weights.sum(), np.array(means), np.array(covariances)
