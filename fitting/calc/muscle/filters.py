"""Band-pass and notch of a muscle signal: zero-phase for the report, causal for thresholds."""

from collections.abc import Sequence

import numpy as np
from scipy import signal

LOW_HZ, HIGH_HZ, HIGH_SHARE = 20.0, 450.0, 0.45  # 20 Hz to 450 Hz or 0.45 of the rate; SENIAM, ISEK
ORDER = 4  # effective: second order run twice, or fourth order run once

MAINS_HZ = (50.0, 60.0)
NOTCH_Q = 30.0
LINE_DB = 12.0  # a mains line is notched where it stands this far above its neighbours
LINE_HALF_WIDTH_HZ = 1.0  # the line itself
NEIGHBOURS_HZ = (2.0, 8.0)  # distance of its neighbours
SEGMENT_S = 2.0  # of the spectrum: half a hertz apart


def upper_hz(rate_hz: float) -> float:
    """Upper edge of the pass band [Hz] at a sampling rate [Hz]."""
    return min(HIGH_HZ, HIGH_SHARE * rate_hz)


def band_pass(x: np.ndarray, rate_hz: float, causal: bool) -> np.ndarray:
    """Butterworth band-pass of effective order 4, along axis 0; causal, or zero-phase by filtering both ways."""
    edges = (LOW_HZ, upper_hz(rate_hz))
    if causal:
        return signal.sosfilt(signal.butter(ORDER, edges, "bandpass", fs=rate_hz, output="sos"), x, axis=0)
    return signal.sosfiltfilt(signal.butter(ORDER // 2, edges, "bandpass", fs=rate_hz, output="sos"), x, axis=0)


def spectrum(x: np.ndarray, rate_hz: float) -> tuple[np.ndarray, np.ndarray]:
    """Welch's estimate for one channel: frequencies [Hz] and power density [unit squared per Hz]."""
    return signal.welch(x, rate_hz, nperseg=min(len(x), round(SEGMENT_S * rate_hz)), detrend="constant")


def mains_harmonics(rate_hz: float) -> np.ndarray:
    """Mains frequencies and their multiples inside the pass band [Hz], each once."""
    top = upper_hz(rate_hz)
    return np.unique(np.concatenate([np.arange(base, top, base) for base in MAINS_HZ]))


def mains_lines(x: np.ndarray, rate_hz: float) -> tuple[float, ...]:
    """Mains lines that stand more than 12 dB above their neighbours in one channel [Hz]; none below 2 s of signal."""
    if len(x) < SEGMENT_S * rate_hz:
        return ()
    frequencies, density = spectrum(x, rate_hz)
    return tuple(float(line) for line in mains_harmonics(rate_hz) if _stands_out(frequencies, density, line))


def _stands_out(frequencies, density, line) -> bool:
    distance = np.abs(frequencies - line)
    near, far = NEIGHBOURS_HZ
    peak = density[distance <= LINE_HALF_WIDTH_HZ].max()
    floor = np.median(density[(distance >= near) & (distance <= far)])
    return bool(peak > floor * 10 ** (LINE_DB / 10))


def notch(x: np.ndarray, rate_hz: float, lines_hz: Sequence[float], causal: bool) -> np.ndarray:
    """Take the given lines out, Q 30, along axis 0."""
    for line in lines_hz:
        b, a = signal.iirnotch(line, NOTCH_Q, rate_hz)
        x = signal.lfilter(b, a, x, axis=0) if causal else signal.filtfilt(b, a, x, axis=0)
    return x


def clean(x: np.ndarray, rate_hz: float, lines_hz: Sequence[float], causal: bool) -> np.ndarray:
    """Step 1 for one channel: median off, band-pass, notch of the lines found."""
    return notch(band_pass(x - np.median(x), rate_hz, causal), rate_hz, lines_hz, causal)
