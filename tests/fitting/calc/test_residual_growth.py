import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.limb import Level
from fitting.calc.residual_growth import (
    Plates,
    cumulative_share,
    growth_share,
    has_growth_share,
    plate_share,
)

DISTAL_LOST = Plates(distal_lost=True, length_ratio=0.5)


@pytest.mark.parametrize(
    ("level", "plates", "age", "share"),
    [
        (Level.TRANSRADIAL, DISTAL_LOST, 2, 0.15),  # 1 - share of the distal ulna
        (Level.TRANSRADIAL, DISTAL_LOST, 5, 0.10),
        (Level.TRANSRADIAL, DISTAL_LOST, 10, 0.05),
        (Level.TRANSHUMERAL, Plates(distal_lost=True), 8, 0.85),
        (Level.TRANSHUMERAL, Plates(distal_lost=True), 5, 0.80),  # half way between 2 and 8 years
        (Level.TRANSHUMERAL, Plates(proximal_lost=True), 8, 0.15),
        (Level.TRANSHUMERAL, Plates(True, True), 8, 0.0),
        (Level.ELBOW_DISARTICULATION, Plates(), 8, 1.0),
        (Level.ELBOW_DISARTICULATION, Plates(proximal_lost=True), 8, 0.15),
        (Level.WRIST_DISARTICULATION, Plates(), 4, 1.0),
        (Level.TRANSRADIAL, Plates(length_ratio=0.5), 8, 0.5),  # short from birth, both plates: keeps its ratio
        (Level.PARTIAL_HAND, Plates(length_ratio=0.6), 8, 0.6),
    ],
)
def test_share_of_the_sound_sides_growth(level, plates, age, share):
    assert has_growth_share(level, plates)
    assert growth_share(level, plates, age) == pytest.approx(share)


@pytest.mark.parametrize(
    ("level", "plates", "sentence"),
    [
        (Level.SHOULDER_DISARTICULATION, Plates(), "no residual length"),
        (Level.TRANSRADIAL, Plates(), "needs both sides' lengths"),
        (Level.PARTIAL_HAND, Plates(distal_lost=True), "plates of a partial hand are not in the table"),
    ],
)
def test_a_share_that_cannot_be_told(level, plates, sentence):
    assert not has_growth_share(level, plates)
    with pytest.raises(DoorpostError, match=sentence):
        growth_share(level, plates, 8)


@given(st.sampled_from(["humerus", "ulna", "radius"]), st.floats(min_value=0, max_value=20))
def test_the_two_plates_of_a_bone_give_all_its_growth(bone, age):
    assert plate_share(bone, "proximal", age) + plate_share(bone, "distal", age) == pytest.approx(1)


def test_cumulative_share_follows_the_growth():
    share = cumulative_share([0.2, 0.1, 0.1], [180, 190, 190])
    assert share == pytest.approx([0.2, 0.15, 0.15])


@given(
    st.lists(st.floats(min_value=0, max_value=15), min_size=2, max_size=20),
    st.lists(st.floats(min_value=0.05, max_value=1), min_size=2, max_size=20),
)
def test_cumulative_share_lies_among_the_shares(steps, shares):
    count = min(len(steps), len(shares))
    segment = 180 + np.cumsum(steps[:count])
    answer = cumulative_share(shares[:count], segment)
    assert np.all(answer >= min(shares[:count]) - 1e-9)
    assert np.all(answer <= max(shares[:count]) + 1e-9)
