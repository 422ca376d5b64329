import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle.place import SuggestedPlace, percent_of_length, suggested_place

lengths = st.floats(30, 300)


def test_a_place_keeps_its_share_of_the_length():
    assert percent_of_length(45, 90) == 50
    assert suggested_place(45, 90, 100) == SuggestedPlace(50, True)


@pytest.mark.parametrize(("now_mm", "retest"), [(92.9, False), (93, True), (87.1, False), (87, True)])
def test_within_the_error_of_a_length_the_place_stays(now_mm, retest):
    place = suggested_place(45, 90, now_mm)
    assert place.retest is retest
    assert place.distance_mm == pytest.approx(now_mm / 2 if retest else 45)


@given(st.floats(1, 30), lengths, lengths)
def test_the_share_is_the_same_before_and_after(distance_mm, then_mm, now_mm):
    place = suggested_place(distance_mm, then_mm, now_mm)
    if place.retest:
        assert percent_of_length(place.distance_mm, now_mm) == pytest.approx(percent_of_length(distance_mm, then_mm))


def test_a_length_of_nothing_is_refused():
    with pytest.raises(DoorpostError, match="A residual length must be above 0 mm."):
        suggested_place(45, 0, 100)
