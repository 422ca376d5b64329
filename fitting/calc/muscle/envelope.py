"""Envelopes of a band-passed signal: a trailing RMS for thresholds, a smooth one for detection."""

import numpy as np
from scipy import signal

WINDOW_S = 0.250  # trailing RMS; 100-250 ms, from memory
SMOOTH_HZ, SMOOTH_ORDER = 5.0, 4  # rectify and low-pass at 2-6 Hz, from memory; effective order, filtered both ways


def trailing_rms(x: np.ndarray, rate_hz: float) -> np.ndarray:
    """RMS over the last 250 ms at each sample of one channel; at the start over what there is."""
    width = max(1, round(WINDOW_S * rate_hz))
    total = np.cumsum(x**2)
    inside = total.copy()
    inside[width:] -= total[:-width]
    return np.sqrt(np.maximum(inside, 0) / np.minimum(np.arange(1, len(x) + 1), width))


def smooth(x: np.ndarray, rate_hz: float) -> np.ndarray:
    """Rectified signal, low-passed at 5 Hz without delay, along axis 0."""
    sos = signal.butter(SMOOTH_ORDER // 2, SMOOTH_HZ, fs=rate_hz, output="sos")
    return signal.sosfiltfilt(sos, np.abs(x), axis=0)
