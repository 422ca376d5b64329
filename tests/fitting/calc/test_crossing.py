from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitting.calc.crossing import (
    EARLY,
    LATE,
    LIKELY,
    Curve,
    Dates,
    either,
    joint_curve,
    not_before,
    one_factor,
    reach_dates,
    reach_day,
    summed,
)
from fitting.calc.outlook import probability_above
from tests.fitting.calc.synthetic import GIRTHS_MM, ORIGIN, outlook

LIMITS_MM = {part: girth + 10 for part, girth in GIRTHS_MM.items()}


def curve(*probability, origin=ORIGIN, step=30):
    return Curve(origin, np.arange(len(probability)) * float(step), np.array(probability, float))


def sampled(outlook, limits_mm, draws=60_000):
    """The joint probability the slow way: draw every part from its full covariance and count."""
    random = np.random.default_rng(20260110)
    limits = np.log(list(limits_mm.values()))
    rows = [outlook.parts.index(part) for part in limits_mm]
    tempo = random.choice(len(outlook.weights), p=outlook.weights, size=draws)
    normal = random.standard_normal((draws, len(rows)))
    probability = []
    for t in range(len(outlook.days_ahead)):
        passed = np.zeros(draws, bool)
        for j in range(len(outlook.weights)):
            root = np.linalg.cholesky(outlook.cov_ln[j, t][np.ix_(rows, rows)])
            size = outlook.mean_ln[j, rows, t] + normal[tempo == j] @ root.T
            passed[tempo == j] = (size > limits).any(axis=1)
        probability.append(passed.mean())
    return np.array(probability)


@pytest.mark.parametrize(
    ("shared", "own"),
    [(0.02, 0.008), (0.03, 0.002), (0.0, 0.02), (0.002, 0.02)],
    ids=["usual", "drift", "own", "mostly own"],
)
def test_joint_probability_agrees_with_drawing(shared, own):
    made = outlook(GIRTHS_MM, shared=shared, own=own)
    joint = joint_curve(made, LIMITS_MM)
    slow = sampled(made, LIMITS_MM)
    assert 0.02 < slow[12] < 0.98  # there is something to compare
    assert joint.probability == pytest.approx(slow, abs=0.008)
    for q in (EARLY, LIKELY, LATE):
        by_drawing = reach_day(Curve(made.origin, made.days_ahead, slow), q)
        assert abs((reach_day(joint, q) - by_drawing).days) <= 10


def test_joint_probability_of_parts_that_share_unequally():
    made = outlook(GIRTHS_MM)
    loading = np.array([0.03, 0.02, 0.01, 0.015])
    own = np.diag([0.006, 0.01, 0.02, 0.008]) ** 2
    years = made.days_ahead[:, None, None] / 365.25
    made.cov_ln[:] = np.outer(loading, loading) * years + own
    assert joint_curve(made, LIMITS_MM).probability == pytest.approx(sampled(made, LIMITS_MM), abs=0.008)


@given(
    st.lists(st.floats(min_value=0.002, max_value=0.1), min_size=3, max_size=6),
    st.floats(min_value=0.004, max_value=0.05),
)
def test_a_one_factor_covariance_is_found_again(loading, own):
    covariance = np.outer(loading, loading) + own**2 * np.eye(len(loading))
    found, variance = one_factor(covariance)
    again = np.outer(found, found) + np.diag(variance)
    scale = np.sqrt(np.outer(np.diag(covariance), np.diag(covariance)))
    assert np.abs((again - covariance) / scale).max() < 0.01
    assert np.diag(again) == pytest.approx(np.diag(covariance))


def test_two_parts_share_exactly_their_covariance():
    found, variance = one_factor(np.array([[4.0, 1.2], [1.2, 1.0]]))
    assert found[0] * found[1] == pytest.approx(1.2, abs=0.01)
    assert found**2 + variance == pytest.approx([4.0, 1.0])


def test_one_part_shares_nothing():
    loading, variance = one_factor(np.array([[0.04]]))
    assert (loading, variance) == ([0.0], [0.04])


spreads = st.floats(min_value=0.001, max_value=0.06)


@settings(max_examples=40, deadline=None)
@given(spreads, spreads, st.floats(min_value=0.0, max_value=0.08), st.floats(min_value=1, max_value=40))
def test_joint_is_between_the_largest_single_and_the_sum(shared, own, growth, room_mm):
    made = outlook(GIRTHS_MM, growth=growth, shared=shared, own=own)
    limits = {part: girth + room_mm for part, girth in GIRTHS_MM.items()}
    joint = joint_curve(made, limits).probability
    singles = np.array([probability_above(made, part, limit) for part, limit in limits.items()])
    assert np.all(joint >= singles.max(axis=0) - 1e-12)
    assert np.all(joint <= np.minimum(singles.sum(axis=0), 1) + 2e-3)


@settings(max_examples=40, deadline=None)
@given(st.floats(min_value=0, max_value=30), st.floats(min_value=0, max_value=30), st.sampled_from(sorted(GIRTHS_MM)))
def test_joint_falls_with_any_capacity(room_mm, more_mm, widened):
    made = outlook(GIRTHS_MM)
    tight = {part: girth + room_mm for part, girth in GIRTHS_MM.items()}
    wide = tight | {widened: tight[widened] + more_mm}
    assert np.all(joint_curve(made, wide).probability <= joint_curve(made, tight).probability + 1e-12)


def test_one_part_is_its_own_probability():
    made = outlook({"girth:0": 200.0})
    joint = joint_curve(made, {"girth:0": 210.0})
    assert joint.probability == pytest.approx(probability_above(made, "girth:0", 210.0))


@pytest.mark.parametrize(
    ("q", "day"),
    [
        (0.10, 15),  # half way from 0 to 0.2
        (0.20, 30),
        (0.50, 60 + 30 * 0.1 / 0.4),
        (0.90, None),
    ],
)
def test_first_day_of_a_probability(q, day):
    reached = reach_day(curve(0, 0.2, 0.4, 0.8), q)
    assert reached == (None if day is None else ORIGIN + timedelta(days=int(np.ceil(day))))


def test_reached_on_the_first_day():
    assert reach_day(curve(0.3, 0.1, 0.6), 0.1) == ORIGIN


def test_early_likely_late():
    assert reach_dates(curve(0, 1, step=100)) == Dates(
        ORIGIN + timedelta(days=10), ORIGIN + timedelta(days=50), ORIGIN + timedelta(days=90)
    )


def test_curves_of_other_days_are_brought_onto_the_first():
    girth = curve(0.0, 0.1, 0.2, 0.3)
    length = Curve(date(2026, 1, 25), np.array([0.0, 30.0]), np.array([0.0, 0.6]))  # 15 days later
    assert summed([girth, length]).probability == pytest.approx([0.0, 0.4, 0.8, 0.9])
    assert either([girth, length]).probability == pytest.approx([0.0, 0.37, 0.68, 0.72])


def test_a_sum_is_at_most_one():
    assert summed([curve(0.7), curve(0.6)]).probability == [1.0]


def test_dates_are_held_back_to_a_day():
    day = date(2026, 5, 1)
    held = not_before(day, Dates(date(2026, 3, 1), date(2026, 6, 1), None))
    assert held == Dates(day, date(2026, 6, 1), None)
    assert not_before(None, held) == held
