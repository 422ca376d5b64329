from dataclasses import replace
from datetime import date, timedelta

import pytest

from fitting.calc.crossing import Dates
from fitting.calc.limb import Level
from fitting.calc.next_action import Action
from fitting.calc.outgrowth import LengthTrack, LimbOutlooks
from fitting.calc.present_fit import FitFindings, FitVerdict, fit_verdict
from fitting.calc.promise import METHOD, promise
from fitting.calc.residual_growth import Plates
from fitting.calc.tolerances import Tolerances
from tests.fitting.calc.synthetic import GIRTHS_MM, ORIGIN, forearm, limb_facts, outlook, outlooks, socket

AS_OF = ORIGIN + timedelta(days=20)
NO_FIT = FitVerdict(ORIGIN)
LONG_WORN = ORIGIN - timedelta(days=120)  # the looks after the fitting are had by the first day seen


def promised(made=None, worn=None, fit=NO_FIT, facts=None, as_of=AS_OF, tolerances=None):
    return promise(made or outlooks(), worn or socket(), fit, facts or limb_facts(), tolerances or Tolerances(), as_of)


def without_socket(made=None, facts=None):
    return promise(made or outlooks(), None, None, facts or limb_facts(), Tolerances(), AS_OF)


def test_a_dated_promise():
    answer = promised(worn=socket(layers=[2.0]))
    dates = answer.dates
    assert (answer.state, answer.method, answer.as_of) == ("dated", METHOD, AS_OF)
    assert dates.early < dates.likely < dates.late
    assert answer.days.fitted_by == dates.early - timedelta(days=7)
    assert answer.days.start_refit_by == answer.days.fitted_by - timedelta(days=28)
    assert answer.days.layer_on < dates.early
    assert answer.limiting in GIRTHS_MM
    assert not answer.may_not_outgrow
    assert [room.part for room in answer.rooms] == list(GIRTHS_MM)
    assert answer.notes == ("borrowed_shapes",)
    assert answer.act_on == answer.next_action.on == min(action.on for action in answer.actions)


def test_not_yet_seen_in_this_socket():
    assert promised(fit=None) == promised(fit=NO_FIT)


def test_a_fit_problem_comes_before_any_date():
    answer = promised(fit=FitVerdict(ORIGIN, red=("open_skin",)))
    assert answer.state == "fit_problem"
    assert (answer.next_action.code, answer.act_on) == ("fit_problem", ORIGIN)
    assert answer.dates.early is not None  # the dates stay for the plan


def test_overgrowth_is_a_fit_problem_for_the_surgeon():
    answer = promised(fit=FitVerdict(ORIGIN, surgeon=("overgrowth",)))
    assert (answer.state, answer.next_action.code) == ("fit_problem", "surgeon")


def test_a_loose_socket_is_seen_to_but_stays_dated():
    answer = promised(fit=FitVerdict(ORIGIN, loose=("slipping",)))
    assert (answer.state, answer.next_action.code) == ("dated", "fit_problem")


@pytest.mark.parametrize("found", [{"end_gap_mm": 1.0}, {"brim_moved_mm": 12}])
def test_what_is_outgrown_already_has_no_forecast(found):
    fit = fit_verdict(Level.TRANSRADIAL, FitFindings(ORIGIN, **found), (), Tolerances())
    answer = promised(fit=fit, worn=socket(layers=[2.0], fitted_on=LONG_WORN))
    assert answer.dates == Dates(ORIGIN, ORIGIN, ORIGIN)
    assert answer.limiting in ("end_gap", "brim")
    assert answer.next_action.code == "start_refit"
    assert answer.outgrowth.layers  # a layer can still come out meanwhile


def test_a_fresh_fitting_is_looked_at_before_anything_else_is_planned():
    days = promised(fit=None).days
    assert days.check_on == days.fit_check_on == ORIGIN + timedelta(days=14)
    assert promised(fit=None).next_action == Action("remeasure", days.check_on)
    seen = promised(fit=FitVerdict(ORIGIN + timedelta(days=15)))
    assert seen.act_on == seen.days.check_on == ORIGIN + timedelta(days=42)
    assert promised(worn=socket(fitted_on=LONG_WORN)).days.fit_check_on is None


def test_a_limb_smaller_by_the_tape_is_measured_and_no_fit_problem():
    smaller = FitVerdict(ORIGIN + timedelta(days=5), remeasure=("girth_smaller",))
    answer = promised(worn=socket(fitted_on=LONG_WORN), fit=smaller)
    assert (answer.state, answer.next_action) == ("dated", Action("remeasure", smaller.seen_on))


def test_no_socket():
    answer = without_socket()
    assert answer.state == "no_socket"
    assert (answer.dates, answer.rooms, answer.limiting, answer.length) == (Dates(), (), "", None)
    assert (answer.next_action.code, answer.act_on) == ("make_socket", AS_OF)
    assert not answer.may_not_outgrow


