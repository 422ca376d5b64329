"""Rest and contractions on the smooth envelope of one channel."""

from dataclasses import dataclass

import numpy as np

MAD_TO_SD = 1.4826  # of a normal distribution
ON_SDS, ON_RATIO, ON_SHARE = 5.0, 1.41, 0.10  # of rest noise, of rest level, of the way to p95
OFF_SHARE = 0.5  # off halfway back to rest
SHORTEST_S, GAP_S = 0.200, 0.250


@dataclass(frozen=True)
class Rest:
    """Level and noise of a channel at rest, same unit as the envelope."""

    median: float
    sd: float


@dataclass(frozen=True)
class Contraction:
    """One contraction found, from start to end [s], with its highest envelope."""

    start_s: float
    end_s: float
    peak: float


def rest_of(envelope: np.ndarray) -> Rest:
    """Median and 1.4826 x MAD of the envelope in the rest cues."""
    median = float(np.median(envelope))
    return Rest(median, float(MAD_TO_SD * np.median(np.abs(envelope - median))))


def on_off_levels(rest: Rest, envelope: np.ndarray) -> tuple[float, float]:
    """Envelope at which a contraction counts as on, and as off again."""
    way = float(np.percentile(envelope, 95)) - rest.median
    on = max(rest.median + ON_SDS * rest.sd, ON_RATIO * rest.median, rest.median + ON_SHARE * way)
    return on, rest.median + OFF_SHARE * (on - rest.median)


def contractions_of(time_s: np.ndarray, envelope: np.ndarray, on: float, off: float) -> tuple[Contraction, ...]:
    """Contractions of at least 200 ms; gaps below 250 ms are bridged first."""
    runs = _bridged(time_s, _runs(_is_on(envelope, on, off)))
    return tuple(
        Contraction(float(time_s[a]), float(time_s[b]), float(envelope[a : b + 1].max()))
        for a, b in runs
        if time_s[b] - time_s[a] >= SHORTEST_S
    )


def _is_on(envelope, on, off):
    """On from the first sample at or above `on` to the last before one below `off`."""
    decided = (envelope >= on) | (envelope < off)
    last_decided = np.maximum.accumulate(np.where(decided, np.arange(len(envelope)), -1))
    return (last_decided >= 0) & (envelope[np.maximum(last_decided, 0)] >= on)


def _runs(flags):
    """First and last index of each run of true."""
    edges = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    return list(zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True))


def _bridged(time_s, runs):
    joined = runs[:1]
    for start, end in runs[1:]:
        if time_s[start] - time_s[joined[-1][1]] < GAP_S:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return joined
