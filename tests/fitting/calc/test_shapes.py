import numpy as np
import pytest

from fitting.calc.references import lms_table, stature_template
from fitting.calc.shapes import TABLES, TEMPO_POINTS, ln_shape, shape_table, spread_table

NAMES = ["stature", "weight", "stoutness", *TABLES]
OWN_GIRTH = ("forearm_girth", "upper_arm_girth", "stoutness")


@pytest.mark.parametrize("sex", ["F", "M"])
def test_the_stature_shape_is_the_template(sex):
    ages, M = stature_template()[sex]
    np.testing.assert_allclose(np.exp(ln_shape("stature", sex, ages)), M, rtol=1e-12)


@pytest.mark.parametrize("sex", ["F", "M"])
@pytest.mark.parametrize("name", TABLES)
def test_a_shape_is_its_median_with_the_smearing_taken_out(name, sex):
    """h_k = ln M_k + [h_template - ln M_stature], written out at the months of the tables from two years on."""
    for years in (2, 3.5, 7, 12, 16.25, 19):
        curves, stature = lms_table(TABLES[name]).curves[sex], lms_table("stature_cdc2000").curves[sex]
        ages, template = stature_template()[sex]
        expected = (
            np.log(np.interp(12 * years, curves.age_months, curves.M))
            + np.interp(np.log(years), np.log(ages), np.log(template))
            - np.log(np.interp(12 * years, stature.age_months, stature.M))
        )
        assert ln_shape(name, sex, years) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("sex", ["F", "M"])
def test_stoutness_is_half_of_weight_for_stature(sex):
    weight, stature = (lms_table(f"{name}_cdc2000").curves[sex] for name in ("weight", "stature"))
    for months in (30.5, 90.5, 150.5):
        at = [np.log(np.interp(months, c.age_months, c.M)) for c in (weight, stature)]
        unsmeared = ln_shape("stature", sex, months / 12) - at[1]
        assert ln_shape("stoutness", sex, months / 12) == pytest.approx((at[0] - at[1]) / 2 + unsmeared, rel=1e-9)


@pytest.mark.parametrize("sex", ["F", "M"])
@pytest.mark.parametrize("name", NAMES)
def test_shapes_join_at_two_years_and_lie_flat_at_the_end(name, sex):
    before, at, after = ln_shape(name, sex, [1.9999, 2, 2.0001])
    assert before == pytest.approx(at, abs=1e-4)
    assert after == pytest.approx(at, abs=1e-4)
    assert ln_shape(name, sex, 24.5) == pytest.approx(ln_shape(name, sex, 40))


@pytest.mark.parametrize("sex", ["F", "M"])
def test_infant_girths_follow_their_own_table(sex):
    """Between six months and two years a girth grows as its table says, not as stature does."""
    curves = lms_table("forearm_girth_us1977").curves[sex]
    own = np.log(np.interp(24, curves.age_months, curves.M) / np.interp(6, curves.age_months, curves.M))
    assert np.diff(ln_shape("forearm_girth", sex, [0.5, 2]))[0] == pytest.approx(own, rel=1e-9)


@pytest.mark.parametrize("names", [OWN_GIRTH, ("elbow_wrist", "upper_arm_length", "stature"), ("stature",)])
def test_the_tabulated_shapes_are_the_shapes(names):
    """Mean and sum of products of differences, off the grid, at every tempo point, against the shapes themselves."""
    ages = np.linspace(2.003, 18.99, 301)
    for male, sex in ((False, "F"), (True, "M")):
        rows = shape_table(names, 0.08).at(np.array([male]), ages[None])[0]
        J = len(TEMPO_POINTS)
        shapes = np.array([ln_shape(name, sex, ages[:, None] * np.exp(-0.08 * TEMPO_POINTS)) for name in names])
        np.testing.assert_allclose(rows[:, :J], shapes.mean(0), atol=2e-5)
        contrasts = (rows[:, J:] - rows[:1, J:]).reshape(len(ages), -1, J)
        off = (shapes - shapes.mean(0)) - (shapes - shapes.mean(0))[:, :1]
        np.testing.assert_allclose((contrasts[-1] * contrasts).sum(1), (off[:, -1:] * off).sum(0), atol=2e-5)


def test_the_two_sexes_are_not_mixed_up():
    both = spread_table("forearm_girth_us1977").at(np.array([False, True]), np.full((2, 1), 12.0))[:, 0, 0]
    curves = lms_table("forearm_girth_us1977").curves
    expected = [np.interp(144, curves[sex].age_months, curves[sex].S) for sex in ("F", "M")]
    np.testing.assert_allclose(both, expected, rtol=1e-9)


def test_ages_outside_are_held_at_the_ends():
    at = spread_table("forearm_girth_us1977").at(np.array([True]), np.array([[-1.0, 0.0, 24.0, 99.0]]))[0, :, 0]
    assert at[0] == at[1]
    assert at[2] == pytest.approx(at[3])
