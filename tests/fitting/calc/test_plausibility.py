from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.limb import Level
from fitting.calc.plausibility import (
    ASK,
    ERROR,
    HARD_RANGES,
    Z_LIMITS,
    NewReading,
    date_alerts,
    grown_too_much,
    growth_most,
    reading_alerts,
    rising_distally,
)
from fitting.calc.references import height_velocity_whole_year
from fitting.calc.takes import noise_band


def reading(value, measure="girth", **held_against):
    return NewReading("girth:50", measure, value, 2.0, **held_against)


def codes(alerts):
    return [alert.code for alert in alerts]


@pytest.mark.parametrize(
    ("measure", "value", "before", "meant"),
    [
        ("residual_length", 19.0, 190, 190),  # centimetres taken as millimetres
        ("girth", 73.0, 186, 185.4),  # 7.3 in taken as cm
        ("sound_forearm_length", 71.0, 180, 180.3),
        ("stature", 2286.0, 900, 900),  # 90 cm taken as inches
        ("weight", 26.5, 12, 12.0),  # pounds taken as kilograms
        ("weight", 5.44, 12, 12.0),
    ],
)
def test_a_unit_slip_is_asked_about_with_the_value_meant(measure, value, before, meant):
    (alert,) = reading_alerts(reading(value, measure, before=before))
    assert (alert.code, alert.severity, alert.subject) == ("unit_slip", ASK, "girth:50")
    assert alert.figures["meant"] == pytest.approx(meant, abs=0.2)
    assert alert.figures["ratio"] == pytest.approx(value / before)


def test_a_slip_is_still_seen_after_a_year_of_growth():
    assert codes(reading_alerts(reading(20.4, "residual_length", before=190))) == ["unit_slip"]


@given(st.floats(min_value=100, max_value=300), st.floats(min_value=0.7, max_value=2.0))
def test_real_growth_is_no_unit_slip(before, ratio):
    value = min(before * ratio, 450)
    assert "unit_slip" not in codes(reading_alerts(reading(value, before=before)))


@pytest.mark.parametrize("measure", HARD_RANGES)
def test_impossible_values_are_errors(measure):
    low, high = HARD_RANGES[measure]
    for value in (low * 0.99, high * 1.01):
        (alert,) = reading_alerts(reading(value, measure, before=value))
        assert (alert.code, alert.severity) == ("out_of_range", ERROR)
        assert (alert.figures["low"], alert.figures["high"]) == (low, high)
    assert reading_alerts(reading(low, measure)) == ()
    assert reading_alerts(reading(high, measure)) == ()


def test_an_impossible_value_says_nothing_else():
    assert codes(reading_alerts(reading(4.0, "residual_length", before=40, sound=1))) == ["out_of_range"]


@pytest.mark.parametrize(("value", "asked"), [(185.1, True), (185, False)])
def test_longer_than_the_sound_side(value, asked):
    found = codes(reading_alerts(reading(value, "residual_length", sound=180)))
    assert found == (["longer_than_sound"] if asked else [])


def test_a_girth_may_be_larger_than_the_sound_side():
    assert reading_alerts(reading(200, "girth", sound=180)) == ()


@pytest.mark.parametrize(
    ("measure", "value", "since_surgery", "asked"),
    [
        ("girth", 184.4, False, True),  # noise 5.54 mm
        ("girth", 184.5, False, False),
        ("residual_length", 180, False, True),
        ("residual_length", 180, True, False),
        ("stature", 180, False, False),  # out of range stops there
        ("width_ml", 180, False, False),
    ],
)
def test_shrinking_beyond_noise(measure, value, since_surgery, asked):
    found = codes(reading_alerts(reading(value, measure, before=190, surgery_since=since_surgery)))
    assert ("shrinking" in found) is asked


def test_weight_may_fall():
    assert reading_alerts(reading(18, "weight", before=20)) == ()


A_WEEK, A_MONTH = 7 / 365.25, 1 / 12
SIZES = {
    "stature": (700, 1700),
    "sitting_height": (400, 900),
    "weight": (8, 90),
    "residual_length": (60, 300),
    "residual_length_bony": (60, 300),
    "width_ml": (60, 120),
    "width_ap": (60, 120),
}


def sizes(measure):
    """Usual sizes from a year of age on; below 60 mm a quarter is inside the noise."""
    return st.floats(*SIZES.get(measure, (100, 350)))


@pytest.mark.parametrize(
    ("measure", "value", "before"),
    [
        ("girth", 220, 180),
        ("sound_forearm_girth", 230, 190),
        ("stature", 1440, 1200),
        ("weight", 41, 25),
        ("residual_length", 140, 100),
        ("sound_hand_length", 170, 130),
    ],
)
def test_a_jump_within_days_is_asked_about(measure, value, before):
    (alert,) = reading_alerts(reading(value, measure, before=before, years_since=A_WEEK, age_before=8))
    assert (alert.code, alert.severity) == ("grown_too_much", ASK)
    assert before < alert.figures["most"] < value


