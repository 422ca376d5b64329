from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fitting.calc.capacity import Layer
from fitting.calc.crossing import Dates
from fitting.calc.forecast import residual_girths_outlook, series_outlook
from fitting.calc.outgrowth import (
    END_GAP,
    LengthTrack,
    LimbOutlooks,
    end_gap_curve,
    outgrowth,
    rooms_left,
    too_short_dates,
)
from fitting.calc.outlook import Observation
from fitting.calc.residual_growth import Plates
from fitting.calc.tolerances import Tolerances
from tests.fitting.calc.synthetic import BIRTH, GIRTHS_MM, ORIGIN, forearm, limb_facts, outlook, outlooks, socket

TOLERANCES = Tolerances()
NEVER = date.max


def dates(made, worn, facts=None):
    return outgrowth(made, worn, facts or limb_facts(), TOLERANCES).dates


def not_earlier(first, second):
    """Whether every date of the second is the first's or later, never counting as latest."""
    pairs = zip((first.early, first.likely, first.late), (second.early, second.likely, second.late), strict=True)
    return all((before or NEVER) <= (after or NEVER) for before, after in pairs)


def test_dates_come_in_order():
    answer = dates(outlooks(), socket())
    assert ORIGIN < answer.early < answer.likely < answer.late


def test_the_date_of_one_station_is_where_its_girth_passes_the_capacity():
    """Growth of 4 % a year without spread: 200 mm passes 206 + 4 after ln(210 / 200) / 0.04 years."""
    made = outlook({"girth:0": 200.0}, growth=0.04, shared=1e-6, own=1e-5, tempo=0.0)
    answer = dates(outlooks(made), socket(girths_mm={"girth:0": 200.0}))
    expected = ORIGIN + timedelta(days=round(np.log(210 / 200) / 0.04 * 365.25))
    assert abs((answer.likely - expected).days) <= 15  # monthly grid


def test_filler_of_a_three_ply_sock_lasts_eleven_months():
    """7.5 mm of filler at 8 mm of girth a year (worked by hand for this project; the rate is illustrative)."""
    made = outlook({"girth:0": 200.0}, growth=8 / 204, shared=1e-6, own=1e-5, tempo=0.0)
    worn = socket(0, layers=[1.2], girths_mm={"girth:0": 200.0})
    answer = outgrowth(outlooks(made), worn, limb_facts(), Tolerances(girth_tolerance_mm=0))
    assert (answer.dates.likely - ORIGIN).days / 30.4375 == pytest.approx(11.3, abs=0.5)


@settings(max_examples=30, deadline=None)
@given(st.floats(min_value=-5, max_value=20), st.floats(min_value=0, max_value=10))
def test_more_allowance_is_never_earlier(allowance, more):
    made = outlooks()
    assert not_earlier(dates(made, socket(allowance)), dates(made, socket(allowance + more)))


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.floats(min_value=0.3, max_value=3), max_size=3),
    st.floats(min_value=0.3, max_value=3),
    st.booleans(),
)
def test_more_layers_are_never_earlier(layers, more, out):
    made = outlooks()
    added = Layer(more, ORIGIN if out else None)
    assert not_earlier(dates(made, socket(layers=layers)), dates(made, socket(layers=[*layers, added])))


@settings(max_examples=30, deadline=None)
@given(st.floats(min_value=2, max_value=20), st.floats(min_value=0, max_value=10))
def test_a_larger_end_gap_is_never_earlier(gap, more):
    made, facts = outlooks(), limb_facts(plates=Plates(length_ratio=0.9))
    narrow, wide = socket(20, end_gap_mm=gap), socket(20, end_gap_mm=gap + more)
    assert not_earlier(dates(made, narrow, facts), dates(made, wide, facts))


def test_adding_a_capacity_that_can_be_passed_is_never_later():
    made = outlooks()
    with_gap = dates(made, socket(end_gap_mm=3.0), limb_facts(plates=Plates(length_ratio=0.9)))
    without = dates(made, socket(end_gap_mm=None))
    assert not_earlier(with_gap, without)


def test_the_joint_date_is_not_after_any_station():
    made, worn = outlooks(), socket()
    joint = dates(made, worn)
    for room in rooms_left(made, worn, limb_facts(), TOLERANCES, dated=True):
        assert not_earlier(joint, room.dates)


@pytest.mark.parametrize("part", sorted(GIRTHS_MM))
def test_the_limiting_station_is_the_tightest(part):
    worn = socket(15)
    tight = tuple(replace(s, design_girth_mm=s.girth_at_cast_mm) if s.part == part else s for s in worn.stations)
    assert outgrowth(outlooks(), replace(worn, stations=tight), limb_facts(), TOLERANCES).limiting == part


