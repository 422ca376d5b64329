from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from django.template.loader import render_to_string
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from fitting import chart_axes, charts, growth_charts
from fitting.chart_axes import Scale
from fitting.models import Forecast
from patients.models import Child, Limb

TODAY = date(2026, 5, 4)
ORIGIN = date(2026, 4, 20)
MONTHS = 37


def fan(start_mm=150.0, per_month=0.5, threshold_mm=158.0):
    middle = [start_mm + per_month * month for month in range(MONTHS)]
    spread = {"q2.5": -3, "q10": -2, "q25": -1, "q50": 0, "q75": 1, "q90": 2, "q97.5": 3}
    return {
        "origin": ORIGIN.isoformat(),
        "part": "girth:60",
        "threshold_mm": threshold_mm,
        "days": [round(30.4375 * month) for month in range(MONTHS)],
    } | {key: [mm + shift * (1 + month / 12) for month, mm in enumerate(middle)] for key, shift in spread.items()}


def room(station_mm, girth_mm, capacity_mm, full_mm):
    left = None if girth_mm is None else capacity_mm - girth_mm
    return {
        "part": f"girth:{station_mm}",
        "station_mm": float(station_mm),
        "girth_mm": girth_mm,
        "capacity_mm": capacity_mm,
        "full_mm": full_mm,
        "room_mm": left,
        "early": None,
        "likely": None,
        "late": None,
    }


def forecast(**fields):
    limb = Limb(level=Limb.Level.TRANSRADIAL, side=Limb.Side.LEFT)
    defaults = {
        "pk": 7,
        "as_of": TODAY,
        "early": date(2027, 3, 1),
        "likely": date(2027, 8, 1),
        "late": date(2028, 2, 1),
        "fan": fan(),
    }
    return Forecast(limb=limb, **{**defaults, **fields})


READINGS = [(date(2025, 10, 1), 147.0), (ORIGIN, 150.5)]


def drawn(template, chart):
    return ElementTree.fromstring(render_to_string(f"fitting/{template}", {"chart": chart}).strip())


def places(points):
    return [tuple(map(float, pair.split(","))) for pair in points.split()]


def test_without_a_fan_there_is_no_picture():
    assert charts.fan_chart(forecast(fan={}), [], "mm", TODAY) is None


def test_readings_and_the_line_of_what_the_socket_holds_share_one_scale():
    chart = charts.fan_chart(forecast(), READINGS, "mm", TODAY)
    by_mm = {float(tick.label): tick.at for tick in chart.y_ticks}
    (low, low_y), (high, high_y) = min(by_mm.items()), max(by_mm.items())

    def read(y):
        return low + (y - low_y) * (high - low) / (high_y - low_y)

    assert read(chart.holds_y) == pytest.approx(158.0, abs=0.1)
    assert [read(stroke.y) for stroke in chart.readings] == pytest.approx([147.0, 150.5], abs=0.1)
    assert read(places(chart.median)[0][1]) == pytest.approx(150.0, abs=0.1)


def test_the_bands_lie_within_each_other():
    chart = charts.fan_chart(forecast(), READINGS, "mm", TODAY)
    lowest = [max(y for _x, y in places(band)) for band in chart.bands]
    highest = [min(y for _x, y in places(band)) for band in chart.bands]
    assert lowest == sorted(lowest, reverse=True)
    assert highest == sorted(highest)


def test_the_three_dates_are_marked_in_order_and_named():
    chart = charts.fan_chart(forecast(), READINGS, "mm", TODAY)
    assert [(mark.word, mark.day) for mark in chart.marks] == [
        ("early", "1 Mar 2027"),
        ("likely", "1 Aug 2027"),
        ("late", "1 Feb 2028"),
    ]
    assert [mark.x for mark in chart.marks] == sorted(mark.x for mark in chart.marks)


