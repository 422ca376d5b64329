"""The whole test on simulated sites whose truth is known."""

import time

import numpy as np
import pytest

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle.recording import Cue, Recording
from fitting.calc.muscle.site_test import site_test
from tests.fitting.muscle_simulator import CLEAR_LN, simulate


def codes(test):
    return [fault.code for fault in test.faults]


def changed(site, values):
    return Recording(site.recording.time_s, values, site.recording.unit)


def test_a_clear_site_is_usable_and_its_levels_are_the_true_ones():
    site = simulate(seed=3)
    test = site_test(site.recording, site.cues)
    (channel,) = test.channels
    assert codes(test) == []
    assert (test.unit, test.rate_hz, channel.verdict) == ("mV", pytest.approx(2000), "usable")
    for fit in channel.levels:
        truth = np.mean([site.holds_ln[0, fit.level, r] for r in range(4)])
        assert fit.mean_ln == pytest.approx(truth, abs=0.1)  # the band takes a little of the signal away
    assert channel.expected_error.share < 0.02
    assert channel.replay.error < 0.03
    assert 250 < channel.replay.latency_ms < 600  # 250 ms reaction, then the window and the debounce


def test_contractions_found_are_those_cued():
    site = simulate(seed=3, levels_ln={"rest": -5.5, "light": -3.7, "medium": -3.1, "hard": -2.5})
    found = site_test(site.recording, site.cues).channels[0].contractions
    for cue in site.cues:
        middle = (cue.start_s + cue.end_s) / 2
        inside = any(run.start_s < middle < run.end_s for run in found)
        assert inside == (cue.level != "rest")


@pytest.mark.parametrize(("step_ln", "word"), [(1.2, "usable"), (0.45, "marginal"), (0.15, "retry")])
def test_levels_close_together_get_the_other_words(step_ln, word):
    levels = {level: -5 + n * step_ln for n, level in enumerate(CLEAR_LN)}
    site = simulate(seed=2, levels_ln=levels, spread_ln=0.05, repetitions=3, rate_hz=1000)
    assert site_test(site.recording, site.cues).channels[0].verdict == word


def test_drift_is_found():
    site = simulate(seed=5, drift_ln=-0.8, spread_ln=0.05, repetitions=5, rate_hz=1000)
    test = site_test(site.recording, site.cues)
    assert test.channels[0].drift.ln == pytest.approx(-0.8, abs=0.15)
    assert codes(test) == ["drift"]
    assert test.faults[0].figures["percent"] == pytest.approx(-55, abs=8)


@pytest.mark.parametrize(("leak", "warned"), [(0.2, False), (0.8, True)])
def test_two_muscles_that_pull_together(leak, warned):
    site = simulate(seed=6, channels=2, leak=leak, repetitions=2, rate_hz=1000)
    test = site_test(site.recording, site.cues)
    assert len(test.channels) == 2
    assert [c.cocontraction for c in test.channels] == pytest.approx([leak, leak], rel=0.25)
    assert codes(test) == (["cocontraction", "cocontraction"] if warned else [])


def test_without_a_hard_flex_of_the_second_muscle_nothing_is_said_of_it():
    site = simulate(seed=6, channels=2, repetitions=2, rate_hz=1000)
    test = site_test(site.recording, [cue for cue in site.cues if cue.channel == 0])
    assert [c.cocontraction for c in test.channels] == [None]
    assert set(test.traces) == {0, 1}


def test_a_small_child_may_hold_rest_and_one_level_only():
    site = simulate(seed=7, levels_ln={"rest": -5.5, "medium": -2.5}, rate_hz=1000)
    test = site_test(site.recording, site.cues)
    (channel,) = test.channels
    assert codes(test) == ["level_missing"]
    assert (channel.verdict, len(channel.boundaries_ln), channel.fixed_errors) == ("usable", 1, {})
    assert len(channel.replay.confusion) == 2


def test_a_level_held_once_is_computed_and_said():
    site = simulate(seed=8, repetitions=1, rate_hz=1000)
    test = site_test(site.recording, site.cues)
    assert codes(test) == ["lone_levels"]
    assert test.channels[0].expected_error.holds == 12


