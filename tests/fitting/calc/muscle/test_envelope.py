"""Envelopes: the smooth one against pyemgpipeline's figures, the trailing one against a slow twin."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from fitting.calc.muscle import envelope

GOLDEN = Path(__file__).parents[3] / "golden" / "muscle_filter_envelope.csv"


@pytest.mark.parametrize("rate_hz", [1000.0, 2000.0])
def test_smooth_envelope_agrees_with_the_reference_library(rate_hz):
    with GOLDEN.open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    rows = [row for row in rows if float(row["rate_hz"]) == rate_hz]
    x, expected = (np.array([float(row[name]) for row in rows]) for name in ("band_passed", "envelope"))
    np.testing.assert_allclose(envelope.smooth(x, rate_hz), expected, rtol=0, atol=1e-12)


def slow_rms(x, width):
    return np.array([np.sqrt(np.mean(x[max(0, i - width + 1) : i + 1] ** 2)) for i in range(len(x))])


signals = hnp.arrays(float, st.integers(1, 60), elements=st.floats(-100, 100))


@given(signals, st.sampled_from([4.0, 10.0, 40.0]))
def test_trailing_rms_agrees_with_the_slow_way(x, rate_hz):
    expected = slow_rms(x, max(1, round(0.25 * rate_hz)))
    np.testing.assert_allclose(envelope.trailing_rms(x, rate_hz), expected, rtol=0, atol=1e-4)


def test_trailing_rms_stays_exact_after_a_strong_contraction():
    x = np.random.default_rng(2).standard_normal(20000)
    x[:10000] *= 1000
    np.testing.assert_allclose(envelope.trailing_rms(x, 1000)[-500:], slow_rms(x, 250)[-500:], rtol=1e-6)


def test_a_steady_signal_has_its_own_rms():
    x = np.where(np.arange(3000) % 2, 0.3, -0.3)
    np.testing.assert_allclose(envelope.trailing_rms(x, 1000), 0.3, rtol=1e-9)
    np.testing.assert_allclose(envelope.smooth(x, 1000), 0.3, rtol=1e-9)


@given(signals)
def test_the_trailing_window_does_not_see_ahead(x):
    whole = envelope.trailing_rms(x, 40.0)
    np.testing.assert_array_equal(whole[: len(x) // 2], envelope.trailing_rms(x[: len(x) // 2], 40.0))
