"""Between muscle recordings and the computation: rows in, figures as JSON out, and a replay from stored figures."""

import base64
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict

import numpy as np

from fitting.calc.muscle import controller, trade_off
from fitting.calc.muscle.controller import Replay, TradeOff
from fitting.calc.muscle.recording import Cue, Hold, Recording
from fitting.calc.muscle.site_test import METHOD, ChannelTest, SiteTest, Traces
from fitting.calc.muscle.trade_off import Fold
from fitting.models import MuscleRecording
from fitting.recording_files import RecordingFile, RecordingFileError

SHOWN_COLUMNS = 800  # of a trace in a picture


def cues_for(row: MuscleRecording, found: RecordingFile) -> tuple[Cue, ...]:
    """Cues as typed, or those of the file's own column. Raises RecordingFileError for a muscle without a channel."""
    cues = tuple(Cue(**cue) for cue in row.cues) or found.cues or ()
    if any(cue.channel >= found.values.shape[1] for cue in cues):
        raise RecordingFileError("cue_channel")
    return cues


def recording_for(row: MuscleRecording, found: RecordingFile) -> Recording:
    return Recording(found.time_s, found.values, row.unit, row.mv_per_count)


def result_of(test: SiteTest, recording: Recording, cues: Sequence[Cue]) -> dict:
    """Everything a page needs of a test, as JSON: figures, faults, thinned traces, the controller's readings."""
    channels = {channel.channel: channel for channel in test.channels}
    return {
        "method": METHOD,
        "unit": test.unit,
        "rate_hz": test.rate_hz,
        "start_s": float(recording.time_s[0]) if test.traces else 0.0,
        "duration_s": test.duration_s,
        "cues": [asdict(cue) for cue in cues],
        "faults": [asdict(fault) for fault in test.faults],
        "channels": [_channel(channel) for channel in test.channels],
        "traces": {
            str(number): _trace(trace, recording.time_s) | _steps(channels.get(number), trace, recording.time_s)
            for number, trace in test.traces.items()
        },
    }


def _channel(test: ChannelTest) -> dict:
    figures = asdict(test)
    figures["contractions"] = len(test.contractions)
    figures["fitted"] = [float(value) for value in np.exp(test.boundaries_ln)]
    if not np.isfinite(test.drift.error_ln):
        figures["drift"] = None
    return figures


def _trace(trace: Traces, time_s) -> dict:
    """Lowest and highest sample and strongest envelope of each column of a picture."""
    columns = min(SHOWN_COLUMNS, len(time_s))
    edges = np.linspace(0, len(time_s), columns + 1).astype(int)[:-1]
    return {
        "low": _short(np.minimum.reduceat(trace.signal, edges)),
        "high": _short(np.maximum.reduceat(trace.signal, edges)),
        "rms": _short(np.maximum.reduceat(trace.rms, edges)),
    }


def _short(values) -> list[float]:
    return [float(f"{value:.4g}") for value in values]


def _steps(test: ChannelTest | None, trace: Traces, time_s) -> dict:
    if test is None:
        return {}
    _ticks, readings = controller.readings_of(time_s, trace.rms, test.full_scale)
    return {"steps": base64.b64encode(zlib.compress(readings.astype("<u2").tobytes())).decode()}


def cues_of(result: Mapping) -> tuple[Cue, ...]:
    return tuple(Cue(**cue) for cue in result["cues"])


def channel_of(result: Mapping, channel: int) -> Mapping | None:
    """Stored figures of one channel."""
    return next((row for row in result.get("channels", ()) if row["channel"] == channel), None)


def level_names(channel: Mapping) -> list[str]:
    return [level["level"] for level in channel["levels"]]


def replay_with(
    result: Mapping, channel: int, boundaries: Sequence[float], hysteresis_ln: float, debounce_ms: int
) -> Replay:
    """What the controller would have done with boundaries [unit of the result], from its stored readings.

    The fitted boundaries are judged on each repetition by those fitted without it; others on the whole recording.
    """
    return trade_off.replay_folds(*_replayed(result, channel, boundaries), hysteresis_ln, debounce_ms)


def trade_off_with(result: Mapping, channel: int, boundaries: Sequence[float]) -> tuple[TradeOff, ...]:
    """Every choice of hysteresis and debounce with boundaries [unit of the result], judged as by `replay_with`."""
    return trade_off.trade_off(*_replayed(result, channel, boundaries))


def is_fitted(figures: Mapping, boundaries: Sequence[float]) -> bool:
    return list(boundaries) == list(figures["fitted"])


def _replayed(result, channel, boundaries):
    figures = channel_of(result, channel)
    readings = np.frombuffer(zlib.decompress(base64.b64decode(result["traces"][str(channel)]["steps"])), "<u2")
    ticks = result["start_s"] + np.arange(len(readings)) * controller.STEP_MS / 1000
    folds = [
        Fold(tuple(row["boundaries_ln"]), tuple(Hold(**hold) for hold in row["holds"])) for row in figures["folds"]
    ]
    if not is_fitted(figures, boundaries):
        folds = [Fold(tuple(np.log(boundaries)), tuple(hold for fold in folds for hold in fold.holds))]
    return ticks, readings.astype(int), folds, level_names(figures), figures["full_scale"]


def stored_replay(channel: Mapping) -> Replay:
    return Replay(**channel["replay"])


def stored_trade_off(channel: Mapping) -> tuple[TradeOff, ...]:
    return tuple(TradeOff(**row) for row in channel["trade_off"])


def level_means(result: Mapping, channel: int) -> dict[str, float]:
    """Mean log envelope by level, to hold two visits against each other."""
    figures = channel_of(result, channel)
    return {level["level"]: level["mean_ln"] for level in figures["levels"]} if figures else {}