def test_mains_at_rest_is_advised_and_taken_out():
    site = simulate(seed=9, hold_s=4.0)
    hum = 0.02 * np.sin(2 * np.pi * 50 * site.recording.time_s)[:, None]
    test = site_test(changed(site, site.recording.values + hum), site.cues)
    assert codes(test) == ["mains"]
    assert test.channels[0].lines_hz == (50.0,)
    assert test.channels[0].levels[0].mean_ln == pytest.approx(CLEAR_LN["rest"], abs=0.25)


def test_a_rectified_recording_is_not_filtered_but_tested():
    site = simulate(seed=3)
    raw = site_test(site.recording, site.cues).channels[0]
    test = site_test(changed(site, np.abs(site.recording.values)), site.cues)
    assert codes(test) == ["rectified"]
    assert np.subtract(test.channels[0].boundaries_ln, raw.boundaries_ln) == pytest.approx(0, abs=0.1)


def test_the_unit_only_moves_the_levels():
    site = simulate(seed=3, rate_hz=1000)
    in_uv = Recording(site.recording.time_s, site.recording.values * 1000, "uV")
    a, b = (site_test(row, site.cues).channels[0] for row in (site.recording, in_uv))
    assert a.boundaries_ln == pytest.approx(b.boundaries_ln)
    assert a.trade_off == b.trade_off


@pytest.mark.parametrize("code", ["time_in_ms", "time_backwards", "rate_too_low"])
def test_faults_of_time_leave_nothing_to_compute(code):
    site = simulate(seed=1, repetitions=1, rate_hz=1000)
    time_s = site.recording.time_s.copy()
    if code == "time_backwards":
        time_s[100] = 0
    time_s *= {"time_in_ms": 1000, "rate_too_low": 2.5}.get(code, 1)
    test = site_test(Recording(time_s, site.recording.values), site.cues)
    assert (codes(test), test.channels, test.traces) == ([code], (), {})


def test_a_dead_second_channel_does_not_spoil_the_first():
    site = simulate(seed=1, repetitions=2, rate_hz=1000)
    values = np.hstack([site.recording.values, np.zeros_like(site.recording.values)])
    test = site_test(changed(site, values), site.cues)
    assert codes(test) == ["dead"]
    assert [channel.channel for channel in test.channels] == [0]
    assert set(test.traces) == {0}


def test_without_cues_the_signal_is_shown_and_nothing_judged():
    site = simulate(seed=1, repetitions=1, rate_hz=1000)
    test = site_test(site.recording, [])
    assert (codes(test), test.channels) == (["no_rest"], ())
    assert set(test.traces) == {0}


def test_a_cue_beyond_the_end_is_left_out():
    site = simulate(seed=1, repetitions=2, rate_hz=1000)
    test = site_test(site.recording, [*site.cues, Cue("hard", 1000, 1003)])
    assert codes(test) == ["cue_outside"]
    assert test.channels[0].levels[-1].repetitions == 2


def test_what_is_no_cue_is_refused():
    site = simulate(seed=1, repetitions=1, rate_hz=1000)
    with pytest.raises(DoorpostError, match="is not a level"):
        site_test(site.recording, [Cue("soft", 0, 1)])


def test_more_hysteresis_and_debounce_switch_less_and_cost_delay():
    levels = {level: -5 + n * 0.6 for n, level in enumerate(CLEAR_LN)}
    site = simulate(seed=11, levels_ln=levels, rate_hz=1000, repetitions=3)
    curve = {
        (row.hysteresis_ln, row.debounce_ms): row for row in site_test(site.recording, site.cues).channels[0].trade_off
    }
    assert len(curve) == 36
    loose, tight = curve[0.0, 0], curve[0.30, 180]
    assert loose.switches_a_minute > 5 * max(1, tight.switches_a_minute)
    assert tight.latency_ms > loose.latency_ms + 100


def test_a_minute_of_two_channels_takes_no_longer_than_half_a_second():
    site = simulate(seed=1, channels=2, repetitions=4, hold_s=60 / 32)
    assert site.recording.values.shape == (120_000, 2)
    best = min(timed(site) for _ in range(3))
    assert best <= 0.5


def timed(site):
    start = time.process_time()
    site_test(site.recording, site.cues)
    return time.process_time() - start
