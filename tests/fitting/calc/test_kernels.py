from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.kernels import (
    GIRTH,
    LENGTH,
    RESIDUAL_GIRTH,
    STATURE,
    WEIGHT,
    covariance,
    own_variance,
    shared_variance,
)
from fitting.calc.parts import part_of, residual_girth_part
from fitting.calc.series import points_of

AGES = st.lists(st.floats(0.5, 19), min_size=2, max_size=12)
MEASURES = ["stature", "weight", "forearm_girth", "upper_arm_girth", "forearm_length", "length:leg", "girth:calf"]


def points(part, ages, male=False, station=None):
    return points_of(part, np.array([male]), np.array([ages], float), station)


def test_stature_by_hand():
    """A girl at 12 and 19.5 years, one tau apart: written out from the equation with the row's numbers."""
    a, b = points(part_of("stature"), [12.0]), points(part_of("stature"), [19.5])
    g12, g19 = 0.016 + 0.006, 0.016 + 0.006 * np.exp(-0.5 * (7.5 / 1.2) ** 2)
    o12, o19 = (0.0021 * (1 + 15 * np.exp(-(t - 2) / 1.5)) for t in (12, 19.5))
    r = np.sqrt(3)
    wander = 1.15**2 * (g12 * g19 * (1 + r) * np.exp(-r) + o12 * o19 * np.exp(-7.5 / 0.9))
    assert covariance(STATURE, a, b)[0, 0, 0] == pytest.approx(0.045**2 + wander, rel=1e-12)


def test_a_girths_wander_is_in_z_of_the_forearm():
    part = part_of("girth:calf")
    a, b = points(part, [8.0], male=True), points(part, [10.0], male=True)
    S8, S10 = a.forearm_spread[0, 0], b.forearm_spread[0, 0]
    g8, g10 = (0.33 + 0.075 * np.exp(-0.5 * ((t - 14) / 9.5) ** 2) for t in (8, 10))
    r = np.sqrt(3) * 2 / 3.4
    K = g8 * g10 * (1 + r) * np.exp(-r) + 0.19**2 * np.exp(-2 / 2.3)
    assert covariance(GIRTH, a, b)[0, 0, 0] == pytest.approx(1 + (0.91**2 + K) * S8 * S10, rel=1e-12)


def test_stations_share_the_drift_and_keep_their_levels():
    a = points(residual_girth_part(), [8.0, 10.0], station=np.array([0, 0]))
    b = points(residual_girth_part(), [8.0, 10.0], station=np.array([1, 1]))
    same, other = covariance(RESIDUAL_GIRTH, a, a)[0], covariance(RESIDUAL_GIRTH, a, b)[0]
    own = 1 + 0.008**2 * np.exp(-np.array([[0, 2], [2, 0]]) / 2)
    np.testing.assert_allclose(same - other, own, rtol=1e-12)
    np.testing.assert_allclose(np.diag(other), shared_variance(RESIDUAL_GIRTH, a)[0], rtol=1e-12)


@pytest.mark.parametrize("measure", MEASURES)
@given(AGES)
def test_a_covariance_is_one(measure, ages):
    """Symmetric, no negative variance in any combination, and its diagonal is the variance."""
    part = part_of(measure)
    at = points(part, sorted(ages))
    cov = covariance(part.kernel, at, at)[0]
    np.testing.assert_allclose(cov, cov.T, rtol=1e-12)
    np.testing.assert_allclose(
        np.diag(cov), shared_variance(part.kernel, at)[0] + own_variance(part.kernel), rtol=1e-12
    )
    assert np.linalg.eigvalsh(cov).min() > -1e-12 * np.trace(cov)


@pytest.mark.parametrize("kernel", [STATURE, LENGTH, WEIGHT])
def test_lambda_scales_the_wander_alone(kernel):
    at = points(part_of("stature"), [6.0, 7.0])
    one, two = (covariance(replace(kernel, wander_scale=s), at, at)[0] - kernel.level**2 for s in (1, 2))
    np.testing.assert_allclose(two, 4 * one, rtol=1e-9)
