import csv
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rcpchgrowth.global_functions import sds_for_measurement

from fitting.calc.errors import DoorpostError, OutOfReference
from fitting.calc.lms import (
    centile_curves,
    centile_of_z,
    height_velocity_curves,
    lms_at,
    reference_age_months,
    value_at_z,
    velocity,
    z_of_centile,
    z_score,
)
from fitting.calc.references import LmsCurves, LmsTable, lms_table
from fitting.calc.units import DAYS_PER_MONTH

GOLDEN = Path(__file__).resolve().parents[2] / "golden"
CENTILES = [3, 5, 10, 25, 50, 75, 90, 95, 97]
MM_PER_CM = 10


def golden(name):
    with open(GOLDEN / f"{name}.csv", newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize(
    ("file", "table", "unit"),
    [
        ("cdc2000_stature_printed_centiles", "stature_cdc2000", MM_PER_CM),
        ("cdc2000_weight_printed_centiles", "weight_cdc2000", 1),
    ],
)
def test_printed_centiles_of_the_cdc(file, table, unit):
    for row in golden(file):
        ours = centile_curves(lms_table(table), row["sex"], CENTILES, [float(row["age_months"])])[:, 0]
        np.testing.assert_allclose(ours / unit, [float(row[f"p{c}"]) for c in CENTILES], rtol=1e-5)


@pytest.mark.parametrize(
    ("file", "table", "within"),
    [
        ("nchs_upper_arm_length_2_19y", "upper_arm_length_us2011_2023", 0.03),
        ("nchs_upper_arm_girth_2_19y", "upper_arm_girth_us2011_2023", 0.05),
    ],
)
def test_published_medians_of_arms(file, table, within):
    for row in golden(file):
        middle_months = 12 * (int(row["age_lo"]) + int(row["age_hi"]) + 1) / 2
        ours = value_at_z(lms_table(table), row["sex"], middle_months, 0) / MM_PER_CM
        assert ours == pytest.approx(float(row["p50"]), rel=within), row


@pytest.mark.parametrize("sex", ["F", "M"])
def test_z_of_stature_agrees_with_a_reference_library(sex):
    name = {"F": "female", "M": "male"}[sex]
    for age_years in (2.5, 4.1, 6.3, 8.0, 10.7, 12.2, 14.9, 17.3, 19.5):
        for z in (-2, 0, 1.3):
            cm = float(value_at_z(lms_table("stature_cdc2000"), sex, age_years * 12, z)) / MM_PER_CM
            theirs = sds_for_measurement("cdc", age_years, "height", cm, name)
            assert z_score(lms_table("stature_cdc2000"), sex, age_years * 12, cm * MM_PER_CM) == pytest.approx(
                theirs, abs=0.002
            )


TABLES = st.sampled_from(["stature_cdc2000", "weight_cdc2000", "forearm_girth_us1977", "upper_arm_girth_us2011_2023"])
SEXES = st.sampled_from(["F", "M"])


@given(TABLES, SEXES, st.floats(24, 228), st.floats(-3, 2.5))
def test_value_and_z_undo_each_other(name, sex, months, z):
    value = value_at_z(lms_table(name), sex, months, z)
    assert z_score(lms_table(name), sex, months, value) == pytest.approx(z, abs=1e-9)


@given(st.floats(0.1, 99.9))
def test_centile_and_z_undo_each_other(centile):
    assert centile_of_z(z_of_centile(centile)) == pytest.approx(centile, rel=1e-9)


@given(TABLES, SEXES, st.floats(24, 228), st.floats(-3, 2), st.floats(0.01, 0.5))
def test_a_higher_z_is_a_greater_value(name, sex, months, z, more):
    low, high = value_at_z(lms_table(name), sex, months, [z, z + more])
    assert high > low


def flat_table(L):
    curves = LmsCurves(np.array([0.0, 240]), np.full(2, float(L)), np.array([100.0, 100]), np.array([0.05, 0.05]))
    return LmsTable("flat", "test girth", "mm", "", "", "", 0, 240, {"F": curves, "M": curves})


def test_the_logarithmic_limit():
    """z = ln(y/M)/S at L = 0 (Cole and Green 1992), and values of L near zero approach it."""
    assert z_score(flat_table(0), "F", 60, 110) == pytest.approx(np.log(1.1) / 0.05, rel=1e-12)
    assert z_score(flat_table(1e-9), "F", 60, 110) == pytest.approx(np.log(1.1) / 0.05, rel=1e-8)
    assert value_at_z(flat_table(0), "F", 60, 2) == pytest.approx(100 * np.exp(0.1), rel=1e-12)


def test_no_value_has_a_z_beyond_the_reach_of_its_curve():
    assert np.isnan(value_at_z(flat_table(-4), "F", 60, 5.1))


def test_rows_of_both_sexes_at_once():
    table = lms_table("stature_cdc2000")
    together = z_score(table, ["F", "M", "F"], [60, 100, 150], [1080, 1300, 1500])
    alone = [z_score(table, sex, a, v) for sex, a, v in (("F", 60, 1080), ("M", 100, 1300), ("F", 150, 1500))]
    np.testing.assert_array_equal(together, alone)


def test_interpolates_linearly_in_exact_age():
    table = lms_table("forearm_girth_us1977")
    halves = [np.mean(lms_at(table, "F", [24, 27])[row]) for row in range(3)]
    np.testing.assert_allclose(lms_at(table, "F", 25.5), halves, rtol=1e-12)


@pytest.mark.parametrize("months", [22.9, 240.1, np.nan])
def test_outside_the_ages_is_refused(months):
    with pytest.raises(OutOfReference) as refused:
        z_score(lms_table("stature_cdc2000"), "F", [60, months], [1080, 1000])
    assert str(refused.value) == (
        f"The reference for standing height covers 24 to 240 months of age; {months:.1f} months is outside it."
    )
    covered = (refused.value.measure, refused.value.first_months, refused.value.last_months)
    assert covered == ("standing height", 24, 240)


def test_a_second_birthday_is_inside():
    birthday, _ = reference_age_months(date(2021, 3, 1), date(2023, 3, 1))
    assert birthday < 24
    assert z_score(lms_table("stature_cdc2000"), "F", birthday, 850) == pytest.approx(0, abs=0.1)


@pytest.mark.parametrize("value", [0, -5, np.nan])
def test_a_size_that_is_not_above_zero_is_refused(value):
    with pytest.raises(DoorpostError, match="A standing height must be above zero."):
        z_score(lms_table("stature_cdc2000"), "F", 60, value)


@pytest.mark.parametrize(
    ("gestation_weeks", "on", "corrected_days"),
    [
        (32, date(2024, 7, 1), 56),
        (36.5, date(2024, 7, 1), 24.5),
        (37, date(2024, 7, 1), 0),
        (None, date(2024, 7, 1), 0),
        (32, date(2026, 1, 3), 0),
    ],
)
def test_corrected_age(gestation_weeks, on, corrected_days):
    """Forty-week term, born before 37 weeks, under two years: common practice."""
    months, corrected = reference_age_months(date(2024, 1, 1), on, gestation_weeks)
    exact = (on - date(2024, 1, 1)).days
    assert months == pytest.approx((exact - corrected_days) / DAYS_PER_MONTH)
    assert corrected == (corrected_days > 0)


def test_velocity_by_hand():
    """1200 mm at 96 months, 1230 at 102, 1290 at 114: 60 mm a year both times."""
    ages, speed = velocity([96, 102, 114], [1200, 1230, 1290])
    np.testing.assert_allclose(ages, [99, 108])
    np.testing.assert_allclose(speed, [60, 60])


def test_velocity_of_one_day_is_refused():
    with pytest.raises(DoorpostError, match="Velocity needs readings on different days, oldest first."):
        velocity([96, 96], [1200, 1201])


@pytest.mark.parametrize(("sex", "last", "peak"), [("F", 168, 84), ("M", 204, 95)])
def test_velocity_lines_leave_out_the_ages_their_table_disowns(sex, last, peak):
    ages, lines = height_velocity_curves(sex)
    assert ages[-1] <= last
    assert lines.shape == (3, len(ages))
    assert lines[1][ages > 100].max() == pytest.approx(peak, abs=1)
    assert (np.diff(lines, axis=0) > 0).all()
