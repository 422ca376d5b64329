"""Every bad input, made on purpose from a sound recording, with the second where it happens."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.muscle import recording_faults as rf
from fitting.calc.muscle.recording import Cue, Recording

RATE_HZ = 1000
SECONDS = 12


def sound(seconds=SECONDS, rate_hz=RATE_HZ, seed=1):
    """Time [s] and a muscle signal [mV] with rest in the first third."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    x = np.random.default_rng(seed).standard_normal(len(t)) * np.where(t < seconds / 3, 0.02, 0.2)
    return t, x


def faults_of(t, *channels, unit="mV"):
    return rf.value_faults(Recording(t, np.stack(channels, axis=1), unit))


def only(faults, code):
    assert [fault.code for fault in faults] == [code]
    return faults[0]


def test_a_sound_recording_has_none():
    t, x = sound()
    assert rf.time_faults(t) == []
    assert faults_of(t, x) == []


# Time


def test_time_in_milliseconds():
    t, _ = sound()
    fault = only(rf.time_faults(t * 1000), "time_in_ms")
    assert (fault.weight, fault.figures) == ("refused", {"step": 1.0})


def test_a_step_of_exactly_0_2_counts_as_milliseconds():
    assert only(rf.time_faults(np.arange(20) * 0.2), "time_in_ms")


def test_time_that_goes_backwards_or_stands_still():
    t, _ = sound()
    t[5000] = t[4999]
    fault = only(rf.time_faults(t), "time_backwards")
    assert (fault.at_s, fault.weight) == (pytest.approx(4.999), "refused")
    assert fault.figures == {"rows": 1, "row": 5001}


def test_time_that_is_missing():
    t, _ = sound()
    t[3000] = np.nan
    fault = only(rf.time_faults(t), "time_missing")
    assert (fault.at_s, fault.weight, fault.figures) == (pytest.approx(2.999), "refused", {"row": 3001})


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_time_that_is_missing_from_the_start(value):
    fault = only(rf.time_faults(np.full(2000, value)), "time_missing")
    assert (fault.at_s, fault.figures) == (None, {"row": 1})


def test_gaps_say_where_how_many_and_how_long():
    t, _ = sound()
    t[4000:] += 0.05
    t[8000:] += 0.2
    fault = only(rf.time_faults(t), "gap")
    assert (fault.at_s, fault.weight) == (pytest.approx(3.999), "advice")
    assert fault.figures == {"gaps": 2, "longest_ms": pytest.approx(201)}


def test_a_step_half_again_as_long_is_no_gap():
    t, _ = sound()
    t[4000:] += 0.0004
    assert rf.time_faults(t) == []


@pytest.mark.parametrize(
    ("rate_hz", "code", "weight"),
    [(499, "rate_too_low", "refused"), (500, "rate_low", "advice"), (999, "rate_low", "advice"), (1000, None, None)],
)
def test_the_sampling_rate(rate_hz, code, weight):
    found = rf.time_faults(sound(rate_hz=rate_hz)[0])
    assert [(fault.code, fault.weight) for fault in found] == ([(code, weight)] if code else [])
    if code:
        assert found[0].figures["rate_hz"] == pytest.approx(rate_hz)


def test_a_recording_too_short_to_filter():
    assert only(rf.time_faults(sound(seconds=1.5)[0]), "too_short").figures == {"seconds": pytest.approx(1.499)}


# Units


@pytest.mark.parametrize(
    ("factor", "looks_like"),
    [(1000, "uV"), (1, "mV"), (0.001, "V")],
)
def test_a_unit_that_does_not_fit_the_numbers(factor, looks_like):
    t, x = sound()
    for declared in ("uV", "mV", "V"):
        found = faults_of(t, x * factor, unit=declared)
        expected = [] if declared == looks_like else [("unit", {"declared": declared, "looks_like": looks_like})]
        assert [(fault.code, fault.figures) for fault in found] == expected


def test_whole_numbers_spanning_64_are_steps_of_a_converter():
    t, x = sound()
    steps = np.rint(x * 1000)
    assert faults_of(t, steps, unit="counts") == []
    assert only(faults_of(t, steps, unit="mV"), "unit").figures["looks_like"] == "counts"


def test_whole_numbers_spanning_less_than_64_are_not_taken_for_steps():
    assert rf.looks_like(np.array([0.0, 63] * 500)) == "uV"
    assert rf.looks_like(np.array([0.0, 64] * 500)) == "counts"


@given(st.floats(-1e4, 1e4))
def test_an_offset_does_not_change_what_numbers_look_like(offset):
    _, x = sound(2)
    assert rf.looks_like(x + offset) == "mV"


# Samples


def test_missing_samples_above_one_in_a_thousand():
    t, x = sound()
    x[6000:6012] = np.nan
    assert faults_of(t, x) == []
    x[6012] = np.inf
    fault = only(faults_of(t, x), "missing")
    assert (fault.at_s, fault.figures) == (6.0, {"percent": pytest.approx(13 / 120)})


def test_missing_samples_are_drawn_straight():
    assert rf.filled(np.array([1.0, np.nan, 3.0, np.inf])).tolist() == [1, 2, 3, 3]


@pytest.mark.parametrize("value", [0.0, 0.7, np.nan])
def test_a_dead_channel_is_refused(value):
    t, x = sound()
    fault = faults_of(t, x, np.full(len(t), value))[-1]
    assert (fault.code, fault.channel, fault.weight) == ("dead", 1, "refused")


