"""The batched solve against its slow and obvious twin, slow_forecast.py."""

import numpy as np
import pytest

from fitting.calc.forecast import readings_of
from fitting.calc.parts import part_of, residual_girth_part
from fitting.calc.series import Series, evidence_of, mixture_ahead, posterior_of
from fitting.calc.shapes import TEMPO_POINTS, ln_shape
from fitting.calc.tempo import covariance_ahead, normalised
from tests.fitting.calc import slow_forecast as slow

ERROR = {"stature": 5.0, "weight": 0.2, "length": 3.0, "girth": 2.0}
AHEAD_YEARS = np.array([0, 0.5, 1.25, 2])
CASES = [
    ("stature", False, False),
    ("weight", True, False),
    ("girth:calf", False, False),
    ("girth:calf", True, True),
    ("forearm_girth", True, True),
    ("upper_arm_girth", False, True),
    ("length:leg", False, False),
    ("length:leg", True, False),
    ("forearm_length", True, True),
]


def record(rng, measure, sex, start, count):
    """Readings (age, size, error) of a child growing along a shape of the measure, with wander and error."""
    part = part_of(measure)
    ages = start + np.cumsum(rng.uniform(0.2, 0.9, count))
    ln_size = ln_shape(part.shapes[0], sex, ages * np.exp(rng.normal(0, 0.05))) + np.cumsum(rng.normal(0, 0.01, count))
    return [(age, float(np.exp(size)), ERROR[part.family]) for age, size in zip(ages, ln_size, strict=True)]


@pytest.mark.parametrize(("measure", "with_stature", "with_weight"), CASES)
def test_equals_the_slow_twin(measure, with_stature, with_weight):
    """Four children with 1, 2, 4 and 6 readings, and companions of other lengths, in one batch."""
    rng = np.random.default_rng(len(measure))
    sexes, counts = "FMFM", (1, 4, 2, 6)
    starts = (3.0, 9.0, 13.5, 5.0)
    own = [record(rng, measure, *child) for child in zip(sexes, starts, counts, strict=True)]
    stature = [record(rng, "stature", *child) for child in zip(sexes, starts, (3, 1, 5, 2), strict=True)]
    weight = [record(rng, "weight", *child) for child in zip(sexes, starts, (2, 3, 1, 4), strict=True)]
    ours = mixture_ahead(
        Series(
            part_of(measure),
            np.array([sex == "M" for sex in sexes]),
            readings_of(own),
            readings_of(stature) if with_stature else None,
            readings_of(weight) if with_weight else None,
        ),
        AHEAD_YEARS,
    )
    for k, sex in enumerate(sexes):
        asked = [(own[k][-1][0] + ahead, 0) for ahead in AHEAD_YEARS]
        weights, mean, covariance = slow.slow_forecast(
            part_of(measure),
            sex,
            [(age, 0, size, error) for age, size, error in own[k]],
            asked,
            stature=(part_of("stature"), stature[k]) if with_stature else None,
            weight=(part_of("weight"), weight[k]) if with_weight else None,
        )
        np.testing.assert_allclose(ours.weights[k, 0], weights, atol=1e-8)
        np.testing.assert_allclose(ours.mean[k].T, mean, atol=1e-8)
        np.testing.assert_allclose(ours.sd[k].T ** 2, np.diagonal(covariance, axis1=1, axis2=2), atol=1e-9)


def test_stations_of_a_residual_limb_equal_the_slow_twin():
    """Three stations read at different visits, one of them once; means, weights and the covariance between stations."""
    part, ages = residual_girth_part(), np.array([6.0, 6.7, 7.5, 8.1])
    read = [(6.0, 0), (6.0, 1), (6.7, 0), (7.5, 1), (7.5, 2), (8.1, 0), (8.1, 1)]
    size = [170.0, 160, 172, 166, 151, 181, 170]
    stature = [(age, 1150 + 60 * (age - 6), 5.0) for age in ages]
    weight = [(age, 21 + 2.5 * (age - 6), 0.2) for age in ages]
    asked = [(8.1 + ahead, station) for station in range(3) for ahead in AHEAD_YEARS]
    readings = readings_of([[(age, value, 2.0) for (age, _), value in zip(read, size, strict=True)]])
    evidence = evidence_of(
        part,
        np.array([True]),
        readings,
        np.array([[age for age, _ in asked]]),
        np.array([station for _, station in read + asked]),
    )
    posterior = posterior_of(part, evidence, readings_of([stature]), readings_of([weight]))
    ours = covariance_ahead(part.kernel, evidence.points.part(slice(len(read), None)), posterior, 3)
    weights, mean, covariance = slow.slow_forecast(
        part,
        "M",
        [(age, station, value, 2.0) for (age, station), value in zip(read, size, strict=True)],
        asked,
        stature=(part_of("stature"), stature),
        weight=(part_of("weight"), weight),
    )
    np.testing.assert_allclose(normalised(posterior.ln_weight)[0], weights, atol=1e-8)
    np.testing.assert_allclose(posterior.mean[0].T, mean, atol=1e-8)
    J, T = len(TEMPO_POINTS), len(AHEAD_YEARS)
    between = covariance.reshape(J, 3, T, 3, T)[:, :, range(T), :, range(T)]
    np.testing.assert_allclose(ours, between.transpose(1, 0, 2, 3), atol=1e-9)
