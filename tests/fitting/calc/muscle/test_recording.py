import numpy as np
import pytest

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle.recording import (
    Cue,
    Recording,
    check_cues,
    check_recording,
    holds_of,
    is_inside,
    samples_of,
)


def recording(n=1000, channels=1, unit="mV", **fields):
    return Recording(np.arange(n) / 100, np.zeros((n, channels)), unit, **fields)


@pytest.mark.parametrize(
    ("unit", "gain", "scale", "shown"),
    [
        ("uV", None, 0.001, "mV"),
        ("V", None, 1000, "mV"),
        ("mV", None, 1, "mV"),
        ("counts", None, 1, "counts"),
        ("counts", 0.25, 0.25, "mV"),
    ],
)
def test_units_come_to_millivolts_where_the_gain_is_known(unit, gain, scale, shown):
    row = recording(unit=unit, mv_per_count=gain)
    assert (row.scale, row.shown_unit) == (scale, shown)


def test_rate_and_duration():
    assert recording().rate_hz == pytest.approx(100)
    assert recording().duration_s == pytest.approx(9.99)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        (recording(channels=3), "one time and one or two channels"),
        (Recording(np.arange(5.0), np.zeros((4, 1))), "one time and one or two channels"),
        (recording(n=1), "at least two samples"),
        (recording(unit="kg"), "'kg' is not a unit of a recording: use uV, mV, V or counts."),
        (recording(unit="counts", mv_per_count=0), "The gain must be above 0"),
    ],
)
def test_what_is_no_recording_is_refused(row, sentence):
    with pytest.raises(DoorpostError, match=sentence):
        check_recording(row)


@pytest.mark.parametrize(
    ("cue", "sentence"),
    [
        (Cue("soft", 0, 1), "'soft' is not a level"),
        (Cue("rest", 2, 2), "The cue at 2 s does not end after it starts"),
        (Cue("rest", 2, 2.2), "The cue at 2 s is shorter than 0.25 s"),
        (Cue("rest", 2, 3, 1), "The cue at 2 s names a channel the recording does not have"),
    ],
)
def test_what_is_no_cue_is_refused(cue, sentence):
    with pytest.raises(DoorpostError, match=sentence):
        check_cues([cue], channels=1)


def test_holds_leave_time_to_react_and_count_their_level():
    holds = holds_of([Cue("hard", 10, 14), Cue("rest", 0, 4), Cue("hard", 5, 9), Cue("rest", 20, 24)], 0)
    assert [(h.level, h.repetition, h.start_s, h.end_s, h.cue_start_s) for h in holds] == [
        ("rest", 0, 0.5, 3.75, 0),
        ("hard", 0, 5.5, 8.75, 5),
        ("hard", 1, 10.5, 13.75, 10),
        ("rest", 1, 20.5, 23.75, 20),
    ]


def test_a_short_cue_keeps_most_of_itself():
    (hold, _) = holds_of([Cue("hard", 0, 0.8), Cue("hard", 1, 1.8)], 0)
    assert (hold.start_s, hold.end_s) == pytest.approx((0.2, 0.7))


def test_a_level_held_once_is_cut_into_three():
    holds = holds_of([Cue("rest", 0, 9.75)], 0)
    assert [(h.repetition, h.start_s, h.end_s) for h in holds] == [(0, 0.5, 3.5), (1, 3.5, 6.5), (2, 6.5, 9.5)]


def test_rest_is_meant_for_both_channels_and_a_flex_for_its_own():
    cues = [Cue("rest", 0, 1), Cue("rest", 1, 2), Cue("hard", 2, 3, 1), Cue("hard", 3, 4, 1)]
    assert {h.level for h in holds_of(cues, 0)} == {"rest"}
    assert {h.level for h in holds_of(cues, 1)} == {"rest", "hard"}


@pytest.mark.parametrize(
    ("cue", "inside"), [(Cue("rest", 0, 5), True), (Cue("rest", 8, 12), False), (Cue("rest", -3, 1), False)]
)
def test_a_cue_outside_the_recording_is_told_from_one_inside(cue, inside):
    assert is_inside(cue, recording()) is inside


def test_a_cue_in_a_gap_does_not_count():
    row = recording()
    gap = (row.time_s > 3) & (row.time_s < 6)
    assert not is_inside(Cue("rest", 3, 6), Recording(row.time_s[~gap], row.values[~gap]))


def test_samples_start_at_the_start_and_stop_before_the_end():
    assert samples_of(np.array([0.0, 1, 2, 3]), 1, 3) == slice(1, 3)
