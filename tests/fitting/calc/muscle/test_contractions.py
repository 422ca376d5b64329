import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.muscle.contractions import Rest, _is_on, contractions_of, on_off_levels, rest_of

RATE_HZ = 100


def steps(*parts):
    """Envelope of constant stretches: (value, seconds) ..."""
    x = np.concatenate([np.full(round(seconds * RATE_HZ), float(value)) for value, seconds in parts])
    return np.arange(len(x)) / RATE_HZ, x


def test_rest_is_the_median_and_1_4826_mad():
    assert rest_of(np.array([1.0, 2, 3, 4, 100])) == Rest(3.0, pytest.approx(1.4826))


def test_mad_estimates_the_sd_of_normal_noise():
    assert rest_of(np.random.default_rng(0).normal(5, 2, 100_000)).sd == pytest.approx(2, rel=0.02)


@pytest.mark.parametrize(
    ("rest", "top", "expected"),
    [
        (Rest(1.0, 0.5), 2.0, 3.5),  # five times the noise
        (Rest(1.0, 0.0), 2.0, 1.41),  # 1.41 times the level
        (Rest(1.0, 0.1), 21.0, 3.0),  # a tenth of the way to the 95th percentile
    ],
)
def test_on_is_the_largest_of_three_and_off_lies_halfway_back(rest, top, expected):
    on, off = on_off_levels(rest, np.full(10, top))
    assert on == pytest.approx(expected)
    assert off == pytest.approx(rest.median + (expected - rest.median) / 2)


def found(*parts):
    return [(c.start_s, c.end_s, c.peak) for c in contractions_of(*steps(*parts), on=2.0, off=1.0)]


def test_a_contraction_runs_from_on_to_below_off():
    assert found((0, 1), (3, 1), (1.5, 0.5), (0, 1)) == [(1.0, 2.49, 3.0)]


def test_below_on_nothing_starts():
    assert found((0, 1), (1.9, 2), (0, 1)) == []


def test_shorter_than_200_ms_is_none():
    assert found((0, 1), (3, 0.19), (0, 1)) == []
    assert len(found((0, 1), (3, 0.22), (0, 1))) == 1


def test_gaps_below_250_ms_are_bridged_and_longer_ones_are_not():
    assert found((0, 1), (3, 0.5), (0, 0.2), (5, 0.5), (0, 1)) == [(1.0, 2.19, 5.0)]
    assert len(found((0, 1), (3, 0.5), (0, 0.3), (5, 0.5), (0, 1))) == 2


def test_two_short_bursts_close_together_count_as_one():
    assert found((0, 1), (3, 0.15), (0, 0.1), (3, 0.15), (0, 1)) == [(1.0, 1.39, 3.0)]


def test_a_contraction_may_run_to_the_end():
    assert found((0, 1), (3, 1)) == [(1.0, 1.99, 3.0)]


def slow_is_on(envelope, on, off):
    state, out = False, []
    for value in envelope:
        if value >= on:
            state = True
        elif value < off:
            state = False
        out.append(state)
    return out


@given(st.lists(st.floats(0, 3), min_size=1, max_size=80))
def test_hysteresis_agrees_with_the_slow_way(values):
    assert _is_on(np.array(values), 2.0, 1.0).tolist() == slow_is_on(values, 2.0, 1.0)


@given(st.lists(st.floats(0, 3), min_size=2, max_size=300))
def test_contractions_are_in_order_apart_and_long_enough(values):
    runs = contractions_of(np.arange(len(values)) / RATE_HZ, np.array(values), 2.0, 1.0)
    assert all(run.end_s - run.start_s >= 0.2 and run.peak >= 2.0 for run in runs)
    assert all(b.start_s - a.end_s >= 0.25 for a, b in zip(runs, runs[1:], strict=False))
