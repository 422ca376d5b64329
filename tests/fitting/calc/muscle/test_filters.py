"""Filter against pyemgpipeline's figures; mains lines against signals made to have them.

The figures were written by pyemgpipeline 1.0.0 in an environment of its own, as the file's first line says: the package
installs a top-level `tests` that would hide this one.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.muscle import filters

GOLDEN = Path(__file__).parents[3] / "golden" / "muscle_filter_envelope.csv"


def golden(rate_hz):
    with GOLDEN.open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    rows = [row for row in rows if float(row["rate_hz"]) == rate_hz]
    return tuple(np.array([float(row[name]) for row in rows]) for name in ("signal", "band_passed", "envelope"))


@pytest.mark.parametrize("rate_hz", [1000.0, 2000.0])
def test_zero_phase_band_pass_agrees_with_the_reference_library(rate_hz):
    x, expected, _ = golden(rate_hz)
    assert len(x) == 800
    np.testing.assert_allclose(filters.band_pass(x, rate_hz, causal=False), expected, rtol=0, atol=1e-12)


@pytest.mark.parametrize(("rate_hz", "expected"), [(2000, 450), (1000, 450), (800, 360), (500, 225)])
def test_upper_edge_is_450_or_0_45_of_the_rate(rate_hz, expected):
    assert filters.upper_hz(rate_hz) == expected


@pytest.mark.parametrize("causal", [True, False])
@pytest.mark.parametrize(("hz", "passes"), [(2, 0), (100, 1), (200, 1), (900, 0)])
def test_band_pass_keeps_the_band_and_nothing_else(causal, hz, passes):
    t = np.arange(8000) / 2000
    y = filters.band_pass(np.sin(2 * np.pi * hz * t), 2000, causal)[2000:6000]
    assert np.sqrt(2) * y.std() == pytest.approx(passes, abs=0.03)


def test_the_causal_filter_does_not_see_ahead():
    x = np.random.default_rng(1).standard_normal(2000)
    whole, part = filters.band_pass(x, 1000, True), filters.band_pass(x[:900], 1000, True)
    np.testing.assert_array_equal(whole[:900], part)


def noisy(amplitudes_by_hz, seconds=6, rate_hz=1000):
    t = np.arange(seconds * rate_hz) / rate_hz
    x = np.random.default_rng(3).standard_normal(len(t))
    return x + sum(amplitude * np.sin(2 * np.pi * hz * t) for hz, amplitude in amplitudes_by_hz.items())


def line_db(amplitude, rate_hz=1000):
    """Height of a sine over unit white noise in the spectrum used, by the Hann window's equivalent width [dB]."""
    width_hz = 1.5 / filters.SEGMENT_S
    return 10 * np.log10(amplitude**2 / 2 / width_hz / (2 / rate_hz))


@pytest.mark.parametrize("hz", [50.0, 60.0, 150.0, 180.0])
def test_a_line_well_above_12_db_is_found_and_taken_out(hz):
    assert line_db(0.7) > 18
    x = noisy({hz: 0.7})
    assert filters.mains_lines(x, 1000) == (hz,)
    y = filters.notch(x, 1000, (hz,), causal=False)
    assert filters.mains_lines(y, 1000) == ()
    assert y.std() == pytest.approx(noisy({}).std(), rel=0.02)


def test_a_line_well_below_12_db_is_left_alone():
    assert line_db(0.1) < 7
    assert filters.mains_lines(noisy({50.0: 0.1}), 1000) == ()


def test_a_line_off_the_mains_is_left_alone():
    assert filters.mains_lines(noisy({75.0: 2.0}), 1000) == ()


def test_no_lines_are_sought_below_two_seconds():
    assert filters.mains_lines(noisy({50.0: 2.0}, seconds=1), 1000) == ()


def test_every_mains_multiple_stands_once():
    harmonics = filters.mains_harmonics(2000)
    assert list(harmonics[:4]) == [50, 60, 100, 120]
    assert len(set(harmonics)) == len(harmonics)
    assert harmonics.max() < 450


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3))
def test_cleaning_ignores_an_offset_and_scales_with_the_signal(offset, factor):
    x = noisy({}, seconds=1)
    expected = filters.clean(x, 1000, (50.0,), causal=True) * factor
    got = filters.clean(x * factor + offset, 1000, (50.0,), causal=True)
    np.testing.assert_allclose(got, expected, rtol=0, atol=1e-9 * (factor + abs(offset)))
