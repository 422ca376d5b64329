"""Boundaries against scikit-learn's quadratic discriminant, and what must hold of any of them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from sklearn.discriminant_analysis import QuadraticDiscriminantAnalysis

from fitting.calc.muscle import boundaries
from fitting.calc.muscle.boundaries import LevelFit
from fitting.calc.muscle.recording import Hold


def fit(mean, variance=0.04, level="light"):
    return LevelFit(level, mean, variance, 3)


def rep(level, number, values):
    values = np.asarray(values, float)
    return boundaries.Repetition(Hold(level, number, 0, 1, 0), float(values.mean()), float(values.var()), values)


@pytest.mark.parametrize("seed", range(5))
def test_equal_density_agrees_with_a_quadratic_discriminant(seed):
    rng = np.random.default_rng(seed)
    low, high = rng.normal(-3, 0.3, 4000), rng.normal(-1.5, rng.uniform(0.2, 0.7), 4000)
    model = QuadraticDiscriminantAnalysis(priors=[0.5, 0.5])
    model.fit(np.concatenate([low, high])[:, None], np.repeat([0, 1], 4000))
    expected = brentq(lambda x: model.predict_proba([[x]])[0, 1] - 0.5, low.mean(), high.mean())
    got = boundaries.equal_density(fit(low.mean(), low.var(ddof=1)), fit(high.mean(), high.var(ddof=1)))
    assert got == pytest.approx(expected, abs=6e-5)


def test_equal_variances_put_the_boundary_in_the_middle():
    assert boundaries.equal_density(fit(-3), fit(-1)) == pytest.approx(-2)


def test_densities_that_do_not_cross_between_the_means_give_the_point_as_far_in_sds():
    wide, narrow = fit(0.0, 1.0), fit(0.1, 0.01)
    assert boundaries.equal_density(wide, narrow) == pytest.approx((0.0 * 0.1 + 0.1 * 1.0) / 1.1)


def test_equal_levels_meet_at_their_mean():
    assert boundaries.equal_density(fit(-2), fit(-2)) == pytest.approx(-2)


means = st.lists(st.floats(-8, 2), min_size=2, max_size=4)
variances = st.floats(0.01, 2)


@given(means, st.data())
def test_boundaries_always_increase(mean_list, data):
    levels = [fit(mean, data.draw(variances)) for mean in mean_list]
    found = boundaries.boundaries_of(levels)
    assert len(found) == len(levels) - 1
    assert all(b - a >= boundaries.LEAST_STEP_LN - 1e-12 for a, b in zip(found, found[1:], strict=False))


@given(st.floats(-8, 2), st.floats(0.01, 4), variances, variances)
def test_a_boundary_lies_between_its_means_where_densities_are_equal(mean, step, v1, v2):
    boundary = boundaries.equal_density(fit(mean, v1), fit(mean + step, v2))
    assert mean - 1e-9 <= boundary <= mean + step + 1e-9


@given(st.floats(-8, 2), st.floats(0.1, 4), variances, variances, st.floats(-5, 5))
def test_a_change_of_gain_moves_the_boundary_by_its_logarithm(mean, step, v1, v2, gain_ln):
    a = boundaries.equal_density(fit(mean, v1), fit(mean + step, v2))
    b = boundaries.equal_density(fit(mean + gain_ln, v1), fit(mean + step + gain_ln, v2))
    assert b - a == pytest.approx(gain_ln, abs=1e-6)


def test_between_variance_is_the_prior_without_repetitions_and_the_data_with_many():
    assert boundaries.between_variance([[1.0], [2.0]]) == pytest.approx(0.35**2)
    many = [list(np.random.default_rng(1).normal(0, 0.1, 5000)) for _ in range(3)]
    assert boundaries.between_variance(many) == pytest.approx(0.01, rel=0.05)


def test_between_variance_by_hand():
    # squares 0.02 + 0.08 about the means, 2 degrees of freedom; prior 4 x 0.1225
    assert boundaries.between_variance([[1.0, 1.2], [2.0, 2.4]]) == pytest.approx((4 * 0.1225 + 0.1) / 6)


def test_levels_are_fitted_in_order_of_strength_with_both_variances():
    reps = [rep("hard", 0, [3.0, 3.2]), rep("rest", 0, [0.0, 0.2]), rep("rest", 1, [0.0, 0.2])]
    levels = boundaries.fit_levels(reps)
    assert [level.level for level in levels] == ["rest", "hard"]
    assert levels[0].mean_ln == pytest.approx(0.1)
    assert levels[0].variance_ln == pytest.approx(4 * 0.1225 / 5 + 0.01)
    assert (levels[0].repetitions, levels[1].repetitions) == (2, 1)


def test_d_prime_by_hand_and_negative_for_levels_in_the_wrong_order():
    assert boundaries.smallest_d_prime([fit(0, 1.0), fit(2, 3.0), fit(3, 1.0)]) == pytest.approx(1 / np.sqrt(2))
    assert boundaries.smallest_d_prime([fit(0), fit(-1)]) < 0


def test_a_value_at_a_boundary_belongs_to_the_level_above():
    assert boundaries.classify(np.array([-5, -3, -2, 0]), (-3, -1)).tolist() == [0, 1, 1, 2]


def test_the_logarithm_has_a_floor():
    assert boundaries.log_envelope(np.array([0.0, 1.0])).tolist() == pytest.approx([np.log(1e-4), 0])
    assert np.isfinite(boundaries.log_envelope(np.zeros(3))).all()


def test_holds_without_samples_are_left_out():
    holds = [Hold("rest", 0, 0, 1, 0), Hold("hard", 0, 50, 51, 50)]
    found = boundaries.repetitions_of(np.arange(100) / 100, np.zeros(100), holds)
    assert [repetition.hold.level for repetition in found] == ["rest"]
