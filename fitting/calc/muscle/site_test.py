"""The whole test of a muscle site: a recording with its cues in, every figure of the page out."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from fitting.calc.muscle import boundaries, contractions, controller, envelope, filters, trade_off, verdict
from fitting.calc.muscle.boundaries import LevelFit, Repetition
from fitting.calc.muscle.contractions import Contraction, Rest
from fitting.calc.muscle.controller import Replay, TradeOff
from fitting.calc.muscle.expected_error import ExpectedError, expected_error, fixed_errors, lone_levels
from fitting.calc.muscle.recording import (
    HARD,
    REST,
    Cue,
    Hold,
    Recording,
    check_cues,
    check_recording,
    holds_of,
    is_inside,
    samples_of,
)
from fitting.calc.muscle.recording_faults import (
    REFUSED,
    Fault,
    cue_faults,
    filled,
    is_rectified,
    mains_fault,
    time_faults,
    value_faults,
)
from fitting.calc.muscle.trade_off import Fold
from fitting.calc.muscle.verdict import Drift, Verdict

METHOD = "muscle sites 1"


@dataclass(frozen=True)
class Traces:
    """One channel over time in the recording's shown unit: zero-phase signal, smooth envelope, trailing RMS."""

    signal: np.ndarray
    smooth: np.ndarray
    rms: np.ndarray
    lines_hz: tuple[float, ...]


@dataclass(frozen=True)
class ChannelTest:
    """Figures of one channel. Levels in the shown unit or its natural logarithm, as the names say."""

    channel: int
    rest: Rest
    on: float
    off: float
    contractions: tuple[Contraction, ...]
    levels: tuple[LevelFit, ...]
    boundaries_ln: tuple[float, ...]
    d_prime: float
    verdict: Verdict
    expected_error: ExpectedError
    fixed_errors: dict[str, ExpectedError]
    drift: Drift
    full_scale: float
    folds: tuple[Fold, ...]
    replay: Replay
    trade_off: tuple[TradeOff, ...]
    cocontraction: float | None
    lines_hz: tuple[float, ...]
    lone_levels: tuple[str, ...]


@dataclass(frozen=True)
class SiteTest:
    """Faults found and, for each channel that could be computed, its figures and traces."""

    unit: str
    rate_hz: float
    duration_s: float
    faults: tuple[Fault, ...]
    channels: tuple[ChannelTest, ...] = ()
    traces: dict[int, Traces] = field(default_factory=dict)


def site_test(recording: Recording, cues: Sequence[Cue]) -> SiteTest:
    """Test of one recording; raises DoorpostError only for arguments that are no recording or no cues at all."""
    check_recording(recording)
    check_cues(cues, recording.channels)
    faults = time_faults(recording.time_s)
    if any(fault.weight == REFUSED for fault in faults):
        return SiteTest(recording.shown_unit, 0.0, 0.0, tuple(faults))
    cued = cued_channels(recording, cues)
    faults += [fault for channel in cued for fault in cue_faults(recording, cues, channel)]
    cues = [cue for cue in cues if is_inside(cue, recording)]
    values = value_faults(recording)
    dead = {fault.channel for fault in values if fault.weight == REFUSED}
    faults += values
    refused = {fault.channel for fault in faults if fault.weight == REFUSED}
    traces = {
        c: traces_of(recording, c, rest_slice(recording, cues)) for c in range(recording.channels) if c not in dead
    }
    tests = tuple(channel_test(recording, cues, channel, traces) for channel in cued if channel not in refused)
    faults += [fault for channel in traces for fault in _mains(recording, cues, channel)]
    faults += [fault for test in tests for fault in _figure_faults(test)]
    return SiteTest(recording.shown_unit, recording.rate_hz, recording.duration_s, tuple(faults), tests, traces)


def cued_channels(recording: Recording, cues: Sequence[Cue]) -> tuple[int, ...]:
    """Channels whose muscle was asked to do something; the first when there was only rest."""
    return tuple(sorted({cue.channel for cue in cues if cue.level != REST})) or (0,)


def rest_slice(recording: Recording, cues: Sequence[Cue]) -> slice:
    """Samples of the longest rest cue; all samples when there is none."""
    rests = [cue for cue in cues if cue.level == REST]
    if not rests:
        return slice(None)
    longest = max(rests, key=lambda cue: cue.end_s - cue.start_s)
    return samples_of(recording.time_s, longest.start_s, longest.end_s)


