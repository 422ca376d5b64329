from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from fitting.calc.planner.chance import ONE_DATE_SD_DAYS, chance_by, outgrown_weeks
from tests.fitting.calc.planner.problems import after


def on(*days):
    return np.array([after(day).toordinal() for day in days])


def test_the_three_days_have_the_chances_they_are_named_for():
    chances = chance_by(on(30, 80, 200), after(30), after(80), after(200))
    assert chances == pytest.approx([0.1, 0.5, 0.9], abs=2e-3)


def test_equally_spaced_days_are_a_normal_distribution():
    """Against scipy's own normal distribution: mean 100, SD = 50 / 1.2816."""
    days = np.arange(0, 200, 10)
    expected = norm(100, 50 / norm.ppf(0.9)).cdf(days)
    assert chance_by(on(*days.tolist()), after(50), after(100), after(150)) == pytest.approx(expected, abs=2e-3)


def test_no_day_within_the_search_is_no_chance():
    assert chance_by(on(0, 4000), None, None, None).tolist() == [0, 0]


def test_an_early_day_alone_is_a_slow_rise():
    chances = chance_by(on(10, 10 + round(ONE_DATE_SD_DAYS)), after(10), None, None)
    assert chances == pytest.approx([0.1, norm.cdf(norm.ppf(0.1) + 1)], abs=2e-3)


def test_found_outgrown_is_certain_from_the_day_it_was_seen():
    chances = chance_by(on(-21, -20, -19, 0), *[after(-20)] * 3)
    assert chances[[0, 2, 3]] == pytest.approx([0, 1, 1], abs=1e-9)


@given(st.integers(-100, 300), st.integers(0, 300), st.integers(0, 300))
def test_a_chance_only_grows(early, to_likely, to_late):
    likely = after(early + to_likely)
    chances = chance_by(on(*range(-200, 900, 7)), after(early), likely, likely + timedelta(days=to_late))
    assert np.all(np.diff(chances) >= 0) and chances.min() >= 0 and chances.max() <= 1


def test_ten_weeks_outgrown_for_certain_are_ten_weeks():
    assert outgrown_weeks(np.ones(70))[-1] == pytest.approx(10)
