import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.takes import (
    THIRD_TAKE_GIRTH_MM,
    THIRD_TAKE_LENGTH_MM,
    THIRD_TAKE_WEIGHT_KG,
    closest_two_mean,
    is_real_change,
    needs_third_take,
    noise_between,
    tem,
)

sizes = st.floats(min_value=1, max_value=2000, allow_nan=False)


@pytest.mark.parametrize(
    ("takes", "value"),
    [
        ([190], 190),
        ([190, 192], 191),
        ([190, 192, 199], 191),
        ([180, 190, 192], 191),
        ([199, 190, 192], 191),
        ([190, 195, 200], 195),  # equal gaps: the median
        ([190, 190, 190], 190),
        ([12.1, 12.3, 12.5], 12.3),  # equal but for rounding
    ],
)
def test_mean_of_the_closest_two(takes, value):
    assert closest_two_mean(takes) == pytest.approx(value)


@pytest.mark.parametrize("takes", [[], [1, 2, 3, 4]])
def test_one_to_three_takes(takes):
    with pytest.raises(DoorpostError, match=f"one to three takes, not {len(takes)}"):
        closest_two_mean(takes)


@given(st.lists(sizes, min_size=1, max_size=3), st.randoms())
def test_order_of_takes_does_not_matter(takes, random):
    shuffled = random.sample(takes, len(takes))
    assert closest_two_mean(takes) == pytest.approx(closest_two_mean(shuffled))


@given(st.lists(sizes, min_size=1, max_size=3))
def test_value_lies_among_the_takes(takes):
    assert min(takes) - 1e-9 <= closest_two_mean(takes) <= max(takes) + 1e-9


@pytest.mark.parametrize(
    ("takes", "limit", "asked"),
    [
        ([180, 185], THIRD_TAKE_GIRTH_MM, False),
        ([180, 185.1], THIRD_TAKE_GIRTH_MM, True),
        ([180, 187], THIRD_TAKE_LENGTH_MM, False),
        ([187.5, 180], THIRD_TAKE_LENGTH_MM, True),
        ([12.4, 12.6], THIRD_TAKE_WEIGHT_KG, False),  # 0.2 in binary is not exactly 0.2
        ([12.4, 12.7], THIRD_TAKE_WEIGHT_KG, True),
        ([180], THIRD_TAKE_GIRTH_MM, False),
        ([180, 190, 200], THIRD_TAKE_GIRTH_MM, False),
    ],
)
def test_third_take(takes, limit, asked):
    assert needs_third_take(takes, limit) is asked


def test_error_of_measurement_needs_pairs():
    with pytest.raises(DoorpostError, match="at least one pair"):
        tem([])


@pytest.mark.parametrize(("after", "real"), [(185.5, False), (185.6, True), (174.5, False), (174.4, True)])
def test_a_change_is_real_beyond_2_77_errors(after, real):
    assert is_real_change(180, after, 2.0) is real  # 5.54 mm


def test_noise_between_two_readings_taken_alike_is_that_of_one_error():
    # TEM 2 mm: 5.54 mm, the 95 % change of TEM 0.2 cm worked in Br J Nutr 1999;82:165.
    assert noise_between([2.0, 2.0]) == pytest.approx(5.54)
    assert noise_between([1.0, 7.0]) == pytest.approx(2.77 * 5)
