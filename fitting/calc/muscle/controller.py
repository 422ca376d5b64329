"""The replay: what a small controller with these settings would have done with the recording.

The controller, exactly. Every `step_ms` it reads the envelope as one whole number of 10 bits: floor(envelope x 1023 /
full scale), held to 0..1023. Boundary k (between level k and k + 1) is two whole numbers, up[k] and down[k]. From its
state s the reading asks for a level: while reading >= up[s], s + 1; else while reading < down[s - 1], s - 1. When the
asked level is the state, the counter is set to 0. Otherwise the counter goes on by one if the same level was asked
before, or starts at 1; when it reaches `debounce_steps` (at least 1) the state becomes that level and the counter is 0.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle.recording import Hold

STEPS = 1023  # 10 bits
STEP_MS = 10  # sampling step of a small controller, common practice
HYSTERESIS_LN, DEBOUNCE_MS = 0.10, 60  # as devices are set, common practice
HYSTERESIS_CHOICES_LN = (0.0, 0.05, 0.10, 0.15, 0.20, 0.30)
DEBOUNCE_CHOICES_MS = (0, 30, 60, 90, 120, 180)
HEADROOM = 1.25  # full scale above the strongest envelope seen, common practice


@dataclass(frozen=True)
class ControllerSettings:
    """The whole numbers a controller holds: up and down step per boundary, debounce in its own steps."""

    up: tuple[int, ...]
    down: tuple[int, ...]
    debounce_steps: int
    step_ms: int = STEP_MS


@dataclass(frozen=True)
class Replay:
    """What the controller did in the holds.

    confusion: steps by level asked for (row) and state (column); switches_a_minute: changes of state inside the holds
    after the level asked for was reached; latency_ms: median from the cue until it was reached (the person's reaction
    included), None when it never was; reached: share of the holds other than rest in which it was.
    """

    confusion: tuple[tuple[int, ...], ...]
    switches_a_minute: float
    latency_ms: float | None
    reached: float

    @property
    def error(self) -> float:
        """Share of steps in the wrong state, each level counting alike."""
        rows = [row for row in enumerate(self.confusion) if sum(row[1])]
        return float(np.mean([1 - row[level] / sum(row) for level, row in rows]))


@dataclass(frozen=True)
class TradeOff:
    """One choice of hysteresis and debounce with what it costs and gives."""

    hysteresis_ln: float
    debounce_ms: int
    error: float
    switches_a_minute: float
    latency_ms: float | None


def full_scale_of(strongest: float) -> float:
    """Envelope at the highest step: the strongest held, with a quarter of room above."""
    return float(strongest) * HEADROOM


def readings_of(time_s: np.ndarray, envelope: np.ndarray, full_scale: float, step_ms: int = STEP_MS):
    """Times [s] and whole-number readings of the controller: the last sample at each of its steps."""
    ticks = np.arange(time_s[0], time_s[-1], step_ms / 1000)
    last = np.searchsorted(time_s, ticks + 1e-9, side="right") - 1
    steps = np.floor(envelope[last] * (STEPS / full_scale))
    return ticks, np.clip(steps, 0, STEPS).astype(int)


def controller_settings(
    boundaries_ln: Sequence[float],
    full_scale: float,
    hysteresis_ln: float = HYSTERESIS_LN,
    debounce_ms: int = DEBOUNCE_MS,
    step_ms: int = STEP_MS,
) -> ControllerSettings:
    """Whole numbers for boundaries [ln unit], hysteresis to either side [ln] and debounce [ms].

    Raises DoorpostError when boundaries do not increase or a number is out of range.
    """
    if list(boundaries_ln) != sorted(boundaries_ln):
        raise DoorpostError("Each boundary must lie above the one before.")
    if hysteresis_ln < 0 or debounce_ms < 0 or step_ms <= 0:
        raise DoorpostError("Hysteresis and debounce cannot be below 0.")
    up = [_step(boundary + hysteresis_ln, full_scale) for boundary in boundaries_ln]
    down = [_step(boundary - hysteresis_ln, full_scale) for boundary in boundaries_ln]
    return ControllerSettings(tuple(up), tuple(down), max(1, -(-int(debounce_ms) // step_ms)), step_ms)


def _step(boundary_ln, full_scale):
    return int(np.clip(np.ceil(np.exp(boundary_ln) * (STEPS / full_scale)), 1, STEPS))


def states_of(readings: np.ndarray, settings: ControllerSettings, start: int = 0) -> np.ndarray:
    """State after each reading. Runs of readings that no threshold tells apart are taken at once."""
    thresholds = np.unique(settings.up + settings.down)
    zones = np.searchsorted(thresholds, readings, side="right")
    first = np.concatenate(([0], np.flatnonzero(np.diff(zones)) + 1))
    asked = _asked_by_zone(np.concatenate(([0], thresholds)), settings)
    runs = zip(zones[first].tolist(), first.tolist(), np.diff(np.append(first, len(zones))).tolist(), strict=True)
    switched_at, switched_to = [0], [start]
    state, candidate, count = start, -1, 0
    for zone, begin, length in runs:
        level = asked[state][zone]
        if level == state:
            count = 0
            continue
        before = count if level == candidate else 0
        candidate, count = level, before + length
        if count >= settings.debounce_steps:
            switched_at.append(begin + settings.debounce_steps - before - 1)
            switched_to.append(level)
            state, count = level, 0
    lengths = np.diff(np.append(switched_at, len(readings)))
    return np.repeat(switched_to, lengths)


def asked_level(reading: int, state: int, settings: ControllerSettings) -> int:
    """Level a reading asks for from a state."""
    level = state
    while level < len(settings.up) and reading >= settings.up[level]:
        level += 1
    if level == state:
        while level > 0 and reading < settings.down[level - 1]:
            level -= 1
    return level


def _asked_by_zone(lowest, settings):
    return [[asked_level(reading, state, settings) for reading in lowest] for state in range(len(settings.up) + 1)]


def replay(time_s: np.ndarray, parts: Sequence[tuple[np.ndarray, Sequence[Hold]]], levels: Sequence[str]) -> Replay:
    """What the controller's states come to in the holds.

    time_s: of its steps [s]; parts: states with the holds to be looked at in them; levels: in order of state.
    """
    confusion = np.zeros((len(levels), len(levels)), int)
    switches, minutes, latencies = 0, 0.0, []
    for states, hold in ((states, hold) for states, holds in parts for hold in holds):
        level = levels.index(hold.level)
        a, b = np.searchsorted(time_s, (hold.start_s, hold.end_s))
        np.add.at(confusion[level], states[a:b], 1)
        cue = int(np.searchsorted(time_s, hold.cue_start_s))
        reached = np.flatnonzero(states[cue:b] == level)
        inside = max(a, cue + int(reached[0])) if len(reached) else a
        switches += int(np.count_nonzero(np.diff(states[inside:b])))
        minutes += (hold.end_s - hold.start_s) / 60
        if level:
            latencies.append(1000 * float(time_s[cue + reached[0]] - hold.cue_start_s) if len(reached) else np.inf)
    return Replay(tuple(tuple(row) for row in confusion.tolist()), switches / minutes, *_latency(latencies))


def _latency(latencies_ms):
    """Median of the finite ones and their share."""
    finite = [latency for latency in latencies_ms if np.isfinite(latency)]
    if not finite:
        return None, 0.0
    return float(np.median(finite)), len(finite) / len(latencies_ms)
