import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from fitting.calc.mixtures import first_crossing, first_reach, mixture_quantiles

Q = np.array([0.025, 0.1, 0.5, 0.9, 0.975])
PARTS = st.lists(st.tuples(st.floats(0.001, 1), st.floats(-0.3, 0.3), st.floats(0.003, 0.2)), min_size=1, max_size=13)


def slow_quantile(weights, mean, sd, q):
    """The root of the distribution function, found between the parts' own quantiles."""
    parts = mean + sd * ndtri(q)
    if np.ptp(parts) < 1e-12:
        return parts[0]
    return brentq(lambda x: weights @ ndtr((x - mean) / sd) - q, parts.min() - 1e-9, parts.max() + 1e-9, xtol=1e-14)


@given(PARTS)
def test_quantiles_equal_the_slow_root(parts):
    weights, mean, sd = np.array(parts).T
    weights = weights / weights.sum()
    ours = mixture_quantiles(weights, mean, sd, Q)
    slow = np.array([slow_quantile(weights, mean, sd, q) for q in Q])
    reached = ndtr((ours[:, None] - mean) / sd) @ weights
    in_a_gap = np.abs(reached - Q) < 1e-12  # between parts far apart a whole stretch has the same probability
    assert (in_a_gap | (np.abs(ours - slow) < 1e-6)).all()


def test_one_normal_has_its_own_quantiles():
    ours = mixture_quantiles(np.array([1.0]), np.array([3.0]), np.array([0.5]), Q)
    np.testing.assert_allclose(ours, 3 + 0.5 * ndtri(Q), rtol=1e-9)


def test_parts_far_apart():
    """Half the weight at 0 and half at 1: the tenth centile is the lower part's twentieth."""
    ours = mixture_quantiles(np.array([0.5, 0.5]), np.array([0.0, 1]), np.array([0.01, 0.01]), [0.1, 0.9])
    np.testing.assert_allclose(ours, [0.01 * ndtri(0.2), 1 + 0.01 * ndtri(0.8)], atol=1e-9)


def test_many_mixtures_at_once():
    rng = np.random.default_rng(5)
    weights, mean, sd = (
        rng.dirichlet(np.ones(13), 7)[:, None],
        rng.normal(0, 0.1, (7, 3, 13)),
        rng.uniform(0.01, 0.1, (7, 3, 13)),
    )
    together = mixture_quantiles(weights, mean, sd, Q)
    assert together.shape == (7, 3, 5)
    alone = mixture_quantiles(weights[4, 0], mean[4, 2], sd[4, 2], Q)
    np.testing.assert_allclose(together[4, 2], alone, atol=1e-7)


def slow_crossing(probability, days, q):
    """First day with P >= q, by walking along the days."""
    for k, p in enumerate(probability):
        if p >= q:
            if k == 0:
                return days[0]
            before = probability[k - 1]
            return days[k - 1] + (q - before) / (p - before) * (days[k] - days[k - 1])
    return np.nan


@given(st.lists(st.floats(0, 1), min_size=1, max_size=30), st.floats(0.01, 0.99))
def test_crossing_equals_the_slow_walk(probability, q):
    days = np.arange(len(probability)) * 30.4375
    ours = first_crossing(np.array(probability), days, np.array([q]))[0]
    assert ours == pytest.approx(slow_crossing(probability, days, q), nan_ok=True)


def test_crossing_by_hand():
    """0.2 on day 0, 0.4 on day 30, unknown after: 0.3 falls on day 15, 0.1 has passed already, 0.5 is never reached."""
    found = first_crossing(np.array([0.2, 0.4, np.nan]), np.array([0.0, 30, 60]), [0.1, 0.3, 0.5])
    np.testing.assert_allclose(found, [0, 15, np.nan])


def test_each_probability_with_its_own_days():
    found = first_reach(np.array([[0, 1.0], [0, 0.5]]), np.array([[0, 10.0], [30, 40]]), np.array([0.5, 0.25]))
    np.testing.assert_allclose(found, [5, 35])