def test_clipped_at_four_samples_of_an_extreme():
    t, x = sound()
    x[[5000, 5001, 9000]] = 2.0
    assert faults_of(t, x) == []
    x[9001] = 2.0
    fault = only(faults_of(t, x), "clipped")
    assert (fault.at_s, fault.figures) == (5.0, {"samples": 4})


def test_clipped_at_the_bottom_and_in_the_second_channel():
    t, x = sound()
    y = np.maximum(x, -0.3)
    fault = only(faults_of(t, x, y), "clipped")
    assert fault.channel == 1
    assert fault.at_s == t[np.argmax(y == -0.3)]


def test_a_lead_off_for_50_ms():
    t, x = sound()
    x[7000:7049] = 0.05
    assert faults_of(t, x) == []
    x[7049] = 0.05
    fault = only(faults_of(t, x), "lead_off")
    assert (fault.at_s, fault.figures) == (7.0, {"times": 1, "longest_ms": pytest.approx(50)})


def test_already_rectified():
    t, x = sound()
    assert only(faults_of(t, np.abs(x)), "rectified").at_s is None


def test_already_smoothed_counts_as_rectified():
    t, _ = sound()
    smooth = 0.05 + 0.4 * np.clip(np.sin(t), 0, None) ** 4 + 1e-4 * np.random.default_rng(0).standard_normal(len(t))
    assert only(faults_of(t, smooth), "rectified")


def test_a_raw_signal_on_a_raised_zero_line_is_not_rectified():
    _, x = sound()
    assert not rf.is_rectified(x + 1.65)
    assert not rf.is_rectified(x)


def test_a_little_below_zero_is_still_rectified_and_more_is_not():
    _, x = sound()
    floor = x.max() * 0.05
    assert rf.is_rectified(np.abs(x) - floor * 0.9)
    assert not rf.is_rectified(np.abs(x) - floor * 1.1)


def test_motion_all_along():
    t, x = sound()
    fault = only(faults_of(t, x + 0.6 * np.sin(2 * np.pi * 5 * t)), "motion")
    assert fault.figures["ratio"] > 1
    assert fault.figures["windows"] == SECONDS


def test_a_tug_at_the_cable_is_found_where_it_happens():
    t, x = sound()
    x += np.where((t >= 8) & (t < 9), 1.2 * np.sin(2 * np.pi * 3 * t), 0)
    fault = only(faults_of(t, x), "motion")
    assert (fault.at_s, fault.figures["windows"]) == (8, 1)


def test_slow_sway_at_rest_below_the_muscle_is_no_motion():
    t, x = sound()
    assert faults_of(t, x + 0.06 * np.sin(2 * np.pi * 2 * t)) == []


def test_power_of_a_sine_falls_into_its_own_band():
    t = np.arange(3000) / 1000
    low, band = rf.windowed_power(np.sin(2 * np.pi * 10 * t), 1000)
    assert len(low) == 3
    assert (low > 1000 * band).all()
    low, band = rf.windowed_power(np.sin(2 * np.pi * 100 * t), 1000)
    assert (band > 1000 * low).all()


# Mains at rest


def rest_with_mains(share, hz=50.0):
    t, x = sound(seconds=6)
    noise = np.random.default_rng(9).standard_normal(len(t))
    return noise + np.sqrt(2 * share / (1 - share)) * np.sin(2 * np.pi * hz * t)


@pytest.mark.parametrize("hz", [50.0, 60.0])
def test_mains_above_half_of_the_power_at_rest(hz):
    fault = rf.mains_fault(rest_with_mains(0.7, hz), RATE_HZ, 1)
    assert (fault.code, fault.channel, fault.figures["mains_hz"]) == ("mains", 1, hz)
    assert fault.figures["percent"] == pytest.approx(72, abs=4)


def test_mains_below_half_of_the_power_at_rest():
    assert rf.mains_fault(rest_with_mains(0.4), RATE_HZ, 0) is None


def test_mains_needs_two_seconds_of_rest():
    assert rf.mains_fault(rest_with_mains(0.9)[:1500], RATE_HZ, 0) is None


# Cues


def cue_faults(*cues, channel=0):
    t, x = sound()
    return rf.cue_faults(Recording(t, x[:, None]), list(cues), channel)


REST, FLEXES = Cue("rest", 0, 3), [Cue("light", 3, 6), Cue("medium", 6, 9), Cue("hard", 9, 12)]


def test_complete_cues_have_no_fault():
    assert cue_faults(REST, *FLEXES) == []


def test_without_rest_nothing_is_computed():
    fault = only(cue_faults(Cue("rest", 0, 0.9), *FLEXES), "no_rest")
    assert (fault.weight, fault.figures) == ("refused", {"least_s": 1.0})


def test_with_rest_only_nothing_is_computed():
    assert only(cue_faults(REST), "only_rest").weight == "refused"


def test_levels_left_out_are_named():
    assert only(cue_faults(REST, FLEXES[2]), "level_missing").figures == {"levels": ["light", "medium"]}


def test_cues_outside_the_recording_are_counted():
    fault = only(cue_faults(REST, *FLEXES, Cue("hard", 20, 23), Cue("hard", 30, 33)), "cue_outside")
    assert (fault.at_s, fault.figures) == (20, {"cues": 2})