def test_no_socket_and_never_measured():
    answer = without_socket(LimbOutlooks(), limb_facts(last_measured_on=None, girths_now_mm={}))
    assert [action.code for action in answer.actions] == ["remeasure", "make_socket"]


def test_a_maturing_limb_is_not_dated_but_measured_soon():
    answer = promised(facts=limb_facts(acquired_on=ORIGIN - timedelta(days=200)))
    assert answer.state == "maturing"
    assert answer.dates == Dates()
    assert answer.days.start_refit_by is None
    assert answer.days.remeasure_by == ORIGIN + timedelta(days=42)
    assert all(room.room_now_mm is not None and room.dates == Dates() for room in answer.rooms)
    assert "adult_data" in answer.notes


def test_a_maturing_limb_can_still_be_found_outgrown():
    facts = limb_facts(acquired_on=ORIGIN - timedelta(days=200))
    answer = promised(facts=facts, worn=socket(fitted_on=LONG_WORN), fit=FitVerdict(ORIGIN, outgrown=("brim",)))
    assert (answer.state, answer.limiting, answer.next_action.code) == ("maturing", "brim", "start_refit")


def test_without_a_reference_the_limb_is_measured_every_three_months():
    born = ORIGIN - timedelta(days=500)
    answer = promised(LimbOutlooks(), facts=limb_facts(birth_on=born))
    assert answer.state == "no_reference"
    assert answer.dates == Dates()
    assert answer.days.remeasure_by == ORIGIN + timedelta(days=90)
    assert {"no_reference_under_24m", "end_gap_not_followed"} == set(answer.notes)


def test_a_level_without_girths_is_not_measured_more_often_for_want_of_a_reference():
    facts = limb_facts(level="shoulder_disarticulation")
    answer = promised(LimbOutlooks(), socket(girths_mm={}, end_gap_mm=None), facts=facts)
    assert answer.days.remeasure_by == ORIGIN + timedelta(days=180)


def test_stations_that_cannot_be_compared_are_said():
    answer = promised(outlooks(outlook({"girth:10": 197.0})))
    assert answer.state == "no_reference"
    assert "stations_not_comparable" in answer.notes


def test_a_socket_that_may_not_be_outgrown():
    slow = outlooks(outlook(GIRTHS_MM, growth=0.001, tempo=0.0), forearm(growth=0.001, tempo=0.0))
    answer = promised(slow, socket(30))
    assert (answer.state, answer.may_not_outgrow) == ("may_not_outgrow", True)
    assert answer.dates == Dates()
    assert answer.days.start_refit_by is None
    assert answer.next_action.code == "remeasure"


def test_an_early_date_without_a_late_one_is_dated_and_may_not_be_outgrown():
    answer = promised(outlooks(outlook(GIRTHS_MM, growth=0.02, shared=0.03)), socket(18))
    assert answer.dates.early is not None
    assert answer.dates.late is None
    assert (answer.state, answer.may_not_outgrow) == ("dated", True)


def test_the_length_asks_for_a_longer_sleeve_and_not_for_a_socket():
    short = promised(worn=socket(20, forearm_length_mm=181))
    assert short.length.likely == short.days.length_on < short.dates.early
    assert short.dates == promised(worn=socket(20)).dates
    assert "lengthen" in [action.code for action in short.actions]


def test_both_limbs_affected_follow_the_stature_and_say_so():
    stature = LengthTrack(outlook({"stature": 1250.0}), "stature", 190 / 1250, estimated=True)
    answer = promised(outlooks(track=stature))
    assert answer.length is not None
    assert "estimated_length" in answer.notes


def test_a_search_cut_at_the_tables_last_age_is_said():
    answer = promised(outlooks(outlook(GIRTHS_MM, months=20, ends_at_table=True)))
    assert "cut_at_table_age" in answer.notes


def test_an_end_gap_that_cannot_be_followed_is_said():
    assert "end_gap_not_followed" in promised(facts=limb_facts(plates=Plates())).notes


def test_a_start_already_past_is_kept_and_due():
    worn, facts = socket(2, fitted_on=LONG_WORN), limb_facts(last_measured_on=date(2026, 11, 20))
    answer = promised(worn=worn, as_of=date(2026, 12, 1), facts=facts)
    assert answer.days.start_refit_by < answer.as_of
    assert answer.next_action.code == "start_refit"
    assert answer.act_on == answer.days.start_refit_by


def test_the_clinics_tolerances_move_the_date():
    strict = promised(tolerances=replace(Tolerances(), girth_tolerance_mm=1))
    assert strict.dates.early < promised().dates.early


@pytest.mark.parametrize("level", Level)
def test_every_level_gets_a_promise(level):
    facts = limb_facts(level=level, plates=Plates(distal_lost=True))
    assert promised(facts=facts).state == "dated"
    assert without_socket(LimbOutlooks(), facts).state == "no_socket"
