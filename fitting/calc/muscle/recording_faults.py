"""Everything in a recording that would spoil its figures, with the second where it happens; pages put it in words."""

from dataclasses import dataclass, field

import numpy as np

from fitting.calc.muscle import filters
from fitting.calc.muscle.recording import COUNTS, LEVELS, REST, Recording, is_inside

TIME_IN_MS_STEP = 0.2  # a median step this large cannot be seconds
GAP_STEPS = 1.5
MISSING_SHARE = 0.001
REFUSED_BELOW_HZ, SLOW_BELOW_HZ = 500.0, 1000.0
COUNTS_SPAN = 64
MICROVOLT_LEVEL, VOLT_LEVEL = 20.0, 0.02  # of the 99.9th percentile, were it mV
CLIPPED_SAMPLES = 4
LEAD_OFF_S = 0.050
RECTIFIED_SHARE = 0.05
RECTIFIED_SKEW = 2.0  # reaches this much further up from the median than down: not a raw signal on a raised zero line
MOTION_LOW_HZ = 1.0
MOTION_WINDOW_S = 1.0
MAINS_REST_SHARE = 0.5
SHORTEST_RECORDING_S = 2.0  # common practice
SHORTEST_REST_S = 1.0  # to read the rest level from, common practice

REFUSED, ADVICE = "refused", "advice"


@dataclass(frozen=True)
class Fault:
    """What is wrong: code, second of its first place (None: all along), channel (None: all), figures for the sentence.

    weight: refused (no figures are computed) or advice; neither keeps the record from being kept.
    """

    code: str
    at_s: float | None = None
    channel: int | None = None
    weight: str = ADVICE
    figures: dict = field(default_factory=dict)


def time_faults(time_s: np.ndarray) -> list[Fault]:
    """Faults of the time column [s]."""
    if not np.isfinite(time_s).all():
        at = int(np.flatnonzero(~np.isfinite(time_s))[0])
        return [Fault("time_missing", float(time_s[at - 1]) if at else None, None, REFUSED, {"row": at + 1})]
    steps = np.diff(time_s)
    backwards = np.flatnonzero(steps <= 0)
    if len(backwards):
        at = int(backwards[0])
        return [Fault("time_backwards", float(time_s[at]), None, REFUSED, {"rows": len(backwards), "row": at + 2})]
    median = float(np.median(steps))
    if time_s[-1] - time_s[0] < SHORTEST_RECORDING_S:
        return [Fault("too_short", None, None, REFUSED, {"seconds": float(time_s[-1] - time_s[0])})]
    if median >= TIME_IN_MS_STEP:
        return [Fault("time_in_ms", None, None, REFUSED, {"step": median})]
    return _rate_faults(1 / median) + _gap_faults(time_s, steps, median)


def _rate_faults(rate_hz):
    if rate_hz < REFUSED_BELOW_HZ * (1 - 1e-6):
        return [Fault("rate_too_low", None, None, REFUSED, {"rate_hz": rate_hz, "least_hz": REFUSED_BELOW_HZ})]
    if rate_hz < SLOW_BELOW_HZ * (1 - 1e-6):
        return [Fault("rate_low", figures={"rate_hz": rate_hz, "good_hz": SLOW_BELOW_HZ})]
    return []


def _gap_faults(time_s, steps, median):
    gaps = np.flatnonzero(steps > GAP_STEPS * median)
    if not len(gaps):
        return []
    longest_ms = float(steps[gaps].max() * 1000)
    return [Fault("gap", float(time_s[gaps[0]]), figures={"gaps": len(gaps), "longest_ms": longest_ms})]


def value_faults(recording: Recording) -> list[Fault]:
    """Faults of the samples of every channel, for a recording whose time is sound."""
    return [fault for channel in range(recording.channels) for fault in _channel_faults(recording, channel)]


def _channel_faults(recording, channel):
    time_s, x, rate_hz = recording.time_s, recording.values[:, channel], recording.rate_hz
    missing = ~np.isfinite(x)
    faults = []
    if missing.mean() > MISSING_SHARE:
        at_s = float(time_s[np.argmax(missing)])
        faults.append(Fault("missing", at_s, channel, figures={"percent": float(100 * missing.mean())}))
    if missing.all():
        return [Fault("dead", None, channel, REFUSED)]
    x = filled(x)
    if np.ptp(x) == 0:
        return [*faults, Fault("dead", None, channel, REFUSED)]
    rectified = is_rectified(x)
    found = [
        _unit_fault(x, recording.unit),
        _clipped(time_s, x, rectified),
        _lead_off(time_s, x, rate_hz),
        Fault("rectified") if rectified else _motion(time_s, x, rate_hz),
    ]
    return faults + [_in_channel(fault, channel) for fault in found if fault]


def _in_channel(fault, channel):
    return Fault(fault.code, fault.at_s, channel, fault.weight, fault.figures)


def filled(x: np.ndarray) -> np.ndarray:
    """Samples with missing ones drawn straight between their neighbours."""
    known = np.isfinite(x)
    return x if known.all() else np.interp(np.arange(len(x)), np.flatnonzero(known), x[known])


def looks_like(x: np.ndarray) -> str:
    """Unit the numbers of a channel look like: counts, uV, mV or V (V may also be a dead channel)."""
    if np.ptp(x) >= COUNTS_SPAN and np.array_equal(x, np.rint(x)):
        return COUNTS
    level = float(np.percentile(np.abs(x - np.median(x)), 99.9))
    if level > MICROVOLT_LEVEL:
        return "uV"
    return "V" if level < VOLT_LEVEL else "mV"


