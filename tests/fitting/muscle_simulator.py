"""Muscle recordings with known truth: coloured noise whose strength follows the cues. Our own, seeded."""

from dataclasses import dataclass

import numpy as np
from scipy import signal

from fitting.calc.muscle.recording import LEVELS, Cue, Recording

RATE_HZ = 2000.0
CLEAR_LN = {"rest": np.log(0.004), "light": np.log(0.03), "medium": np.log(0.09), "hard": np.log(0.27)}  # mV


@dataclass(frozen=True)
class Simulated:
    recording: Recording
    cues: tuple[Cue, ...]
    holds_ln: dict  # (level, repetition) -> true log strength


def colour(rng, n, rate_hz):
    """Noise of a muscle's spectrum (40-150 Hz, as surface signals roughly are), unit RMS."""
    sos = signal.butter(2, (40, 150), "bandpass", fs=rate_hz, output="sos")
    x = signal.sosfilt(sos, rng.standard_normal(n + 2000))[2000:]
    return x / x.std()


def simulate(
    seed=1,
    levels_ln=CLEAR_LN,
    repetitions=4,
    hold_s=3.0,
    rate_hz=RATE_HZ,
    spread_ln=0.1,
    drift_ln=0.0,
    channels=1,
    leak=0.0,
    reaction_s=0.25,
) -> Simulated:
    """Each channel's muscle in turn: rest, light, medium, hard, as often as told.

    spread_ln: SD of a hold's strength between repetitions; drift_ln: change from first to last repetition; leak: share
    of the acting muscle's strength that the other muscle shows too.
    """
    rng = np.random.default_rng(seed)
    order = [
        (c, r, level) for c in range(channels) for r in range(repetitions) for level in LEVELS if level in levels_ln
    ]
    n = round(len(order) * hold_s * rate_hz)
    strength = np.full((n, channels), np.exp(levels_ln["rest"]))
    cues, truth = [], {}
    for number, (channel, repetition, level) in enumerate(order):
        start_s = number * hold_s
        ln = levels_ln[level] + spread_ln * rng.standard_normal()
        ln += drift_ln * repetition / max(1, repetitions - 1) if level != "rest" else 0
        truth[channel, level, repetition] = ln
        acts = slice(round((start_s + reaction_s) * rate_hz), round((start_s + hold_s + reaction_s) * rate_hz))
        strength[acts, channel] = np.exp(ln)
        if channels == 2 and level != "rest":
            strength[acts, 1 - channel] = np.maximum(strength[acts, 1 - channel], leak * np.exp(ln))
        cues.append(Cue(level, start_s, start_s + hold_s, channel if level != "rest" else 0))
    values = np.stack([colour(rng, n, rate_hz) * strength[:, c] for c in range(channels)], axis=1)
    return Simulated(Recording(np.arange(n) / rate_hz, values, "mV"), tuple(cues), truth)


def as_csv(site: Simulated, cues: bool = True, factor: float = 1.0) -> bytes:
    """The recording as a recorder would write it: time, channels, and a number for the cue (-1 for none)."""
    time_s, values = site.recording.time_s, site.recording.values * factor
    columns = [time_s, *values.T]
    if cues:
        asked = np.full(len(time_s), -1)
        for cue in site.cues:
            asked[(time_s >= cue.start_s) & (time_s < cue.end_s)] = LEVELS.index(cue.level) + 10 * cue.channel
        columns.append(asked)
    names = ["time", "first", "second"][: 1 + values.shape[1]] + (["cue"] if cues else [])
    rows = (f"{t:.5f}," + ",".join(f"{value:.6g}" for value in row) for t, *row in zip(*columns, strict=True))
    return "\n".join([",".join(names), *rows]).encode()