@pytest.mark.parametrize("early_in_days", [10, 60, 200, 500, 900])
def test_no_line_of_a_mark_runs_through_the_label_of_another(early_in_days):
    days = [TODAY + timedelta(days=early_in_days + more) for more in (0, 60, 120)]
    chart = charts.fan_chart(forecast(early=days[0], likely=days[1], late=days[2]), READINGS, "mm", TODAY)
    assert len(chart.marks) == 3
    for mark in chart.marks:
        start = mark.label_x - (charts.LABEL_WIDTH if mark.anchor == "end" else 0)
        assert start >= 0
        assert start + charts.LABEL_WIDTH <= chart.width
        above = [other.x for other in chart.marks if other.label_y < mark.label_y]
        assert not [x for x in above if start < x < start + charts.LABEL_WIDTH - 30], mark


def test_dates_beyond_the_picture_are_left_to_the_list():
    chart = charts.fan_chart(forecast(late=date(2031, 1, 1)), READINGS, "mm", TODAY)
    assert [mark.word for mark in chart.marks] == ["early", "likely"]


def test_a_picture_ends_soon_after_the_last_date_but_shows_a_year():
    soon = charts.fan_chart(forecast(early=TODAY, likely=TODAY, late=TODAY), READINGS, "mm", TODAY)
    last = date.fromordinal(ORIGIN.toordinal() + 365)
    assert soon.rows[-1]["day"] > last  # the table still goes to the end
    assert len(places(soon.median)) == 14


def test_the_fan_is_told_in_words_and_as_a_table():
    chart = charts.fan_chart(forecast(), READINGS, "cm", TODAY)
    assert chart.title == "Forecast of the girth 6.0 cm from the cubital fold"
    assert chart.desc.startswith(
        "Estimated size at the last reading about 15.0 cm; in 25 months likely 16.2 cm, eight times in ten between"
    )
    assert chart.desc.endswith("The socket is outgrown here above 15.8 cm.")
    assert chart.rows[0] == {"day": ORIGIN, "low": "14.8 cm", "mid": "15.0 cm", "high": "15.2 cm"}
    assert len(chart.rows) == 13


def test_both_pictures_name_what_the_socket_holds_and_when_it_is_outgrown():
    rooms = [room(60, 150.0, 147.0, 154.0) | {"outgrown_above_mm": 158.0}]
    told = forecast(room=rooms)
    both = (
        "With every layer out the socket holds 154 mm here; it counts as outgrown above 158 mm, "
        "a tolerance of 4 mm more."
    )
    fan_picture, room_picture = charts.fan_chart(told, READINGS, "mm", TODAY), charts.room_chart(told, "mm")
    assert (fan_picture.holds, fan_picture.held) == ("outgrown above 158 mm", "holds 154 mm")
    assert fan_picture.desc.endswith(both)
    assert room_picture.desc == (
        f"Least at the station 60 mm: -3 mm, counted to the 147 mm the socket holds as worn. {both}"
    )


def test_old_readings_do_not_squeeze_the_picture():
    old = charts.fan_chart(forecast(), [(date(2020, 1, 1), 100.0), *READINGS], "mm", TODAY)
    assert len(old.readings) == 2


def test_room_left_stands_on_the_line_and_what_is_passed_hangs_below():
    rooms = [room(0, 150.0, 156.0, 162.0), room(25, 150.0, 147.0, 147.0), room(50, None, 140.0, 140.0)]
    chart = charts.room_chart(forecast(room=rooms), "mm")
    first, second = chart.bars
    assert (first.value, first.full, first.over) == ("6 mm", "12 mm", False)
    assert (second.value, second.full, second.over) == ("-3 mm", "", True)
    assert first.top + first.height == pytest.approx(chart.zero_y)
    assert second.top == pytest.approx(chart.zero_y)
    assert first.layer_height == pytest.approx(first.height, abs=0.2)
    assert chart.desc == "Least at the station 25 mm: -3 mm, counted to the 147 mm the socket holds as worn."
    assert chart.landmark == "cubital fold"


def test_without_a_measured_station_there_is_no_room_to_draw():
    assert charts.room_chart(forecast(room=[room(0, None, 150.0, 150.0)]), "mm") is None
    assert charts.room_chart(forecast(room=[]), "mm") is None