def traces_of(recording: Recording, channel: int, rest: slice) -> Traces:
    """Signal and envelopes of one channel. A signal that came rectified has no band left to pass and stays as it is."""
    x, rate_hz = filled(recording.values[:, channel]) * recording.scale, recording.rate_hz
    if is_rectified(x):
        return Traces(x, envelope.smooth(x, rate_hz), envelope.trailing_rms(x, rate_hz), ())
    quiet = x[rest] if len(x[rest]) >= filters.SEGMENT_S * rate_hz else x
    lines = filters.mains_lines(quiet, rate_hz)
    signal = filters.clean(x, rate_hz, lines, causal=False)
    heard = filters.clean(x, rate_hz, lines, causal=True)
    return Traces(signal, envelope.smooth(signal, rate_hz), envelope.trailing_rms(heard, rate_hz), lines)


def channel_test(recording: Recording, cues: Sequence[Cue], channel: int, traces: dict[int, Traces]) -> ChannelTest:
    """Figures of one channel from its traces; needs rest and one more level in the cues."""
    time_s, trace, holds = recording.time_s, traces[channel], holds_of(cues, channel)
    repetitions = boundaries.repetitions_of(time_s, boundaries.log_envelope(trace.rms), holds)
    levels = boundaries.fit_levels(repetitions)
    d_prime = boundaries.smallest_d_prime(levels)
    rest = contractions.rest_of(_in_holds(time_s, trace.smooth, holds, REST))
    on, off = contractions.on_off_levels(rest, trace.smooth)
    return ChannelTest(
        channel=channel,
        rest=rest,
        on=on,
        off=off,
        contractions=contractions.contractions_of(time_s, trace.smooth, on, off),
        levels=levels,
        boundaries_ln=boundaries.boundaries_of(levels),
        d_prime=d_prime,
        verdict=verdict.verdict_of(d_prime),
        expected_error=expected_error(repetitions),
        fixed_errors=fixed_errors(repetitions),
        drift=verdict.drift_of(repetitions, levels),
        cocontraction=_cocontraction(recording, cues, channel, traces),
        lines_hz=trace.lines_hz,
        lone_levels=lone_levels(cues, channel),
        **_replayed(time_s, trace.rms, repetitions, [fit.level for fit in levels]),
    )


def _in_holds(time_s, trace, holds, level):
    return np.concatenate([trace[samples_of(time_s, h.start_s, h.end_s)] for h in holds if h.level == level])


def _replayed(time_s, rms, repetitions: Sequence[Repetition], levels):
    strongest = np.exp(max(float(rep.values.max()) for rep in repetitions))
    full_scale = controller.full_scale_of(strongest)
    ticks, readings = controller.readings_of(time_s, rms, full_scale)
    folds = trade_off.held_out_folds(repetitions)
    return {
        "full_scale": full_scale,
        "folds": folds,
        "replay": trade_off.replay_folds(ticks, readings, folds, levels, full_scale),
        "trade_off": trade_off.trade_off(ticks, readings, folds, levels, full_scale),
    }


def _cocontraction(recording, cues, channel, traces):
    """Median over the holds of the acting muscle; None unless both muscles had a hard hold of their own."""
    other = 1 - channel
    own = [hold for hold in holds_of(cues, channel) if hold.level != REST]
    theirs = [hold for hold in holds_of(cues, other) if hold.level == HARD]
    if other not in traces or not theirs or not any(hold.level == HARD for hold in own):
        return None
    acting, quiet = (_hold_means(recording.time_s, traces[c].rms) for c in (channel, other))
    acting_hard = np.mean([acting(hold) for hold in own if hold.level == HARD])
    other_hard = np.mean([quiet(hold) for hold in theirs])
    return float(
        np.median([verdict.cocontraction_of(acting(hold), acting_hard, quiet(hold), other_hard) for hold in own])
    )


def _hold_means(time_s, rms):
    def mean(hold: Hold) -> float:
        return float(rms[samples_of(time_s, hold.start_s, hold.end_s)].mean())

    return mean


def _mains(recording, cues, channel):
    x = filled(recording.values[:, channel])[rest_slice(recording, cues)]
    fault = mains_fault(x, recording.rate_hz, channel) if any(cue.level == REST for cue in cues) else None
    return [fault] if fault else []


def _figure_faults(test: ChannelTest) -> list[Fault]:
    """Advice that follows from the figures themselves."""
    faults = []
    if test.drift.warned:
        faults.append(Fault("drift", None, test.channel, figures={"percent": float(100 * np.expm1(test.drift.ln))}))
    if test.cocontraction is not None and test.cocontraction > verdict.COCONTRACTION:
        faults.append(Fault("cocontraction", None, test.channel, figures={"percent": 100 * test.cocontraction}))
    if test.lone_levels:
        faults.append(Fault("lone_levels", None, test.channel, figures={"levels": list(test.lone_levels)}))
    return faults
