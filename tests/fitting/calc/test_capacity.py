import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.capacity import (
    Layer,
    Socket,
    SocketStation,
    capacity_now_mm,
    full_capacity_mm,
    layer_due_above_mm,
    length_limit_mm,
    outgrown_above_mm,
    tolerance_mm,
)
from fitting.calc.errors import DoorpostError
from fitting.calc.tolerances import Tolerances

OUT = date(2026, 2, 1)


def socket(station, *layers):
    return Socket(OUT, OUT, (station,), layers)


def test_layers_out_make_room():
    station = SocketStation("girth:0", 186, 180)
    worn = socket(station, Layer(1.0, OUT), Layer(2.0), Layer(1.5))
    assert capacity_now_mm(worn, station) == pytest.approx(186 + 2 * math.pi * 1.0)
    assert full_capacity_mm(worn, station) == pytest.approx(186 + 2 * math.pi * 4.5)
    assert [layer.thickness_mm for layer in worn.layers_in] == [2.0, 1.5]


def test_without_layers_now_is_full():
    station = SocketStation("girth:0", 186, 180)
    assert capacity_now_mm(socket(station), station) == full_capacity_mm(socket(station), station) == 186


def test_a_station_designed_tighter_holds_its_girth_at_cast():
    station = SocketStation("girth:0", 175, 180)
    assert capacity_now_mm(socket(station), station) == 180


def test_layers_are_measured_in_mm_and_add_up_by_thickness():
    """Three and two ply together hold more than five ply (18.3 against 8.8 % of volume, JPO 2018;30:140)."""
    station = SocketStation("girth:0", 186, 180)
    apart = full_capacity_mm(socket(station, Layer(1.2), Layer(1.0)), station)
    together = full_capacity_mm(socket(station, Layer(1.5)), station)
    assert apart > together


def test_a_layer_has_a_thickness():
    with pytest.raises(DoorpostError, match="thicker than zero"):
        Layer(0)


@pytest.mark.parametrize(("capacity", "beyond"), [(100, 3.0), (133, 3.99), (134, 4.0), (200, 4.0)])
def test_tolerance_is_the_smaller_of_percent_and_mm(capacity, beyond):
    assert tolerance_mm(capacity, Tolerances()) == pytest.approx(beyond)


def test_outgrown_is_beyond_the_tolerance_of_the_full_capacity():
    station = SocketStation("girth:0", 186, 180)
    assert outgrown_above_mm(socket(station), station, Tolerances()) == 190
    assert outgrown_above_mm(socket(station), station, Tolerances(girth_tolerance_percent=1)) == pytest.approx(187.86)


@pytest.mark.parametrize(
    ("design", "at_cast", "due"),
    [
        (186, 180, 186),  # room of its own: the layer is due when it is used up
        (180, 180, 184),  # snug: only when the limb has grown by the tolerance
        (175, 180, 184),
    ],
)
def test_a_snug_socket_does_not_lose_its_layer_on_the_first_day(design, at_cast, due):
    assert layer_due_above_mm(SocketStation("girth:0", design, at_cast), 0, Tolerances()) == due


@given(
    st.floats(min_value=60, max_value=450),
    st.floats(min_value=-10, max_value=20),
    st.lists(st.floats(min_value=0.1, max_value=5), min_size=1, max_size=4),
)
def test_the_last_layer_is_due_before_the_socket_is_outgrown(at_cast, allowance, thicknesses):
    station = SocketStation("girth:0", at_cast + allowance, at_cast)
    worn = socket(station, *map(Layer, thicknesses))
    last = layer_due_above_mm(station, sum(thicknesses[:-1]), Tolerances())
    assert last < outgrown_above_mm(worn, station, Tolerances())


@pytest.mark.parametrize(("length", "limit"), [(180, 189), (200, 210), (240, 250)])
def test_the_prosthesis_is_too_short_by_the_smaller_of_mm_and_percent(length, limit):
    assert length_limit_mm(length, Tolerances()) == pytest.approx(limit)