@given(st.lists(st.tuples(st.floats(-30, 60), st.floats(0, 20)), min_size=1, max_size=10))
def test_every_bar_stays_on_the_ground(rooms):
    rows = [room(i * 25, 150.0, 150.0 + left, 150.0 + left + layers) for i, (left, layers) in enumerate(rooms)]
    chart = charts.room_chart(forecast(room=rows), "mm")
    for bar in chart.bars:
        assert chart.left <= bar.x
        assert bar.x + bar.width <= chart.right
        assert bar.top >= chart.top - 0.2
        assert not bar.full or chart.top - 0.2 <= bar.layer_top <= bar.top + bar.height + 0.2
        assert bar.top + bar.height <= chart.bottom + 0.2


GIRL = Child(pk=3, birth_date=date(2018, 3, 14), growth_reference="F", given_name="A", family_name="B")


def girl_at(months):
    return GIRL.birth_date + timedelta(days=round(months * 30.4375))


# Centiles printed for girls in the CDC 2000 stature table (Kuczmarski et al. 2002), months and mm.
PRINTED = ((48.5, 50, 1010.3393), (84.5, 3, 1118.6836), (120.5, 90, 1470.3222))


@pytest.mark.parametrize(("months", "centile", "height_mm"), PRINTED)
def test_a_printed_height_lies_on_its_line(months, centile, height_mm):
    chart = growth_charts.stature_chart(GIRL, [(girl_at(months), height_mm)], "mm")
    assert float(chart.rows[0]["centile"]) == centile
    line = chart.lines[growth_charts.CENTILES.index(centile)]
    dot = chart.dots[0]
    (x1, y1), (x2, y2) = sorted(sorted(places(line.points), key=lambda place: abs(place[0] - dot.x))[:2])
    assert y1 + (y2 - y1) * (dot.x - x1) / (x2 - x1) == pytest.approx(dot.y, abs=0.6)


def test_heights_outside_the_reference_are_left_out():
    assert growth_charts.stature_chart(GIRL, [(girl_at(260), 1600.0)], "mm") is None
    assert growth_charts.stature_chart(GIRL, [], "mm") is None


def test_lying_length_is_used_before_two_years_and_the_chart_says_so():
    chart = growth_charts.stature_chart(GIRL, [(girl_at(12), 740.0)], "mm")
    assert chart.reading_note.endswith("Lying length before 24 months, standing height after.")
    older = growth_charts.stature_chart(GIRL, [(girl_at(96), 1280.0)], "mm")
    assert "Lying" not in older.reading_note


def test_growth_a_year_is_never_taken_over_less_than_half_a_year():
    heights = [(girl_at(months), 1200.0 + months) for months in (90, 92, 95, 101, 103, 108)]
    steps = growth_charts.yearly_steps(heights)
    spans = [round((later[0] - earlier[0]).days / 30.4375) for earlier, later in steps]
    assert spans == [11, 11, 13]  # 101 from 90, 103 from 92 (as near a year as 90), 108 from 95
    assert min(spans) >= 6
    assert growth_charts.velocity_chart(GIRL, heights[:3], 5.0, "mm") is None


def test_growth_a_year_is_plain_arithmetic_over_a_year():
    heights = [(girl_at(84), 1200.0), (girl_at(96), 1262.0)]
    chart = growth_charts.velocity_chart(GIRL, heights, 5.0, "mm")
    assert chart.rows[0]["speed"] == "62 mm a year"
    assert chart.desc.endswith(": 62 mm a year.")


def test_a_difference_within_the_error_of_reading_is_not_called_growth():
    """2.77 x TEM of 5 mm is 13.9 mm (Br J Nutr 1999;82:165)."""
    chart = growth_charts.velocity_chart(GIRL, [(girl_at(180), 1600.0), (girl_at(192), 1613.0)], 5.0, "mm")
    assert chart.rows[0]["speed"] == "no more than the error of reading"


def test_what_is_expected_of_growth_is_said_with_its_doubt():
    """Mid-parental height of a girl with parents of 180 and 165 cm: 166 cm (from memory)."""
    child = Child(birth_date=GIRL.birth_date, growth_reference="F", mother_stature_mm=1650, father_stature_mm=1800)
    said = list(growth_charts.expectations(child, [(girl_at(120), 1380.0)], "cm"))
    assert said[0].startswith("From the parents' heights, adult height about 166.0 cm, give or take 8.5 cm")
    assert said[1].startswith("Fastest growth at about 1")
    assert list(growth_charts.expectations(GIRL, [(girl_at(60), 1100.0)], "cm")) == []