def test_after_surgery_nothing_is_too_much():
    assert reading_alerts(reading(220, before=180, surgery_since=True)) == ()


@pytest.mark.parametrize("measure", HARD_RANGES)
@given(st.data(), st.floats(0, 16), st.floats(0, 5))
def test_a_value_equal_to_the_last_never_grew_too_much(measure, data, age, years):
    value = data.draw(st.floats(*HARD_RANGES[measure]))
    assert grown_too_much(reading(value, measure, before=value, age_before=age, years_since=years)) is None


@pytest.mark.parametrize("measure", HARD_RANGES)
@given(st.data(), st.floats(1, 16), st.floats(0, A_MONTH))
def test_a_quarter_more_within_a_month_is_always_asked_about(measure, data, age, years):
    before = data.draw(sizes(measure))
    tem = 0.2 if measure == "weight" else 2.0
    new = NewReading("here", measure, 1.25 * before, tem, before=before, age_before=age, years_since=years)
    assert grown_too_much(new).code == "grown_too_much"


@given(st.sampled_from(sorted(HARD_RANGES)), st.floats(10, 400), st.floats(0, 5), st.floats(0, 16), st.floats(0, 1))
def test_inside_the_noise_nothing_is_asked_and_time_only_allows_more(measure, before, years, age, share):
    inside = NewReading("here", measure, before + share * noise_band(2.0), 2.0, before=before, age_before=age)
    assert grown_too_much(inside) is None
    assert growth_most(measure, before, years, age) >= growth_most(measure, before, share * years, age)


@pytest.mark.parametrize("sex", ["F", "M"])
def test_no_child_at_the_95th_centile_of_growth_is_asked_about(sex):
    """Whole-year gains of stature, height_velocity_whole_year.csv; the ages are those of the table's rows."""
    mid_months, _, _, p95_cm = height_velocity_whole_year()[sex]
    for months, gain_cm in zip(mid_months, p95_cm, strict=True):
        assert growth_most("stature", 900, 1.0, months / 12 - 0.5) >= 10 * gain_cm


@pytest.mark.parametrize(
    ("measure", "before", "after", "age", "years"),
    [
        ("stature", 499, 757, 0, 1),  # WHO median boy, from memory
        ("stature", 757, 878, 1, 1),
        ("weight", 3.3, 9.6, 0, 1),
        ("weight", 9.6, 12.2, 1, 1),
        ("sound_upper_arm_girth", 134, 146, 0.25, 0.75),
    ],
)
def test_growth_of_the_first_two_years_is_allowed(measure, before, after, age, years):
    new = NewReading("here", measure, after, 0.2, before=before, age_before=age, years_since=years)
    assert grown_too_much(new) is None


@pytest.mark.parametrize("measure", Z_LIMITS)
def test_z_beyond_the_reference_flags(measure):
    low, high = Z_LIMITS[measure]
    value = HARD_RANGES[measure][1] / 2
    assert codes(reading_alerts(reading(value, measure, z=high + 0.1))) == ["beyond_z"]
    assert codes(reading_alerts(reading(value, measure, z=low - 0.1))) == ["beyond_z"]
    assert reading_alerts(reading(value, measure, z=high)) == ()


def test_several_questions_stand_side_by_side():
    found = reading_alerts(reading(210, "residual_length", before=230, sound=180))
    assert codes(found) == ["longer_than_sound", "shrinking"]


@pytest.mark.parametrize(
    ("level", "bulbous", "girths", "stations"),
    [
        (Level.TRANSRADIAL, False, [(0, 180), (25, 199)], ["25"]),
        (Level.TRANSRADIAL, False, [(0, 180), (25, 198)], []),
        (Level.TRANSRADIAL, False, [(25, 199), (0, 180)], ["25"]),  # order typed does not matter
        (Level.TRANSRADIAL, True, [(0, 180), (25, 230)], []),
        (Level.ELBOW_DISARTICULATION, False, [(0, 180), (25, 230)], []),
        (Level.WRIST_DISARTICULATION, False, [(0, 180), (25, 230)], []),
        (Level.TRANSHUMERAL, False, [(0, 150), (25, 170), (50, 190)], ["25", "50"]),
        (Level.TRANSHUMERAL, False, [(0, 150)], []),
    ],
)
def test_girth_rising_distally(level, bulbous, girths, stations):
    assert [alert.subject for alert in rising_distally(level, bulbous, girths)] == stations


@pytest.mark.parametrize(
    ("visit_on", "code"),
    [
        (date(2019, 12, 31), "before_birth"),
        (date(2020, 1, 1), None),
        (date(2026, 3, 2), None),
        (date(2026, 3, 3), "in_future"),
    ],
)
def test_a_visit_before_birth_or_in_the_future_is_an_error(visit_on, code):
    found = date_alerts(visit_on, date(2020, 1, 1), date(2026, 3, 2))
    assert codes(found) == ([code] if code else [])
    assert all(alert.severity == ERROR for alert in found)
