import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.volume import (
    GirthProfile,
    StationsDifferError,
    change_percent,
    disc_ml,
    discs_ml,
    frusta_ml,
    frustum_ml,
)

girths = st.floats(min_value=60, max_value=450)


@given(girths, st.floats(min_value=1, max_value=400))
def test_frustum_of_equal_girths_is_a_disc(girth_mm, height_mm):
    assert frustum_ml(girth_mm, girth_mm, height_mm) == pytest.approx(disc_ml(girth_mm, height_mm))


@given(girths, girths)
def test_frustum_agrees_with_many_thin_discs(first_mm, last_mm):
    count = 400
    middles = [first_mm + (last_mm - first_mm) * (i + 0.5) / count for i in range(count)]
    assert frustum_ml(first_mm, last_mm, 100) == pytest.approx(discs_ml(middles, 100 / count), rel=1e-5)


def test_disc_is_a_cylinder():
    assert disc_ml(2 * math.pi * 10, 10) == pytest.approx(math.pi * 10**2 * 10 / 1000)


def test_change_of_volume_at_the_same_stations():
    before = GirthProfile("cubital_fold", (0, 20, 40), (180, 170, 160))
    after = GirthProfile("cubital_fold", (0, 20, 40), (183.6, 173.4, 163.2))
    assert change_percent(before, after) == pytest.approx(100 * (1.02**2 - 1))


def test_stations_marked_to_the_millimetre_are_the_same():
    before = GirthProfile("cubital_fold", (0, 20, 40), (180, 170, 160))
    after = GirthProfile("cubital_fold", (0, 20.4, 40), (180, 170, 160))
    assert abs(change_percent(before, after)) < 0.2


@pytest.mark.parametrize(
    "after",
    [
        GirthProfile("cubital_fold", (0, 25, 50), (180, 170, 160)),
        GirthProfile("cubital_fold", (0, 20), (180, 170)),
        GirthProfile("olecranon", (0, 20, 40), (180, 170, 160)),
    ],
)
def test_other_stations_are_refused(after):
    before = GirthProfile("cubital_fold", (0, 20, 40), (180, 170, 160))
    with pytest.raises(StationsDifferError, match="only when both visits used the same stations"):
        change_percent(before, after)


@pytest.mark.parametrize(
    ("stations", "girths_mm", "sentence"),
    [
        ((0, 20), (180,), "Every station needs one girth"),
        ((0,), (180,), "at least two stations"),
        ((0, 20, 20), (180, 170, 160), "from proximal to distal"),
        ((20, 0), (180, 170), "from proximal to distal"),
    ],
)
def test_a_profile_that_is_none(stations, girths_mm, sentence):
    with pytest.raises(DoorpostError, match=sentence):
        GirthProfile("cubital_fold", stations, girths_mm)


@given(st.lists(girths, min_size=2, max_size=6), st.floats(min_value=1.001, max_value=1.2))
def test_volume_rises_with_every_girth(girths_mm, ratio):
    stations = tuple(20.0 * i for i in range(len(girths_mm)))
    small = GirthProfile("axilla", stations, tuple(girths_mm))
    large = GirthProfile("axilla", stations, tuple(g * ratio for g in girths_mm))
    assert frusta_ml(large) == pytest.approx(frusta_ml(small) * ratio**2)
