from datetime import date

import pytest

from fitting.calc.limb import Level
from fitting.calc.present_fit import FitFindings, StationGirths, fit_verdict, overgrowth_possible
from fitting.calc.tolerances import Tolerances

DAY = date(2026, 3, 2)


def verdict(girths=(), level=Level.TRANSRADIAL, **found):
    return fit_verdict(level, FitFindings(DAY, **found), girths, Tolerances())


def test_nothing_found_is_ok():
    answer = verdict()
    assert answer.code == "ok"
    assert answer.seen_on == DAY


@pytest.mark.parametrize(
    ("found", "finding"),
    [
        ({"open_skin": True}, "open_skin"),
        ({"numb_or_cold": True}, "numb_or_cold"),
        ({"marks": "stay"}, "marks_stay"),
        ({"marks": "clear", "minutes_to_clear": 21}, "marks_stay"),
        ({"pain": 4}, "pain"),
        ({"hold": "tight"}, "tight"),
        ({"donning": "not_full"}, "not_full"),
        ({"end_contact": True}, "end_contact"),
    ],
)
def test_a_red_finding_is_a_fit_problem_now(found, finding):
    answer = verdict(**found)
    assert answer.red == (finding,)
    assert answer.code == "fit_problem"


@pytest.mark.parametrize(
    "found", [{"marks": "clear", "minutes_to_clear": 20}, {"pain": 3}, {"marks": "none", "minutes_to_clear": 30}]
)
def test_within_limits_is_no_finding(found):
    assert verdict(**found).code == "ok"


@pytest.mark.parametrize("hold", ["loose", "slipping"])
def test_loose_and_slipping(hold):
    assert verdict(hold=hold).code == "loose"
    assert verdict(hold=hold).loose == (hold,)


@pytest.mark.parametrize(
    ("now_mm", "found"),
    [
        ((174.4, 170), ("girth_smaller",)),  # noise is 5.54 mm: one of two stations is beyond it
        ((174.5, 170), ()),
        ((174.4, 164.4), ("girth_smaller",)),
    ],
)
def test_smaller_than_at_cast_beyond_noise_asks_to_look_and_is_never_called_loose(now_mm, found):
    girths = [StationGirths(now_mm[0], 180, 186), StationGirths(now_mm[1], 170, 176)]
    answer = verdict(girths)
    assert (answer.remeasure, answer.loose) == (found, ())
    assert answer.code == ("remeasure" if found else "ok")


def test_one_small_station_of_three_is_no_finding():
    girths = [StationGirths(170, 180, 186), StationGirths(170, 170, 176), StationGirths(160, 160, 166)]
    assert verdict(girths).code == "ok"


def test_a_station_designed_tighter_is_smaller_only_below_its_design():
    assert verdict([StationGirths(170, 180, 175)]).remeasure == ()
    assert verdict([StationGirths(169, 180, 175)]).remeasure == ("girth_smaller",)


def test_a_loose_hold_stays_loose_whatever_the_tape_says():
    answer = verdict([StationGirths(160, 180, 186)], hold="slipping")
    assert (answer.code, answer.loose, answer.remeasure) == ("loose", ("slipping",), ("girth_smaller",))


@pytest.mark.parametrize(
    ("found", "reasons"),
    [
        ({"weight_kg": 22, "weight_when_measured_kg": 20}, ("weight",)),
        ({"weight_kg": 18, "weight_when_measured_kg": 20}, ("weight",)),
        ({"weight_kg": 21.9, "weight_when_measured_kg": 20}, ()),
        ({"weight_kg": 22}, ()),
        ({"wear_hours_per_day": 3, "earlier_wear_hours_per_day": 6}, ("wear_hours",)),
        ({"wear_hours_per_day": 3.1, "earlier_wear_hours_per_day": 6}, ()),
        ({"wear_hours_per_day": 3, "earlier_wear_hours_per_day": 0}, ()),
        ({"wear_hours_per_day": 3}, ()),
    ],
)
def test_weight_or_wear_changed_asks_to_remeasure(found, reasons):
    assert verdict(**found).remeasure == reasons


@pytest.mark.parametrize(
    ("found", "reasons"),
    [
        ({"end_gap_mm": 1.9}, ("end_gap",)),
        ({"end_gap_mm": 2}, ()),
        ({"brim_moved_mm": 10.1}, ("brim",)),
        ({"brim_moved_mm": -10.1}, ("brim",)),
        ({"brim_moved_mm": 10}, ()),
    ],
)
def test_gap_and_brim_beyond_their_limit_are_outgrown(found, reasons):
    assert verdict(**found).outgrown == reasons
    assert verdict(**found).code == ("outgrown" if reasons else "ok")


@pytest.mark.parametrize("level", Level)
def test_overgrowth_is_for_the_surgeon_and_never_after_disarticulation(level):
    possible = level in (Level.TRANSRADIAL, Level.TRANSHUMERAL)
    answer = verdict(level=level, overgrowth_signs=True)
    assert overgrowth_possible(level) is possible
    assert answer.surgeon == (("overgrowth",) if possible else ())
    assert answer.code == ("surgeon" if possible else "ok")


def test_the_worst_comes_first_and_nothing_is_lost():
    weights = {"weight_kg": 23, "weight_when_measured_kg": 20}
    answer = verdict(open_skin=True, overgrowth_signs=True, hold="loose", pain=5, **weights)
    assert answer.code == "fit_problem"
    assert answer.red == ("open_skin", "pain")
    assert (answer.surgeon, answer.loose, answer.remeasure) == (("overgrowth",), ("loose",), ("weight",))
    assert answer.figures["weight_change_percent"] == pytest.approx(15)
    assert answer.figures["pain"] == 5