def test_the_end_gap_can_limit():
    facts = limb_facts(level="elbow_disarticulation", plates=Plates())
    answer = outgrowth(outlooks(), socket(40, end_gap_mm=6), facts, TOLERANCES)
    assert answer.limiting == END_GAP


def test_past_the_search_there_is_no_date():
    answer = outgrowth(outlooks(), socket(80), limb_facts(), TOLERANCES)
    assert answer.dates == Dates()
    assert answer.check_day is None
    assert answer.limiting in GIRTHS_MM


def test_the_check_day_comes_first():
    answer = outgrowth(outlooks(), socket(), limb_facts(), TOLERANCES)
    assert answer.check_day <= answer.dates.early


def test_layers_come_out_one_after_the_other():
    answer = outgrowth(outlooks(), socket(layers=[Layer(1.0, ORIGIN), 1.2, 1.5]), limb_facts(), TOLERANCES)
    assert [(layer.order, layer.thickness_mm) for layer in answer.layers] == [(1, 1.2), (2, 1.5)]
    first, second = (layer.dates for layer in answer.layers)
    assert not_earlier(first, second)
    assert not_earlier(second, answer.dates)


def test_without_layers_none_comes_out():
    assert outgrowth(outlooks(), socket(), limb_facts(), TOLERANCES).layers == ()


def test_other_stations_are_not_compared():
    made = outlooks(outlook({"girth:10": 197.0}))
    assert outgrowth(made, socket(), limb_facts(), TOLERANCES) is None
    rooms = rooms_left(made, socket(), limb_facts(girths_now_mm={"girth:10": 197.0}), TOLERANCES, dated=True)
    assert not any(room.comparable for room in rooms)
    assert all(room.girth_now_mm is None and room.room_now_mm is None and room.dates == Dates() for room in rooms)


def test_stations_measured_again_are_enough():
    made = outlooks(outlook({"girth:0": 200.0, "girth:10": 197.0}))
    answer = outgrowth(made, socket(), limb_facts(), TOLERANCES)
    assert answer.limiting == "girth:0"


def test_nothing_known_is_no_outgrowth():
    assert outgrowth(LimbOutlooks(), socket(), limb_facts(), TOLERANCES) is None
    assert outgrowth(LimbOutlooks(), socket(girths_mm={}, end_gap_mm=None), limb_facts(), TOLERANCES) is None


def test_a_socket_without_girth_stations_is_followed_by_its_end_gap():
    facts = limb_facts(level="wrist_disarticulation", plates=Plates())
    answer = outgrowth(LimbOutlooks(segment=forearm()), socket(girths_mm={}), facts, TOLERANCES)
    assert answer.limiting == END_GAP
    assert answer.dates.early is not None


def test_room_left_at_a_station():
    worn = socket(6, layers=[Layer(1.0, ORIGIN), Layer(2.0)])
    room = rooms_left(outlooks(), worn, limb_facts(), TOLERANCES, dated=True)[0]
    assert (room.part, room.girth_now_mm, room.comparable) == ("girth:0", 200.0, True)
    assert room.room_now_mm == pytest.approx(6 + 2 * np.pi * 1.0)
    assert room.room_full_mm == pytest.approx(6 + 2 * np.pi * 3.0)
    assert room.outgrown_above_mm == pytest.approx(206 + 2 * np.pi * 3.0 + 4)
    assert room.dates.early is not None


def test_room_left_without_dates():
    rooms = rooms_left(outlooks(), socket(), limb_facts(), TOLERANCES, dated=False)
    assert all(room.dates == Dates() and room.room_now_mm == 6 for room in rooms)


# End gap


def test_the_end_gap_closes_when_the_share_of_the_growth_has_used_it_up():
    """A disarticulation grows at full speed: 8 - 2 mm at ln 1.045 a year of 190 mm are 0.69 years."""
    facts = limb_facts(level="wrist_disarticulation", plates=Plates())
    curve = end_gap_curve(forearm(shared=1e-6, own=1e-5, tempo=0.0), socket(), facts, TOLERANCES)
    years = np.log((190 + 6) / 190) / 0.045
    assert np.interp(years * 365.25 + 31, curve.days, curve.probability) == pytest.approx(1)
    assert np.interp(years * 365.25 - 31, curve.days, curve.probability) == pytest.approx(0, abs=1e-9)


