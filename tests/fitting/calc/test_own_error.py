"""The clinic's own TEM and lambda are found again in readings drawn with them."""

import numpy as np
import pytest
from scipy.stats import chi2

from fitting.calc.own_error import NEEDED_DIFFERENCES, SCALES, Misses, estimates, ln_likelihood, tem_estimate
from tests.fitting.calc.promises_drawn import drawn, misses_of


def test_lambda_and_tem_are_found_when_they_are_as_believed():
    wander, error = estimates(misses_of(drawn(1.0, 2.0, 1.0, 2.0)))
    assert wander.low < 1.0 < wander.high
    assert error.low < 2.0 < error.high
    assert wander.value == pytest.approx(1.0, rel=0.2)
    assert wander.enough


def test_a_lambda_twice_the_believed_one_is_found():
    wander, error = estimates(misses_of(drawn(2.0, 2.0, 1.0, 2.0)))
    assert wander.low < 2.0 < wander.high
    assert wander.low > 1.2
    assert error.low < 2.0 < error.high


def test_a_lambda_half_the_believed_one_is_found():
    wander, _error = estimates(misses_of(drawn(0.5, 2.0, 1.0, 2.0)))
    assert wander.low < 0.55 and wander.high < 0.9


def test_a_tem_twice_the_believed_one_is_found_and_not_taken_for_wander():
    wander, error = estimates(misses_of(drawn(1.0, 4.0, 1.0, 2.0)))
    assert error.value == pytest.approx(4.0, rel=0.35)
    assert error.low > 2.0
    assert wander.low < 1.25


def test_nothing_to_estimate_from():
    assert estimates(Misses(*(np.array([]) for _ in range(10)))) is None
    assert tem_estimate([]) is None


def test_an_estimate_at_the_edge_of_the_search_is_never_enough():
    """Readings that hit their mean exactly say nothing but "smaller"."""
    n = 100
    same = {name: np.zeros(n) for name in ("ln_read", "mean", "mean_wander", "mean_error")}
    spread = {"sd": 0.02, "sd_wander": 0.024, "sd_error": 0.021, "noise": 0.01, "wander_scale": 1.0, "tem": 2.0}
    wander, _error = estimates(Misses(**same, **{name: np.full(n, value) for name, value in spread.items()}))
    assert wander.value == pytest.approx(SCALES[0])
    assert wander.at_edge and not wander.enough


def test_the_likelihood_as_it_stands_is_that_of_the_normal():
    """At the scales in use, against the density written out."""
    misses = misses_of(drawn(1.0, 2.0, 1.0, 2.0))
    spread = np.hypot(misses.sd, misses.noise)
    written_out = np.sum(-0.5 * ((misses.ln_read - misses.mean) / spread) ** 2 - np.log(spread))
    assert ln_likelihood(misses, np.array([[1.0]]), np.array([[2.0]]))[0, 0] == pytest.approx(written_out)


def test_the_tem_of_pairs_and_its_interval():
    """TEM by hand: sqrt((1 + 4 + 9 + 16) / 8) = 1.936; the interval from the chi square table, 4 degrees of freedom."""
    found = tem_estimate([1, -2, 3, -4])
    assert found.value == pytest.approx(1.9365, abs=1e-4)
    assert found.low == pytest.approx(np.sqrt(15 / 11.143), abs=1e-3)  # 97.5 % point 11.143
    assert found.high == pytest.approx(np.sqrt(15 / 0.4844), abs=2e-3)  # 2.5 % point 0.4844
    assert not found.enough
    assert tem_estimate([0, 0]).at_edge


def test_the_interval_covers_the_truth_as_often_as_it_says():
    rng = np.random.default_rng(8)
    covered = [
        found.low < 2.0 < found.high for found in (tem_estimate(rng.normal(0, 2 * np.sqrt(2), 20)) for _ in range(600))
    ]
    assert np.mean(covered) == pytest.approx(0.95, abs=0.03)


def test_the_number_needed_is_what_is_said_of_it():
    low, high = (np.sqrt(chi2.ppf(q, NEEDED_DIFFERENCES) / NEEDED_DIFFERENCES) for q in (0.025, 0.975))
    assert low > 0.78
    assert high < 1.22
