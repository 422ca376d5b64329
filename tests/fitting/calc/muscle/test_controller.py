"""The replay against the state machine taken step by step, in whole numbers only."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle import controller
from fitting.calc.muscle.controller import ControllerSettings, Replay
from fitting.calc.muscle.recording import Hold

LEVELS = ["rest", "light", "medium", "hard"]


def slow_states(readings, settings, start=0):
    """The state machine of the module's first lines, one reading after another."""
    state, candidate, count, out = start, None, 0, []
    for reading in readings:
        asked = state
        if asked < len(settings.up) and reading >= settings.up[asked]:
            while asked < len(settings.up) and reading >= settings.up[asked]:
                asked += 1
        else:
            while asked > 0 and reading < settings.down[asked - 1]:
                asked -= 1
        if asked == state:
            count = 0
        else:
            count = count + 1 if asked == candidate and count else 1
            candidate = asked
            if count >= settings.debounce_steps:
                state, count = asked, 0
        out.append(state)
    return out


@st.composite
def machines(draw):
    boundaries = sorted(draw(st.lists(st.floats(-6, 0), min_size=1, max_size=3)))
    hysteresis = draw(st.sampled_from([0.0, 0.05, 0.1, 0.3, 1.0]))
    debounce = draw(st.sampled_from([0, 10, 20, 60]))
    return controller.controller_settings(boundaries, 1.0, hysteresis, debounce)


@given(machines(), st.lists(st.integers(0, 1023), min_size=1, max_size=120))
def test_states_agree_with_the_machine_step_by_step(settings, readings):
    assert controller.states_of(np.array(readings), settings).tolist() == slow_states(readings, settings)


@given(machines(), st.lists(st.tuples(st.integers(0, 1023), st.integers(1, 12)), min_size=1, max_size=40))
def test_states_agree_on_steady_stretches(settings, stretches):
    readings = [reading for reading, length in stretches for _ in range(length)]
    assert controller.states_of(np.array(readings), settings).tolist() == slow_states(readings, settings)


ONE = ControllerSettings((100,), (80,), 3)


@pytest.mark.parametrize(
    ("readings", "states"),
    [
        ([0, 100, 100, 100, 0], [0, 0, 0, 1, 1]),  # on after three steps
        ([100, 100, 0, 100, 100, 100], [0, 0, 0, 0, 0, 1]),  # a break starts the count again
        ([100, 100, 100, 90, 80, 90], [0, 0, 1, 1, 1, 1]),  # between down and up the state stays
        ([100, 100, 100, 79, 79, 79], [0, 0, 1, 1, 1, 0]),
    ],
)
def test_one_boundary_by_hand(readings, states):
    assert controller.states_of(np.array(readings), ONE).tolist() == states


def test_without_debounce_the_state_follows_at_once_and_may_skip_levels():
    settings = ControllerSettings((100, 200, 300), (90, 190, 290), 1)
    assert controller.states_of(np.array([0, 350, 195, 50]), settings).tolist() == [0, 3, 2, 0]


def test_settings_are_whole_numbers_around_the_boundaries():
    settings = controller.controller_settings(np.log([0.1, 0.4]), 1.0, hysteresis_ln=0.1, debounce_ms=60)
    assert settings.up == (int(np.ceil(0.1 * np.exp(0.1) * 1023)), int(np.ceil(0.4 * np.exp(0.1) * 1023)))
    assert settings.down == (int(np.ceil(0.1 * np.exp(-0.1) * 1023)), int(np.ceil(0.4 * np.exp(-0.1) * 1023)))
    assert (settings.debounce_steps, settings.step_ms) == (6, 10)


@pytest.mark.parametrize(("debounce_ms", "steps"), [(0, 1), (1, 1), (10, 1), (11, 2), (60, 6)])
def test_debounce_is_rounded_up_to_whole_steps(debounce_ms, steps):
    assert controller.controller_settings((-1,), 1.0, debounce_ms=debounce_ms).debounce_steps == steps


def test_a_boundary_beyond_full_scale_stays_within_10_bits():
    settings = controller.controller_settings((-20, 3), 1.0)
    assert (settings.up, settings.down) == ((1, 1023), (1, 1023))


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (((-1, -2), 1.0), "Each boundary must lie above the one before."),
        (((-1,), 1.0, -0.1), "Hysteresis and debounce cannot be below 0."),
        (((-1,), 1.0, 0.1, -1), "Hysteresis and debounce cannot be below 0."),
    ],
)
def test_settings_no_controller_can_hold_are_refused(arguments, sentence):
    with pytest.raises(DoorpostError, match=sentence):
        controller.controller_settings(*arguments)


def test_readings_are_ten_bits_of_the_last_sample_before_each_step():
    time_s = np.arange(100) / 1000
    ticks, readings = controller.readings_of(time_s, np.linspace(0, 2, 100), full_scale=1.0)
    assert ticks == pytest.approx(np.arange(10) / 100)
    assert readings.tolist() == [min(1023, int(1023 * 2 * i / 99)) for i in range(0, 100, 10)]
    assert readings.dtype.kind == "i"


def hold(level, start_s, end_s):
    return Hold(level, 0, start_s, end_s, start_s)


def replay(states, *holds):
    return controller.replay(np.arange(len(states)) / 10, [(np.array(states), holds)], LEVELS)


def test_replay_by_hand():
    states = [0] * 10 + [0, 0, 1, 1, 2, 1, 1, 1, 1, 1]
    result = replay(states, hold("rest", 0, 1), hold("light", 1, 2))
    assert result.confusion == ((10, 0, 0, 0), (2, 7, 1, 0), (0, 0, 0, 0), (0, 0, 0, 0))
    assert result.latency_ms == pytest.approx(200)
    assert result.switches_a_minute == pytest.approx(2 * 60 / 2)
    assert result.reached == 1
    assert result.error == pytest.approx((0 + 0.3) / 2)


def test_a_level_never_reached_has_no_latency():
    result = replay([0] * 20, hold("rest", 0, 1), hold("hard", 1, 2))
    assert (result.latency_ms, result.reached) == (None, 0.0)
    assert result.error == pytest.approx(0.5)


def test_levels_count_alike_in_the_error():
    assert Replay(((90, 10), (5, 5)), 0, None, 1).error == pytest.approx((0.1 + 0.5) / 2)


@given(st.lists(st.integers(0, 3), min_size=40, max_size=40))
def test_every_step_in_a_hold_is_counted_once(states):
    result = replay(states, *(hold(level, n, n + 1) for n, level in enumerate(LEVELS)))
    assert [sum(row) for row in result.confusion] == [10] * 4
    assert result.switches_a_minute >= 0
