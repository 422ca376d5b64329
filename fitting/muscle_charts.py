"""Pictures of a muscle recording: signal, envelope with cues and boundaries, and the trade-off of the settings."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitting.calc.muscle.controller import TradeOff
from fitting.muscle_inputs import cues_of, level_names
from fitting.muscle_words import LEVEL_WORDS

WIDTH, LEFT, RIGHT = 900.0, 58.0, 892.0
CUES, SIGNAL, ENVELOPE, BOTTOM = (8.0, 30.0), (40.0, 150.0), (164.0, 400.0), 430.0
LEAST_CUE_FOR_WORD = 40.0
TICKS_S = (1, 2, 5, 10, 20, 30, 60, 120)
MOST_TICKS = 12
ROOM_LN = 0.4  # above the strongest and below the quietest envelope
TRADE = {"width": 420.0, "height": 300.0, "left": 52.0, "right": 408.0, "top": 14.0, "bottom": 256.0}
SHAPES = (
    "M-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0",
    "M-4-4h8v8h-8z",
    "M0-5l5 9h-10z",
    "M0-5l5 5-5 5-5-5z",
    "M-5-4h10l-5 9z",
    "M-4-4l8 8m0-8l-8 8",
)


@dataclass(frozen=True)
class CueBox:
    x: float
    width: float
    level: str
    word: str


@dataclass(frozen=True)
class Band:
    """A level's part of the envelope, from its lower boundary up."""

    number: int
    level: str
    word: str
    y: float
    height: float
    text_y: float


@dataclass(frozen=True)
class BoundaryLine:
    number: int
    y: float
    value: float
    word: str


@dataclass(frozen=True)
class Tick:
    at: float
    word: str


