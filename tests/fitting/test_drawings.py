"""The limb drawing: widths are girth / pi, the child's own side, proximal end up, valid SVG in every language."""

import math
import re
from xml.etree import ElementTree

import pytest
from django.template.loader import render_to_string
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from fitting.drawings import LABEL_GAP, StationMark, limb_drawing, spread
from patients.models import Limb

SVG = "{http://www.w3.org/2000/svg}"
GIRTHS = ((0, 180), (25, 170), (50, 150))
ARM_LEVELS = [level for level in Limb.Level if level not in ("shoulder_disarticulation", "scapulothoracic")]


def drawn(level="transradial", side="right", stations=GIRTHS, residual_length_mm=70, unit="mm", lit=None):
    marks = [StationMark(*station) for station in stations]
    return limb_drawing(
        level=level, side=side, stations=marks, residual_length_mm=residual_length_mm, unit=unit, lit=lit
    )


def svg_of(drawing):
    return ElementTree.fromstring(render_to_string("fitting/_limb.svg", {"drawing": drawing}).strip())


def numbers(path):
    return [float(number) for number in re.findall(r"-?\d+\.?\d*", path)]


def tape_ends(station):
    path = numbers(station.tape)
    return (path[0], path[1]), (path[-2], path[-1])


def units_per_mm(drawing):
    return float(drawing.transform.split()[-1].rstrip(")"))


def test_a_girth_is_drawn_as_a_round_section():
    drawing = drawn()
    for (_station_mm, girth_mm), station in zip(GIRTHS, drawing.stations, strict=True):
        (left, _), (right, _) = tape_ends(station)
        assert right - left == pytest.approx(girth_mm / math.pi * units_per_mm(drawing), abs=0.2)


def test_one_scale_along_and_across():
    drawing = drawn()
    first, last = tape_ends(drawing.stations[0])[0], tape_ends(drawing.stations[-1])[0]
    assert last[1] - first[1] == pytest.approx(50 * units_per_mm(drawing), abs=0.2)
    assert drawing.scale.length == pytest.approx(50 * units_per_mm(drawing), rel=1e-3)
    assert drawing.rule_end - drawing.rule_top == pytest.approx(70 * units_per_mm(drawing), rel=1e-3)


@pytest.mark.parametrize("level", Limb.Level)
def test_left_is_the_mirror_of_right(level):
    right, left = drawn(level=level), drawn(level=level, side="left")
    assert right.outline == left.outline
    for one, other in zip(right.stations, left.stations, strict=True):
        if one.tape:
            (x, y), (x_other, y_other) = tape_ends(one)[0], tape_ends(other)[1]
            assert (x, y) == pytest.approx((400 - x_other, y_other), abs=0.11)
    assert right.places.midline_x == pytest.approx(400 - left.places.midline_x)


@pytest.mark.parametrize("level", Limb.Level)
def test_the_midline_lies_on_the_readers_right_of_a_right_limb(level):
    right = drawn(level=level).places
    left = drawn(level=level, side="left").places
    assert right.rule_x < right.midline_x < 400
    assert 0 < left.midline_x < left.rule_x


@pytest.mark.parametrize("level", ARM_LEVELS)
def test_proximal_is_above(level):
    drawing = drawn(level=level)
    ys = [tape_ends(station)[0][1] for station in drawing.stations]
    assert ys == sorted(ys)
    assert drawing.rule_top < drawing.rule_end
    assert all(84 <= y <= 500 for y in [*ys, drawing.rule_end])


@pytest.mark.parametrize("level", Limb.Level)
@pytest.mark.parametrize("side", Limb.Side)
@pytest.mark.parametrize("stations", [(), ((0, None), (20, None)), GIRTHS, ((40, 150),)])
def test_valid_svg_with_title_and_text_alternative(level, side, stations):
    drawing = drawn(level=level, side=side, stations=stations, residual_length_mm=None)
    svg = svg_of(drawing)
    named = svg.get("aria-labelledby").split()
    assert [svg.find(f"{SVG}title").get("id"), svg.find(f"{SVG}desc").get("id")] == named
    assert side.label.upper() in [text.text for text in svg.iter(f"{SVG}text")]
    assert "nan" not in ElementTree.tostring(svg, encoding="unicode").lower()


