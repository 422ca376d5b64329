import pytest

from fitting.calc.errors import DoorpostError
from fitting.calc.parts import part_of, residual_girth_part


@pytest.mark.parametrize("name", ["", "girth", "length:", ":calf", "forearm", "weight:left", "Stature"])
def test_an_unknown_measure_is_refused(name):
    with pytest.raises(DoorpostError) as refused:
        part_of(name)
    assert str(refused.value) == f'"{name}" is not a measure the forecast knows.'


@pytest.mark.parametrize(
    ("measure", "first", "last"),
    [
        ("stature", 24, 240),
        ("weight", 24, 240),
        ("forearm_length", 24, 228),
        ("upper_arm_length", 24, 239),
        ("hand_length", 24, 228),
        ("length:leg", 24, 228),
        ("forearm_girth", 3, 228),
        ("wrist_girth", 24, 228),
        ("upper_arm_girth", 2, 239),
        ("girth:calf", 3, 228),
    ],
)
def test_ages_follow_the_tables_and_lengths_begin_at_two_years(measure, first, last):
    part = part_of(measure)
    assert (part.first_months, part.last_months) == (first, last)


def test_the_clinics_lambda_replaces_the_default_alone():
    part = residual_girth_part().with_wander(1.3)
    assert part.kernel.wander_scale == 1.3
    assert part.with_wander(1.0) == residual_girth_part()
    assert part.with_wander(None) is part
