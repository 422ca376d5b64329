"""A test's figures survive the way through JSON, and a replay from them is the replay itself."""

import json

import numpy as np
import pytest

from fitting.calc.muscle.site_test import site_test
from fitting.muscle_inputs import (
    channel_of,
    cues_of,
    is_fitted,
    level_means,
    replay_with,
    result_of,
    stored_replay,
    stored_trade_off,
    trade_off_with,
)
from tests.fitting.muscle_simulator import simulate


@pytest.fixture(scope="module")
def site():
    return simulate(seed=2, channels=2, repetitions=3, hold_s=2, rate_hz=1000, spread_ln=0.3)


@pytest.fixture(scope="module")
def test_figures(site):
    return site_test(site.recording, site.cues)


@pytest.fixture(scope="module")
def result(site, test_figures):
    stored = json.dumps(result_of(test_figures, site.recording, site.cues), allow_nan=False)
    assert len(stored) < 200_000
    return json.loads(stored)


@pytest.mark.parametrize("number", [0, 1])
def test_figures_come_back(result, test_figures, site, number):
    test, figures = test_figures.channels[number], channel_of(result, number)
    assert figures["boundaries_ln"] == list(test.boundaries_ln)
    assert np.log(figures["fitted"]) == pytest.approx(test.boundaries_ln)
    assert [tuple(row) for row in stored_replay(figures).confusion] == list(test.replay.confusion)
    assert stored_trade_off(figures) == test.trade_off
    assert level_means(result, number) == {fit.level: fit.mean_ln for fit in test.levels}
    assert cues_of(result) == site.cues


@pytest.mark.parametrize("number", [0, 1])
def test_a_replay_of_the_fitted_boundaries_is_the_stored_one(result, number):
    figures = channel_of(result, number)
    assert is_fitted(figures, figures["fitted"])
    again = replay_with(result, number, figures["fitted"], 0.10, 60)
    assert again.confusion == tuple(tuple(row) for row in figures["replay"]["confusion"])
    assert again.latency_ms == pytest.approx(figures["replay"]["latency_ms"])
    for row, stored in zip(trade_off_with(result, number, figures["fitted"]), stored_trade_off(figures), strict=True):
        assert (row.error, row.switches_a_minute) == pytest.approx((stored.error, stored.switches_a_minute))


def test_other_boundaries_are_judged_on_the_whole_recording(result):
    figures = channel_of(result, 0)
    far = [value * 3 for value in figures["fitted"]]
    assert not is_fitted(figures, far)
    assert replay_with(result, 0, far, 0.1, 60).error > stored_replay(figures).error + 0.2


def test_traces_are_thinned_for_a_picture(result):
    trace = result["traces"]["0"]
    assert len(trace["low"]) == len(trace["high"]) == len(trace["rms"]) == 800
    assert all(low <= high for low, high in zip(trace["low"], trace["high"], strict=True))


def test_a_drift_that_is_unknown_is_stored_as_none():
    site = simulate(seed=2, levels_ln={"rest": -5.5, "hard": -2}, repetitions=2, rate_hz=1000)
    result = result_of(site_test(site.recording, site.cues), site.recording, site.cues)
    assert channel_of(result, 0)["drift"] is None
    assert json.dumps(result, allow_nan=False)


def test_a_channel_without_figures_has_none(result):
    assert channel_of(result, 7) is None
    assert level_means(result, 7) == {}
