import pytest

from fitting.calc.errors import DoorpostError
from fitting.calc.maturity import (
    Body,
    mid_parental_height_cm,
    offset_2002_years,
    spurt_likely,
    spurt_likely_by_age,
)


def test_weight_by_height_is_taken_times_one_hundred():
    """One public page leaves the factor out and so gets -2.391 for this boy instead of -1.756."""
    offset = offset_2002_years(Body("M", 12.0, 150, 78, 42))
    assert offset == pytest.approx(-1.756, abs=0.0005)
    assert offset - 0.02292 * 99 * 42 / 150 == pytest.approx(-2.391, abs=0.0005)


@pytest.mark.parametrize("body", [Body("M", 12, 150, None, 42), Body("F", 11, 145, 76, None)])
def test_the_2002_equations_need_sitting_height_and_weight(body):
    with pytest.raises(DoorpostError, match="need sitting height and weight"):
        offset_2002_years(body)


def test_the_reference_is_f_or_m():
    with pytest.raises(DoorpostError, match="F or M, not 'X'"):
        Body("X", 12, 150)
    with pytest.raises(DoorpostError, match="F or M, not 'X'"):
        mid_parental_height_cm("X", 180, 165)


@pytest.mark.parametrize(
    ("body", "likely"),
    [
        (Body("M", 14.0, 164), True),  # typical height at the typical age of the peak
        (Body("M", 10.0, 138), False),
        (Body("M", 17.5, 176), False),
        (Body("F", 12.0, 151), True),
        (Body("F", 8.5, 131), False),
        (Body("F", 15.5, 162), False),
        (Body("M", 6.0, 115), False),  # younger than the equations were made from: age decides
        (Body("F", 17.0, 163), False),
    ],
)
def test_spurt_is_within_a_year_of_the_peak(body, likely):
    assert spurt_likely(body) is likely


@pytest.mark.parametrize(
    ("sex", "age", "likely"), [("M", 12.9, False), ("M", 14, True), ("F", 11, True), ("F", 13.1, False)]
)
def test_spurt_by_age_alone(sex, age, likely):
    assert spurt_likely_by_age(sex, age) is likely
