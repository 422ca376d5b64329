from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.next_action import ORDER, Action, actions_of, first_due
from fitting.calc.plan_days import PlanDays
from fitting.calc.present_fit import FitVerdict

AS_OF = date(2026, 3, 2)
SEEN = date(2026, 2, 1)
AHEAD = PlanDays(
    remeasure_by=date(2026, 8, 1),
    check_on=date(2026, 9, 1),
    start_refit_by=date(2026, 10, 1),
    fitted_by=date(2026, 10, 29),
    layer_on=date(2026, 7, 1),
    length_on=date(2026, 12, 1),
)


def following(fit=None, days=AHEAD, last_measured_on=SEEN, no_socket_since=None):
    return first_due(actions_of(fit, days, last_measured_on, no_socket_since), AS_OF)


def codes(actions):
    return [action.code for action in actions]


def test_what_lies_ahead_comes_by_its_day():
    assert codes(following()) == ["layer_out", "remeasure", "start_refit", "lengthen"]


def test_what_is_due_comes_in_the_order_of_the_trade():
    past = PlanDays(
        remeasure_by=date(2026, 2, 20),
        start_refit_by=date(2026, 1, 1),
        layer_on=date(2026, 2, 1),
        length_on=date(2026, 1, 15),
    )
    fit = FitVerdict(SEEN, red=("pain",), surgeon=("overgrowth",))
    order = ["fit_problem", "surgeon", "remeasure", "layer_out", "start_refit", "lengthen", "make_socket"]
    assert codes(following(fit, past, no_socket_since=AS_OF)) == order
    assert list(ORDER) == order


def test_due_today_is_due():
    days = PlanDays(remeasure_by=AS_OF, start_refit_by=AS_OF - timedelta(days=60))
    assert codes(following(days=days)) == ["remeasure", "start_refit"]


def test_a_layer_comes_out_before_a_new_socket_is_started():
    days = PlanDays(remeasure_by=date(2026, 8, 1), layer_on=AS_OF, start_refit_by=AS_OF - timedelta(days=9))
    assert following(days=days)[0] == Action("layer_out", AS_OF)


@pytest.mark.parametrize("findings", [{"red": ("open_skin",)}, {"loose": ("slipping",)}])
def test_a_fit_that_is_wrong_comes_first_since_it_was_seen(findings):
    assert following(FitVerdict(SEEN, **findings))[0] == Action("fit_problem", SEEN)


def test_overgrowth_goes_to_the_surgeon_within_the_week():
    first = following(FitVerdict(AS_OF, surgeon=("overgrowth",)))[0]
    assert first == Action("surgeon", AS_OF + timedelta(days=7))


@pytest.mark.parametrize(
    ("last_measured_on", "on"),
    [
        (SEEN - timedelta(days=1), SEEN),  # not measured since it was noticed
        (None, SEEN),
        (SEEN, AHEAD.remeasure_by),  # measured the same day
    ],
)
def test_a_change_of_weight_or_wear_asks_for_new_readings(last_measured_on, on):
    answer = following(FitVerdict(SEEN, remeasure=("weight",)), last_measured_on=last_measured_on)
    assert Action("remeasure", on) in answer


@pytest.mark.parametrize(
    ("check_on", "on"), [(date(2026, 4, 1), date(2026, 4, 1)), (date(2026, 9, 9), date(2026, 8, 1))]
)
def test_a_look_owed_after_a_fitting_is_had_with_a_tape(check_on, on):
    answer = following(days=replace(AHEAD, fit_check_on=check_on))
    assert [action.on for action in answer if action.code == "remeasure"] == [on]


days = st.dates(date(2025, 1, 1), date(2028, 1, 1))


@given(st.lists(st.builds(Action, st.sampled_from(ORDER), days), min_size=1, unique_by=lambda a: a.code))
def test_nothing_is_lost_and_what_is_due_stands_before_what_is_not(actions):
    answer = first_due(tuple(actions), AS_OF)
    assert sorted(answer, key=str) == sorted(actions, key=str)
    due = [action.on <= AS_OF or action.code in ("fit_problem", "surgeon") for action in answer]
    assert due == sorted(due, reverse=True)
