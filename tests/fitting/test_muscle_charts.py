import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.muscle.controller import TradeOff
from fitting.calc.muscle.site_test import site_test
from fitting.muscle_charts import BOTTOM, CUES, ENVELOPE, LEFT, RIGHT, SIGNAL, TRADE, signal_chart, trade_off_chart
from fitting.muscle_inputs import channel_of, result_of
from tests.fitting.muscle_simulator import simulate


@pytest.fixture(scope="module")
def result():
    site = simulate(seed=3, repetitions=2, hold_s=2, rate_hz=1000)
    return result_of(site_test(site.recording, site.cues), site.recording, site.cues)


def chart_of(result, boundaries=None):
    figures = channel_of(result, 0)
    return signal_chart(result, figures, 0, figures["fitted"] if boundaries is None else boundaries)


def test_bands_fill_the_envelope_panel_and_meet_at_the_boundaries(result):
    chart = chart_of(result)
    assert [band.level for band in chart.bands] == ["rest", "light", "medium", "hard"]
    assert chart.bands[0].y + chart.bands[0].height == pytest.approx(ENVELOPE[1])
    assert chart.bands[-1].y == pytest.approx(ENVELOPE[0])
    for lower, upper, line in zip(chart.bands, chart.bands[1:], chart.boundaries, strict=False):
        assert lower.y == pytest.approx(upper.y + upper.height) == pytest.approx(line.y)


@given(st.lists(st.floats(1e-4, 2), min_size=3, max_size=3).map(sorted))
def test_a_line_dragged_to_its_place_gives_its_value_back(result, boundaries):
    """The script turns a height into a value with the figures the picture carries; the same sum here."""
    chart = chart_of(result, boundaries)
    for line, value in zip(chart.boundaries, boundaries, strict=True):
        share = (chart.bottom - line.y) / (chart.bottom - chart.top)
        assert math.exp(chart.low_ln + share * (chart.high_ln - chart.low_ln)) == pytest.approx(value)


def test_everything_stays_on_the_picture(result):
    chart = chart_of(result)
    for point in chart.rms.split():
        x, y = map(float, point.split(","))
        assert LEFT <= x <= RIGHT
        assert ENVELOPE[0] <= y <= ENVELOPE[1]
    assert all(box.x >= LEFT and box.x + box.width <= RIGHT + 1e-6 for box in chart.cues)
    assert all(LEFT <= tick.at <= RIGHT for tick in chart.x_ticks)
    assert all(ENVELOPE[0] <= tick.at <= ENVELOPE[1] for tick in chart.y_ticks)
    assert CUES[1] < SIGNAL[0] < SIGNAL[1] < ENVELOPE[0] < ENVELOPE[1] < BOTTOM


def test_cues_carry_their_word_where_there_is_room(result):
    words = [box.word for box in chart_of(result).cues]
    assert words == ["rest", "light", "medium", "hard"] * 2


def test_the_description_says_the_boundaries(result):
    chart = chart_of(result, (0.01, 0.05, 0.2))
    assert chart.desc == (
        "16 seconds, 1000 samples a second. light from 0.01 mV. medium from 0.05 mV. hard from 0.2 mV."
    )


def test_a_channel_without_figures_has_a_picture_without_bands(result):
    chart = signal_chart(result, None, 0, ())
    assert (chart.bands, chart.boundaries) == ((), ())
    assert chart.rms


@given(
    st.floats(-100, 100),
    st.floats(2, 600),
)
def test_seconds_are_marked_a_few_times_and_inside(start_s, duration_s):
    result = {
        "unit": "mV", "rate_hz": 1000.0, "start_s": start_s, "duration_s": duration_s, "cues": [],
        "traces": {"0": {"low": [-1.0], "high": [1.0], "rms": [0.5]}},
    }  # fmt: skip
    ticks = signal_chart(result, None, 0, ()).x_ticks
    assert 1 <= len(ticks) <= 13
    assert all(start_s - 1e-6 <= float(tick.word) <= start_s + duration_s + 1e-6 for tick in ticks)


def rows():
    return [TradeOff(h, d, 0.1, 10 - h * 10 - d / 60, 300.0 + d) for h in (0.0, 0.1) for d in (0, 60)]


def test_every_choice_is_a_point_and_the_chosen_one_is_drawn_last():
    chart = trade_off_chart(rows(), 0.1, 60)
    assert len(chart.points) == 4
    assert [point.chosen for point in chart.points] == [False, False, False, True]
    assert {point.shape for point in chart.points} == {shape for _ln, shape in chart.keys}
    assert all(TRADE["left"] <= p.x <= TRADE["right"] and TRADE["top"] <= p.y <= TRADE["bottom"] for p in chart.points)


def test_more_delay_is_further_right_and_more_switches_further_up():
    points = [point for point in trade_off_chart(rows(), 0, 0).points if point.row.hysteresis_ln == 0]
    quick, slow = sorted(points, key=lambda point: point.row.debounce_ms)
    assert quick.x < slow.x
    assert quick.y < slow.y


def test_a_choice_that_never_reaches_a_level_has_no_point():
    assert trade_off_chart([TradeOff(0.1, 60, 0.5, 0.0, None)], 0.1, 60).points == ()