def test_words_beside_the_marks():
    texts = [text.text for text in svg_of(drawn(unit="cm")).iter(f"{SVG}text")]
    assert "from the cubital fold" in texts
    assert {"0.0 cm", "2.5 cm", "5.0 cm", "18.0 cm", "17.0 cm", "15.0 cm"} <= set(texts)
    assert "end: 7.0 cm from the medial epicondyle" in texts


def test_description_reads_the_stations():
    assert "Girth 170 mm at 25 mm from the cubital fold." in drawn().desc
    assert "Residual length 70 mm." in drawn().desc


def test_an_unmeasured_limb_says_so():
    drawing = drawn(stations=(), residual_length_mm=None)
    assert drawing.scale is None
    assert "not to scale" in drawing.desc
    assert "an outline only, not to scale" in [text.text for text in svg_of(drawing).iter(f"{SVG}text")]


def test_the_station_being_measured_is_lit():
    assert [station.lit for station in drawn(lit=25.0).stations] == [False, True, False]
    lit = svg_of(drawn(lit=25.0)).find(f"{SVG}g[@class='station lit']")
    assert lit.get("data-station") == "25"
    assert float(lit.get("stroke-width")) > 2


def test_a_station_without_a_girth_is_dashed():
    groups = svg_of(drawn(stations=((0, 180), (25, None)))).findall(f"{SVG}g[@data-station]")
    assert [group.find(f"{SVG}path").get("stroke-dasharray") for group in groups] == ["", "4 4"]


def test_coordinates_keep_the_point_in_languages_with_a_decimal_comma():
    with translation.override("es"):
        svg = svg_of(drawn())
    for element in svg.iter():
        for name in ("x", "y", "x1", "stroke-width"):
            assert "," not in element.get(name, "")
    assert "," not in svg.find(f"{SVG}g[@transform]").get("transform")


def test_upper_arm_stations_start_below_the_shoulder():
    """Residual length is from the acromion, stations from the axilla: the end is last station + 10 mm."""
    drawing = drawn(level="transhumeral", stations=((0, 200), (25, 190), (80, 170)), residual_length_mm=140)
    assert drawing.outline.end_mm == pytest.approx(90)


def test_a_residual_length_shorter_than_the_last_station_keeps_the_station_on_the_limb():
    assert drawn(residual_length_mm=30).outline.end_mm > 50


@given(
    st.lists(st.floats(0, 500), max_size=12).map(sorted),
    st.floats(1, 40),
)
def test_labels_never_touch(wanted, gap):
    placed = spread(wanted, gap)
    assert len(placed) == len(wanted)
    assert all(b - a >= gap - 1e-6 for a, b in zip(placed, placed[1:], strict=False))
    if all(b - a >= gap for a, b in zip(wanted, wanted[1:], strict=False)):
        assert placed == pytest.approx(wanted)


def test_close_stations_keep_their_labels_apart():
    drawing = drawn(stations=((0, 150), (3, 150), (6, 148), (9, 146)), residual_length_mm=40)
    ys = [station.text_y for station in drawing.stations]
    assert all(b - a >= LABEL_GAP - 1e-6 for a, b in zip(ys, ys[1:], strict=False))


@given(
    level=st.sampled_from(ARM_LEVELS),
    girths=st.lists(st.floats(60, 450), min_size=1, max_size=8),
    spacing=st.floats(5, 30),
    length=st.one_of(st.none(), st.floats(5, 400)),
)
def test_everything_stays_on_the_drawing(level, girths, spacing, length):
    stations = [(i * spacing, girth) for i, girth in enumerate(girths)]
    drawing = drawn(level=level, stations=stations, residual_length_mm=length)
    for station in drawing.stations:
        (left, top), (right, _) = tape_ends(station)
        assert drawing.places.rule_x < left < right < drawing.places.midline_x <= 400
        assert 84 <= top <= 500


def test_one_station_at_the_landmark_of_a_very_short_limb_is_drawn():
    assert drawn(level=Limb.Level.TRANSHUMERAL, stations=[(0, 180)], residual_length_mm=10).stations