def test_a_transradial_limb_hardly_closes_its_gap():
    curve = end_gap_curve(forearm(), socket(), limb_facts(), TOLERANCES)
    assert curve.probability[-1] < 0.3


def test_a_gap_read_earlier_has_closed_further():
    facts = limb_facts(level="wrist_disarticulation", plates=Plates())
    now = end_gap_curve(forearm(), socket(), facts, TOLERANCES)
    earlier = end_gap_curve(forearm(), socket(end_gap_on=ORIGIN - timedelta(days=180)), facts, TOLERANCES)
    later = end_gap_curve(forearm(), socket(end_gap_on=ORIGIN + timedelta(days=180)), facts, TOLERANCES)
    assert np.all(earlier.probability >= now.probability)
    assert np.all(now.probability >= later.probability)
    assert earlier.probability[6] > now.probability[6] > later.probability[6]


def test_a_gap_below_its_minimum_is_closed():
    curve = end_gap_curve(forearm(), socket(end_gap_mm=1.9), limb_facts(), TOLERANCES)
    assert np.all(curve.probability == 1)


def test_a_limb_that_does_not_grow_keeps_its_gap():
    curve = end_gap_curve(forearm(), socket(), limb_facts(plates=Plates(True, True)), TOLERANCES)
    assert np.all(curve.probability == 0)


@pytest.mark.parametrize(
    ("track", "worn", "facts"),
    [
        (None, socket(), limb_facts()),
        (forearm(), socket(end_gap_mm=None), limb_facts()),
        (forearm(), socket(end_gap_on=None), limb_facts()),
        (forearm(), socket(), limb_facts(plates=Plates())),
    ],
)
def test_a_gap_that_cannot_be_followed(track, worn, facts):
    assert end_gap_curve(track, worn, facts, TOLERANCES) is None


# Length of the prosthesis


def test_the_prosthesis_is_too_short_when_the_sound_forearm_is_visibly_longer():
    """195 mm serve until 204.75 (5 %): 190 mm at 4.5 % a year get there in 1.66 years."""
    answer = too_short_dates(forearm(), socket(), TOLERANCES)
    expected = ORIGIN + timedelta(days=round(np.log(204.75 / 190) / 0.045 * 365.25))
    assert abs((answer.likely - expected).days) < 20
    assert answer.early < answer.likely < answer.late


def test_a_prosthesis_without_a_length_is_not_followed():
    assert too_short_dates(forearm(), socket(forearm_length_mm=None), TOLERANCES) is None
    assert too_short_dates(None, socket(), TOLERANCES) is None


def test_without_a_sound_side_the_length_follows_stature():
    stature = outlook({"stature": 1250.0}, growth=0.045)
    scaled = LengthTrack(stature, "stature", 190 / 1250, estimated=True)
    assert scaled.expected_mm()[0] == pytest.approx(190)
    assert too_short_dates(scaled, socket(), TOLERANCES) == too_short_dates(forearm(), socket(), TOLERANCES)


# With the forecast itself


def measured(days_ago):
    """A boy of seven measured twice, the last time some days before the origin."""
    last = ORIGIN - timedelta(days=days_ago)
    first = last - timedelta(days=182)
    return LimbOutlooks(
        girths=residual_girths_outlook(
            sex="M",
            birth_date=BIRTH,
            stations={p: [Observation(first, g - 3, 2.0), Observation(last, g, 2.0)] for p, g in GIRTHS_MM.items()},
        ),
        segment=LengthTrack(
            series_outlook(
                sex="M",
                birth_date=BIRTH,
                measure="forearm_length",
                readings=[Observation(first, 186, 3.0), Observation(last, 190, 3.0)],
            ),
            "forearm_length",
        ),
    )


def test_staler_readings_give_an_earlier_early_date_and_a_wider_span():
    fresh = dates(measured(0), socket(layers=[2.0]))
    stale = dates(measured(360), socket(layers=[2.0], end_gap_on=ORIGIN - timedelta(days=360)))
    assert stale.early < fresh.early
    as_of = ORIGIN
    assert (stale.early - as_of) / (stale.late - as_of) < (fresh.early - as_of) / (fresh.late - as_of)


def test_a_new_socket_serves_as_long_as_the_tables_growth_says():
    """The forearm table's median boy gains 3.7 % from 7.5 to 8.5 years, so 5 % of room last one to two years."""
    answer = dates(measured(0), socket(end_gap_mm=None))
    assert timedelta(days=300) < answer.likely - ORIGIN < timedelta(days=730)
