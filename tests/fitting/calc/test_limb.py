import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.limb import (
    LEVELS,
    Level,
    default_stations_mm,
    length_band,
    length_level_percent,
    level_facts,
    side_difference_percent,
    target_length,
)
from fitting.calc.parts import part_of

WITH_GIRTHS = [level for level, facts in LEVELS.items() if facts.girth_measure]


def test_every_level_of_the_standard_is_there():
    assert set(LEVELS) == set(Level)


def test_an_unknown_level_is_refused():
    with pytest.raises(DoorpostError, match="'below elbow' is not a level in the words of ISO 8549-4"):
        level_facts("below elbow")


@pytest.mark.parametrize("facts", LEVELS.values(), ids=LEVELS)
def test_the_driving_measures_have_a_reference(facts):
    for measure in (facts.segment_measure, facts.girth_measure):
        assert measure is None or part_of(measure).table


@pytest.mark.parametrize(
    ("level", "percent", "bands", "name"),
    [
        (Level.TRANSRADIAL, 50, "classic", "short"),
        (Level.TRANSRADIAL, 50, "teaching", "medium"),
        (Level.TRANSRADIAL, 34.9, "classic", "very_short"),
        (Level.TRANSRADIAL, 35.0, "classic", "short"),
        (Level.TRANSRADIAL, 55.0, "classic", "long"),
        (Level.TRANSRADIAL, 55.0, "teaching", "long"),
        (Level.TRANSRADIAL, 90.0, "classic", "wrist_disarticulation"),
        (Level.TRANSRADIAL, 104, "classic", "wrist_disarticulation"),
        (Level.TRANSHUMERAL, 29.9, "classic", "humeral_neck"),
        (Level.TRANSHUMERAL, 30.0, "classic", "short"),
        (Level.TRANSHUMERAL, 50.0, "classic", "standard"),
        (Level.TRANSHUMERAL, 60.0, "teaching", "long"),
        (Level.ELBOW_DISARTICULATION, 100, "classic", None),
        (Level.PARTIAL_HAND, 50, "classic", None),
    ],
)
def test_a_band_includes_its_lower_bound(level, percent, bands, name):
    assert length_band(level, percent, bands) == name


def test_bands_that_are_not_there():
    with pytest.raises(DoorpostError, match="no length bands called 'modern'"):
        length_band(Level.TRANSRADIAL, 50, "modern")
    with pytest.raises(DoorpostError, match="cannot be below zero percent"):
        length_band(Level.TRANSRADIAL, -1)


def test_side_to_side():
    assert side_difference_percent(190, 200) == pytest.approx(-5)
    with pytest.raises(DoorpostError, match="sound side must be above zero"):
        length_level_percent(90, 0)


def test_target_length_is_the_sound_side():
    target = target_length(180, 1200, 170, 1220)
    assert (target.length_mm, target.estimated) == (180, False)


def test_without_a_sound_side_the_target_is_estimated_from_stature():
    target = target_length(None, 1342, 170, 1220)
    assert target.length_mm == pytest.approx(187)
    assert target.estimated


def test_without_sound_side_and_stature_there_is_no_target():
    with pytest.raises(DoorpostError, match="needs the child's height"):
        target_length(None, None, 170, 1220)


@pytest.mark.parametrize(
    ("level", "length_mm", "stations"),
    [
        (Level.TRANSRADIAL, 120, (0, 25, 50, 75, 100, 110)),
        (Level.TRANSRADIAL, 79, (0, 15, 30, 45, 69)),
        (Level.TRANSRADIAL, 80, (0, 25, 50, 70)),
        (Level.TRANSRADIAL, 15, (0, 5)),
        (Level.TRANSHUMERAL, 150, (0, 25, 50, 75, 100, 125, 140)),
        (Level.ELBOW_DISARTICULATION, 200, (0, 100, 170, 190)),
        (Level.PARTIAL_HAND, 60, (0, 30)),
        (Level.SHOULDER_DISARTICULATION, 60, ()),
        (Level.SCAPULOTHORACIC, 60, ()),
    ],
)
def test_default_stations(level, length_mm, stations):
    assert default_stations_mm(level, length_mm) == stations


def test_default_stations_need_a_length():
    with pytest.raises(DoorpostError, match="residual length must be above zero"):
        default_stations_mm(Level.TRANSRADIAL, 0)


@given(st.sampled_from(WITH_GIRTHS), st.floats(min_value=5, max_value=400))
def test_stations_rise_from_the_landmark_and_stay_on_the_limb(level, length_mm):
    stations = default_stations_mm(level, length_mm)
    assert stations[0] == 0
    assert all(near < far for near, far in zip(stations, stations[1:], strict=False))
    assert stations[-1] <= length_mm