def pictures():
    heights = [(girl_at(84), 1200.0), (girl_at(96), 1262.0)]
    rooms = [room(0, 150.0, 156.0, 162.0), room(25, 150.0, 147.0, 147.0)]
    return {
        "fan": ("_fan.svg", charts.fan_chart(forecast(), READINGS, "cm", TODAY)),
        "room": ("_room_left.svg", charts.room_chart(forecast(room=rooms), "cm")),
        "stature": ("_stature.svg", growth_charts.stature_chart(GIRL, heights, "cm")),
        "velocity": ("_stature.svg", growth_charts.velocity_chart(GIRL, heights, 5.0, "cm")),
    }


@pytest.mark.parametrize("name", ["fan", "room", "stature", "velocity"])
@pytest.mark.parametrize("language", ["en", "es"])
def test_pictures_are_sound_named_and_free_of_inline_style_in_every_language(name, language):
    with translation.override(language):
        template, chart = pictures()[name]
        svg = drawn(template, chart)
    assert svg.find("title").text == chart.title
    assert svg.find("desc").text == chart.desc
    ids = {element.get("id") for element in svg.iter() if element.get("id")}
    assert set(svg.get("aria-labelledby").split()) <= ids
    assert not [element for element in svg.iter() if element.get("style")]
    numbers = ("x", "y", "width", "height", "points", "d", "viewBox")
    assert "," not in "".join(element.get(key, "") for element in svg.iter() for key in numbers if key != "points")


@given(
    st.floats(-1e4, 1e4).flatmap(lambda low: st.tuples(st.just(low), st.floats(low + 0.5, low + 5e3))),
    st.integers(2, 8),
)
def test_ticks_are_round_even_and_within_the_scale(ends, about):
    low, high = ends
    values = chart_axes.round_values(low, high, about)
    steps = {round(b - a, 6) for a, b in zip(values, values[1:], strict=False)}
    assert len(steps) <= 1
    assert len(values) <= about + 1
    assert all(low - 1e-6 <= value <= high + 1e-6 for value in values)


def test_ticks_are_round_in_the_readers_unit():
    scale = Scale(100.0, 160.0, 300, 0)
    assert [tick.label for tick in chart_axes.length_ticks(scale, "mm")] == ["100", "120", "140", "160"]
    assert [tick.label for tick in chart_axes.length_ticks(scale, "in")] == ["4", "4.5", "5", "5.5", "6"]
    assert chart_axes.length_ticks(scale, "in")[0].at == pytest.approx(300 - 1.6 / 60 * 300, abs=0.06)


@pytest.mark.parametrize(
    ("number", "said"), [(0.1 + 0.2, "0.3"), (2.9999999999, "3"), (2.25, "2.25"), (150.0, "150"), (-2.5, "-2.5")]
)
def test_tick_labels_are_as_short_as_they_are_exact(number, said):
    assert chart_axes.plain(number) == said


def test_a_hair_of_room_lacking_is_not_written_as_minus_zero():
    chart = charts.room_chart(forecast(room=[room(0, 150.0, 149.8, 149.8)]), "mm")
    assert chart.bars[0].value == "0 mm"


def test_month_ticks_are_few_and_at_firsts_of_a_month():
    days = Scale(date(2025, 11, 12).toordinal(), date(2029, 1, 20).toordinal(), 0, 400)
    labels = [tick.label for tick in chart_axes.month_ticks(days)]
    assert labels == ["Jan 2026", "Jan 2027", "Jan 2028"]  # January 2029 would be cut off at the end
    weeks = Scale(date(2026, 5, 20).toordinal(), date(2026, 8, 20).toordinal(), 0, 400)
    assert [tick.label for tick in chart_axes.month_ticks(weeks)] == ["Jun 2026", "Jul 2026", "Aug 2026"]
