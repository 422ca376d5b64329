"""Scores against closed forms and hand-made cases."""

import numpy as np
import pytest
from scipy.stats import norm

from fitting.calc.parts import part_of
from fitting.calc.scoring import (
    LEVELS,
    constant_z,
    crps_of_quantiles,
    last_velocity,
    score_bands,
    score_points,
)


@pytest.mark.parametrize("happened", [-1.5, 0.0, 0.4, 2.0])
def test_crps_of_a_normal_is_its_closed_form(happened):
    # Gneiting and Raftery 2007, equation 21: sd [u (2 Phi(u) - 1) + 2 phi(u) - 1/sqrt(pi)].
    sd, mean = 3.0, 100.0
    u = happened
    exact = sd * (u * (2 * norm.cdf(u) - 1) + 2 * norm.pdf(u) - 1 / np.sqrt(np.pi))
    quantiles = norm.ppf(LEVELS, mean, sd)[None]
    assert crps_of_quantiles(quantiles, np.array([mean + sd * u]))[0] == pytest.approx(exact, rel=0.03)


def test_a_calibrated_forecast_covers_what_it_says():
    rng = np.random.default_rng(7)
    centre = rng.normal(100, 10, 40_000)
    quantiles = centre[:, None] + norm.ppf(LEVELS)[None, :] * 3
    score = score_bands(quantiles, centre + rng.normal(0, 3, len(centre)))
    assert score.coverage == pytest.approx({50: 0.5, 80: 0.8, 95: 0.95}, abs=0.01)
    assert score.rmse == pytest.approx(3, rel=0.02)
    assert score.mae == pytest.approx(3 * np.sqrt(2 / np.pi), rel=0.02)
    assert score.bias == pytest.approx(0, abs=0.05)


def test_a_rule_without_a_band_scores_its_absolute_error():
    score = score_points(np.array([10.0, 12.0]), np.array([11.0, 9.0]))
    assert (score.n, score.mae, score.crps, score.bias) == (2, 2.0, 2.0, 1.0)
    assert score.coverage is None


def test_velocity_is_taken_over_the_year_before():
    assert last_velocity([6, 7, 7.5, 8], [100, 106, 109, 112], 0.5) == pytest.approx(112 + 3)
    assert last_velocity([7.9, 8], [100, 112], 1) == 112


def test_constant_z_keeps_a_median_child_on_the_median():
    # CDC 2000 growth charts, stature medians of boys: 36.5 months 95.27359106 cm, 60.5 months 109.1751441 cm.
    ages = np.array([36.5]) / 12
    found = constant_z(part_of("stature"), ["M"], ages, [952.7359106], [2.0])
    assert found[0] == pytest.approx(1091.751441, rel=1e-6)


def test_a_part_with_its_own_level_keeps_its_ratio():
    part = part_of("girth:calf")
    double, single = (constant_z(part, ["F"], [9.0], [size], [1.0])[0] for size in (500.0, 250.0))
    assert double == pytest.approx(2 * single)
    assert single > 250
