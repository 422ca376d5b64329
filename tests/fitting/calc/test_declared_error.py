"""A declared error is believed until takes or histories clearly show a larger one."""

import numpy as np
import pytest
from scipy.stats import chi2

from fitting.calc.declared_error import NEEDED_READINGS, error_scale, trusted_error_sd, with_error_scale
from fitting.calc.forecast import readings_of
from fitting.calc.lms import value_at_z
from fitting.calc.parts import part_of
from fitting.calc.references import lms_table
from fitting.calc.series import Series

CHILDREN, VISITS = 60, 6


def statures(true_sd: float, declared_sd: float, children: int = CHILDREN, seed: int = 4) -> Series:
    """Boys on fixed centiles of the CDC stature table, seen half-yearly; read with one error, declared with another."""
    rng = np.random.default_rng(seed)
    ages = 6 + np.arange(VISITS) / 2
    table = lms_table("stature_cdc2000")
    cells = []
    for z in rng.normal(size=children):
        sizes = value_at_z(table, "M", ages * 12, z) + rng.normal(size=VISITS) * true_sd
        cells.append([(age, size, declared_sd) for age, size in zip(ages, sizes, strict=True)])
    return Series(part_of("stature"), np.ones(children, bool), readings_of(cells))


@pytest.mark.parametrize("seed", range(5))
def test_an_error_declared_rightly_is_kept(seed):
    assert error_scale(statures(5, 5, seed=seed)) == 1


@pytest.mark.parametrize(("true_sd", "at_least", "at_most"), [(10, 1.5, 2.5), (20, 2.5, 4)])
def test_histories_that_show_a_larger_error_are_believed(true_sd, at_least, at_most):
    assert at_least <= error_scale(statures(true_sd, 5)) <= at_most


def test_a_smaller_error_than_declared_changes_nothing():
    assert error_scale(statures(1, 5)) == 1


def test_few_readings_cannot_overrule():
    few = NEEDED_READINGS // (VISITS - 1)
    assert error_scale(statures(20, 5, children=few)) == 1


def test_scaling_touches_errors_only():
    series = statures(5, 5)
    with_weight = Series(series.part, series.male, series.readings, None, series.readings)
    scaled = with_error_scale(with_weight, 2.0, weight=3.0)
    assert np.array_equal(scaled.readings.size, series.readings.size)
    assert np.array_equal(scaled.readings.error_sd, series.readings.error_sd * 2)
    assert np.array_equal(scaled.weight.error_sd, series.readings.error_sd * 3)
    assert scaled.stature is None


def test_takes_overrule_only_beyond_chance():
    # Ten pairs, declared 2 mm: the 99 % point of chi square with 10 degrees of freedom is 23.209 (published tables).
    assert chi2.ppf(0.99, 10) == pytest.approx(23.209, abs=0.001)
    edge_mm = 2 * np.sqrt(2 * 23.209 / 10)
    assert trusted_error_sd(2, [edge_mm * 0.99] * 10) == 2
    assert trusted_error_sd(2, [edge_mm * 1.01] * 10) == pytest.approx(edge_mm * 1.01 / np.sqrt(2))
    assert trusted_error_sd(2, []) == 2
    assert trusted_error_sd(2, [0.0] * 20) == 2