def _unit_fault(x, unit):
    guess = looks_like(x)
    few_counts = unit == COUNTS and np.array_equal(x, np.rint(x))
    return None if guess == unit or few_counts else Fault("unit", figures={"declared": unit, "looks_like": guess})


def is_rectified(x: np.ndarray) -> bool:
    """Whether a channel stays above zero (but for a twentieth of its height) and does not swing about a raised line."""
    low, middle, high = np.percentile(x, (0.1, 50, 99.9))
    above_zero = x.max() > 0 and x.min() > -RECTIFIED_SHARE * x.max()
    return bool(above_zero and high - middle > RECTIFIED_SKEW * (middle - low))


def _clipped(time_s, x, rectified):
    """At an extreme four times or more; zero is the natural floor of a rectified signal."""
    extremes = [x.max()] if rectified else [x.max(), x.min()]
    at = [np.flatnonzero(x == extreme) for extreme in extremes]
    at = [places for places in at if len(places) >= CLIPPED_SAMPLES]
    if not at:
        return None
    samples = np.concatenate(at)
    return Fault("clipped", float(time_s[samples.min()]), figures={"samples": len(samples)})


def _lead_off(time_s, x, rate_hz):
    starts = np.concatenate(([0], np.flatnonzero(np.diff(x) != 0) + 1))
    lengths = np.diff(np.concatenate((starts, [len(x)])))
    long = np.flatnonzero(lengths >= LEAD_OFF_S * rate_hz - 1e-6)
    if not len(long):
        return None
    figures = {"times": len(long), "longest_ms": float(lengths[long].max() / rate_hz * 1000)}
    return Fault("lead_off", float(time_s[starts[long[0]]]), figures=figures)


def _motion(time_s, x, rate_hz):
    """Power of 1-20 Hz above that of the pass band: in the whole recording, or in a window of unusual strength."""
    low, band = windowed_power(x, rate_hz)
    moved = np.flatnonzero(low > np.maximum(band, band.mean()))
    if not len(moved) and low.sum() <= band.sum():
        return None
    first = moved[0] if len(moved) else int(np.argmax(low))
    at_s = float(time_s[0] + first * MOTION_WINDOW_S)
    return Fault("motion", at_s, figures={"windows": len(moved), "ratio": float(low.sum() / band.sum())})


def windowed_power(x: np.ndarray, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Power of 1-20 Hz and of the pass band in each whole second of a channel (in the whole of a shorter one)."""
    width = min(len(x), round(MOTION_WINDOW_S * rate_hz))
    rows = x[: len(x) // width * width].reshape(-1, width)
    tapered = (rows - rows.mean(axis=1, keepdims=True)) * np.hanning(width)
    density = np.abs(np.fft.rfft(tapered, axis=1)) ** 2
    frequencies = np.fft.rfftfreq(width, 1 / rate_hz)
    low = (frequencies >= MOTION_LOW_HZ) & (frequencies < filters.LOW_HZ)
    band = (frequencies >= filters.LOW_HZ) & (frequencies <= filters.upper_hz(rate_hz))
    return density[:, low].sum(axis=1), density[:, band].sum(axis=1)


def mains_fault(x_rest: np.ndarray, rate_hz: float, channel: int) -> Fault | None:
    """Advice when 50 or 60 Hz with its multiples makes more than half of the power in the pass band at rest."""
    if len(x_rest) < filters.SEGMENT_S * rate_hz:
        return None
    frequencies, density = filters.spectrum(x_rest, rate_hz)
    inside = (frequencies >= filters.LOW_HZ) & (frequencies <= filters.upper_hz(rate_hz))
    shares = {base: _share(frequencies, density, inside, base, rate_hz) for base in filters.MAINS_HZ}
    base = max(shares, key=shares.get)
    if shares[base] <= MAINS_REST_SHARE:
        return None
    return Fault("mains", None, channel, figures={"mains_hz": base, "percent": 100 * shares[base]})


def _share(frequencies, density, inside, base, rate_hz):
    lines = np.arange(base, filters.upper_hz(rate_hz), base)
    near = (np.abs(frequencies[:, None] - lines) <= filters.LINE_HALF_WIDTH_HZ).any(axis=1)
    return float(density[near & inside].sum() / density[inside].sum())


def cue_faults(recording: Recording, cues, channel: int) -> list[Fault]:
    """What the cues of one channel lack: a place inside the recording, rest, a second level."""
    meant = [cue for cue in cues if cue.channel == channel or cue.level == REST]
    outside = [cue for cue in meant if not is_inside(cue, recording)]
    faults = [Fault("cue_outside", outside[0].start_s, channel, figures={"cues": len(outside)})] if outside else []
    inside = [cue for cue in meant if cue not in outside]
    if sum(cue.end_s - cue.start_s for cue in inside if cue.level == REST) < SHORTEST_REST_S:
        return [*faults, Fault("no_rest", None, channel, REFUSED, {"least_s": SHORTEST_REST_S})]
    held = {cue.level for cue in inside}
    if held == {REST}:
        return [*faults, Fault("only_rest", None, channel, REFUSED)]
    missing = [level for level in LEVELS if level not in held]
    return [*faults, Fault("level_missing", None, channel, figures={"levels": missing})] if missing else faults