@dataclass(frozen=True)
class SignalChart:
    """One channel: signal above, envelope on a logarithmic scale below; numbers in drawing units unless they say ln."""

    uid: str
    title: str
    desc: str
    unit: str
    signal: str
    rms: str
    zero_y: float
    cues: tuple[CueBox, ...]
    bands: tuple[Band, ...]
    boundaries: tuple[BoundaryLine, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    low_ln: float
    high_ln: float
    top: float = ENVELOPE[0]
    bottom: float = ENVELOPE[1]


def signal_chart(result: Mapping, channel: Mapping | None, number: int, boundaries: Sequence[float]) -> SignalChart:
    """Picture of one channel; channel: its figures, None without any; boundaries in the unit of the result."""
    trace = result["traces"][str(number)]
    low_ln, high_ln = _range_ln(trace["rms"], boundaries)
    columns = len(trace["rms"])
    at = [LEFT + (RIGHT - LEFT) * (i + 0.5) / columns for i in range(columns)]
    y = _LogScale(low_ln, high_ln)
    levels = level_names(channel) if channel else []
    return SignalChart(
        uid=f"signal-{number}",
        title=_("Channel %(channel)d: signal and envelope") % {"channel": number + 1},
        desc=_describe(result, levels, boundaries),
        unit=result["unit"],
        signal=_signal_path(trace, at),
        rms=" ".join(f"{x:.1f},{y.at(max(value, 1e-12)):.1f}" for x, value in zip(at, trace["rms"], strict=True)),
        zero_y=sum(SIGNAL) / 2,
        cues=tuple(_cue_box(cue, result) for cue in cues_of(result) if cue.channel == number or cue.level == "rest"),
        bands=tuple(_bands(levels, boundaries, y)),
        boundaries=tuple(_lines(levels, boundaries, y)),
        x_ticks=tuple(_x_ticks(result)),
        y_ticks=tuple(_y_ticks(y)),
        low_ln=low_ln,
        high_ln=high_ln,
    )


class _LogScale:
    """Where an envelope lies in the lower panel."""

    def __init__(self, low_ln: float, high_ln: float):
        self.low_ln, self.high_ln = low_ln, high_ln

    def at(self, value: float) -> float:
        top, bottom = ENVELOPE
        share = (math.log(value) - self.low_ln) / (self.high_ln - self.low_ln)
        return bottom - min(max(share, 0.0), 1.0) * (bottom - top)


def _range_ln(rms, boundaries):
    seen = sorted(value for value in rms if value > 0) or [1.0]
    quiet = seen[len(seen) // 50]  # the start of the recording, where the filter settles, is not the quiet to be shown
    values = [quiet, seen[-1], *boundaries]
    return math.log(min(values)) - ROOM_LN, math.log(max(values)) + ROOM_LN


def _signal_path(trace, at):
    top, bottom = SIGNAL
    reach = max(max(map(abs, trace["low"])), max(map(abs, trace["high"]))) or 1.0
    middle, half = (top + bottom) / 2, (bottom - top) / 2
    spans = zip(at, trace["low"], trace["high"], strict=True)
    return "".join(
        f"M{x:.1f} {middle - low / reach * half:.1f}V{middle - high / reach * half:.1f}" for x, low, high in spans
    )


def _x(result, second):
    share = (second - result["start_s"]) / max(result["duration_s"], 1e-9)
    return LEFT + min(max(share, 0.0), 1.0) * (RIGHT - LEFT)


def _cue_box(cue, result):
    x, end = _x(result, cue.start_s), _x(result, cue.end_s)
    word = str(LEVEL_WORDS[cue.level]) if end - x >= LEAST_CUE_FOR_WORD else ""
    return CueBox(x, end - x, cue.level, word)


def _bands(levels, boundaries, y):
    edges = [ENVELOPE[1], *(y.at(boundary) for boundary in boundaries), ENVELOPE[0]]
    for number, level in enumerate(levels):
        lower, upper = edges[number], edges[number + 1]
        yield Band(number, level, str(LEVEL_WORDS[level]), upper, lower - upper, (lower + upper) / 2 + 4)


def _lines(levels, boundaries, y):
    for number, boundary in enumerate(boundaries):
        words = {"lower": LEVEL_WORDS[levels[number]], "upper": LEVEL_WORDS[levels[number + 1]]}
        yield BoundaryLine(number, y.at(boundary), boundary, _("Boundary between %(lower)s and %(upper)s") % words)


def _x_ticks(result):
    step = next((step for step in TICKS_S if result["duration_s"] / step <= MOST_TICKS), TICKS_S[-1])
    first = math.ceil(result["start_s"] / step)
    last = math.floor((result["start_s"] + result["duration_s"]) / step + 1e-6)
    return (Tick(_x(result, number * step), f"{number * step}") for number in range(first, last + 1))


def _y_ticks(y):
    """1, 2 and 5 of each power of ten inside the scale; every power only where that would be many."""
    powers = range(math.floor(y.low_ln / math.log(10)), math.ceil(y.high_ln / math.log(10)) + 1)
    steps = (1,) if len(powers) > 4 else (1, 2, 5)
    values = [step * 10.0**power for power in powers for step in steps]
    return (Tick(y.at(value), f"{value:g}") for value in values if y.low_ln <= math.log(value) <= y.high_ln)


def _describe(result, levels, boundaries):
    sentences = [
        _("%(seconds).0f seconds, %(rate).0f samples a second.")
        % {"seconds": result["duration_s"], "rate": result["rate_hz"]}
    ]
    for number, boundary in enumerate(boundaries):
        words = {"level": LEVEL_WORDS[levels[number + 1]], "value": f"{boundary:.3g}", "unit": result["unit"]}
        sentences.append(_("%(level)s from %(value)s %(unit)s.") % words)
    return " ".join(sentences)


@dataclass(frozen=True)
class TradePoint:
    x: float
    y: float
    shape: str
    chosen: bool
    row: TradeOff


@dataclass(frozen=True)
class TradeOffChart:
    """Delay against wrong switches, a shape for each hysteresis; the table beside it has the same figures."""

    points: tuple[TradePoint, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    keys: tuple[tuple[float, str], ...]
    width: float
    height: float
    left: float
    right: float
    top: float
    bottom: float


def trade_off_chart(rows: Sequence[TradeOff], hysteresis_ln: float, debounce_ms: int) -> TradeOffChart:
    """Picture of the trade-off; choices that never reach a level have no delay and are in the table only."""
    reached = [row for row in rows if row.latency_ms is not None]
    strengths = sorted({row.hysteresis_ln for row in rows})
    shapes = dict(zip(strengths, SHAPES, strict=False))
    most_ms = 100 * math.ceil(max((row.latency_ms for row in reached), default=100) / 100)
    most = max(1.0, *(row.switches_a_minute for row in rows)) * 1.08
    x0, x1, y0, y1 = TRADE["left"], TRADE["right"], TRADE["bottom"], TRADE["top"]
    points = [
        TradePoint(
            x0 + (x1 - x0) * row.latency_ms / most_ms,
            y0 - (y0 - y1) * row.switches_a_minute / most,
            shapes[row.hysteresis_ln],
            (row.hysteresis_ln, row.debounce_ms) == (hysteresis_ln, debounce_ms),
            row,
        )
        for row in reached
    ]
    return TradeOffChart(
        points=tuple(sorted(points, key=lambda point: point.chosen)),
        x_ticks=tuple(
            Tick(x0 + (x1 - x0) * ms / most_ms, f"{ms}") for ms in range(0, most_ms + 1, 100 if most_ms <= 800 else 200)
        ),
        y_ticks=tuple(Tick(y0 - (y0 - y1) * share / most * most, f"{share * most:.0f}") for share in (0, 0.5, 1)),
        keys=tuple(shapes.items()),
        **TRADE,
    )
