"""Promises drawn from the model itself: those that keep their word show so, and those that do not show so."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, kstest, norm

from fitting.calc.calibration import (
    AGREES,
    NEEDED,
    TOO_FEW,
    TOO_NARROW,
    TOO_WIDE,
    Outcomes,
    date_errors,
    judged,
    probability_reached,
    reliability,
    wilson,
)
from tests.fitting.calc.promises_drawn import drawn, outcomes_of


def test_promises_that_keep_their_word():
    outcomes = outcomes_of(drawn(1.0, 2.0, 1.0, 2.0))
    found = judged(outcomes)
    assert found.verdict == AGREES
    assert found.independent == 280
    assert found.n == 560
    assert {percent: share.share for percent, share in found.held.items()} == pytest.approx(
        {50: 0.5, 80: 0.8, 95: 0.95}, abs=0.06
    )
    assert kstest(outcomes.reached[::2], "uniform").pvalue > 0.01  # one station of each visit
    for level, share in reliability(outcomes):
        assert share.low - 0.03 <= level <= share.high + 0.03


def test_promises_with_too_little_wander_are_too_narrow():
    found = judged(outcomes_of(drawn(2.0, 2.0, 1.0, 2.0)))
    assert found.verdict == TOO_NARROW
    assert found.held[80].share < 0.7


def test_promises_with_too_much_wander_are_too_wide():
    found = judged(outcomes_of(drawn(0.5, 2.0, 1.5, 2.0)))
    assert found.verdict == TOO_WIDE
    assert found.held[80].share > 0.88


def test_a_promise_that_leans_shows_in_the_reliability():
    rng = np.random.default_rng(1)
    reached = norm.cdf(rng.normal(0.8, 1, 400))
    outcomes = Outcomes(reached, np.arange(400), np.zeros(400), np.ones(400))
    found = dict(reliability(outcomes))
    assert found[0.5].high < 0.4
    assert found[0.5].share == pytest.approx(norm.cdf(-0.8), abs=0.05)


def test_too_few_are_not_judged():
    few = Outcomes(np.full(NEEDED - 1, 0.5), np.arange(NEEDED - 1), np.zeros(NEEDED - 1), np.ones(NEEDED - 1))
    assert judged(few).verdict == TOO_FEW
    enough = Outcomes(np.full(NEEDED, 0.5), np.arange(NEEDED), np.zeros(NEEDED), np.ones(NEEDED))
    assert judged(enough).verdict == TOO_WIDE
    nothing = Outcomes(*(np.array([]) for _ in range(4)))
    assert (judged(nothing).n, judged(nothing).verdict) == (0, TOO_FEW)


def test_the_number_needed_is_what_is_said_of_it():
    half_width = 1.96 * np.sqrt(0.8 * 0.2 / NEEDED)
    assert half_width <= 0.1 < 1.96 * np.sqrt(0.8 * 0.2 / (NEEDED - 1))


windows = st.lists(st.tuples(st.integers(0, 2), st.integers(0, 20), st.integers(1, 8)), min_size=1, max_size=9)


@given(windows)
def test_independent_tests_are_the_most_that_do_not_overlap(drawn_windows):
    """Against every subset of the windows: the slow twin."""
    rows = [(child, start, start + length) for child, start, length in drawn_windows]
    outcomes = Outcomes(np.full(len(rows), 0.5), *(np.array(column) for column in zip(*rows, strict=True)))

    def apart(one, other):
        return one[0] != other[0] or one[1] >= other[2] or other[1] >= one[2]

    most = max(
        size
        for size in range(1, len(rows) + 1)
        for chosen in combinations(rows, size)
        if all(apart(one, other) for one, other in combinations(chosen, 2))
    )
    assert outcomes.independent == most


def test_stations_of_one_visit_count_once():
    outcomes = Outcomes(np.full(4, 0.5), np.zeros(4), np.full(4, 10.0), np.full(4, 20.0))
    assert outcomes.independent == 1


@pytest.mark.parametrize(("held", "n"), [(0, 5), (5, 5), (49, 62), (240, 300)])
def test_the_interval_is_wilsons(held, n):
    """scipy's binomtest, method "wilson", gives the same interval (scipy 1.17)."""
    ours, theirs = wilson(held / n, n), binomtest(held, n).proportion_ci(0.95, "wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=2e-5)


def test_a_reading_counts_its_own_error():
    exact = probability_reached(np.array([110.0]), np.log([100.0]), np.array([0.02]), np.array([1e-9]))
    coarse = probability_reached(np.array([110.0]), np.log([100.0]), np.array([0.02]), np.array([10.0]))
    assert exact[0] > 0.999
    assert coarse[0] == pytest.approx(norm.cdf(np.log(1.1) / np.hypot(0.02, 0.1)))


def test_date_errors():
    """Four sockets by hand: outgrown 7 days late, 14 early, before the early day, and with no late day in reach."""
    found = date_errors([0, 0, 50, 0], [100, 100, 100, 100], [200, 200, 200, np.nan], [107, 86, 30, 400])
    assert found.n == 4
    assert found.median_weeks == pytest.approx((2 + 10) / 2)
    assert found.late_by_weeks == pytest.approx((-2 + 1) / 2)
    assert found.early_too_late.share == 0.25
    assert found.between.share == 0.75
    assert date_errors([], [], [], []).n == 0
