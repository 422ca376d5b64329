from datetime import date, timedelta

import pytest

from fitting.calc.crossing import Dates
from fitting.calc.outgrowth import LayerDates, Outgrowth
from fitting.calc.plan_days import PlanDays, calendar_refit_on, fit_check_day, is_maturing, plan_days, remeasure_day
from fitting.calc.tolerances import Tolerances
from tests.fitting.calc.synthetic import limb_facts

AS_OF = date(2026, 3, 2)
EARLY, LIKELY, LATE = date(2026, 12, 1), date(2027, 6, 1), date(2028, 1, 1)
TOLERANCES = Tolerances()


def grown(check_day, early=EARLY, layers=()):
    return Outgrowth(Dates(early, LIKELY, LATE), check_day, "girth:0", layers)


def test_the_refit_is_counted_back_from_the_early_date():
    days = plan_days(grown(date(2026, 11, 1)), None, AS_OF, TOLERANCES)
    assert days.fitted_by == date(2026, 11, 24)  # 7 days of buffer
    assert days.start_refit_by == date(2026, 10, 27)  # 28 days of lead time
    assert days.check_on == date(2026, 10, 13)  # 14 days before


def test_the_check_is_on_the_five_percent_day_if_that_is_earlier():
    assert plan_days(grown(date(2026, 9, 1)), None, AS_OF, TOLERANCES).check_on == date(2026, 9, 1)


def test_a_clinic_further_away_starts_earlier():
    days = plan_days(grown(None), None, AS_OF, Tolerances(lead_time_days=60, buffer_days=14, check_lead_days=0))
    assert days.fitted_by == EARLY - timedelta(days=14)
    assert days.start_refit_by == days.check_on == EARLY - timedelta(days=74)


def test_without_an_early_date_nothing_is_counted_back():
    days = plan_days(grown(date(2029, 1, 1), early=None), LIKELY, AS_OF, TOLERANCES)
    assert days == PlanDays(AS_OF, check_on=date(2029, 1, 1), length_on=LIKELY)


def test_the_first_layer_and_the_length_are_due_when_likely():
    layers = tuple(LayerDates(n, 1.2, Dates(EARLY, LIKELY + timedelta(days=n), LATE)) for n in (1, 2))
    days = plan_days(grown(None, layers=layers), LATE, AS_OF, TOLERANCES)
    assert (days.layer_on, days.length_on) == (LIKELY + timedelta(days=1), LATE)


def test_undated_limbs_keep_their_remeasure_and_length_days():
    assert plan_days(None, LIKELY, AS_OF, TOLERANCES) == PlanDays(AS_OF, length_on=LIKELY)


FITTED = date(2026, 2, 2)


@pytest.mark.parametrize(
    ("seen_after_days", "due_after_days"),
    [(None, 14), (0, 14), (6, 14), (7, 42), (14, 42), (41, 42), (42, 91), (90, 91), (91, None), (400, None)],
)
def test_a_new_socket_is_looked_at_within_two_weeks_at_six_weeks_and_at_three_months(seen_after_days, due_after_days):
    """Common practice."""
    seen_on = None if seen_after_days is None else FITTED + timedelta(days=seen_after_days)
    due_on = None if due_after_days is None else FITTED + timedelta(days=due_after_days)
    assert fit_check_day(FITTED, seen_on) == due_on
    days = plan_days(grown(date(2026, 11, 1)), None, AS_OF, TOLERANCES, FITTED, seen_on)
    assert days.fit_check_on == due_on
    assert days.check_on == (due_on or (date(2026, 10, 13) if seen_after_days < 200 else None))
    assert plan_days(None, None, AS_OF, TOLERANCES, FITTED, seen_on).check_on == due_on


def test_a_look_that_has_been_had_is_not_planned_again():
    days = plan_days(grown(date(2026, 9, 1)), None, AS_OF, TOLERANCES, date(2025, 1, 1), date(2026, 9, 1))
    assert days.check_on == date(2026, 10, 13)
    assert fit_check_day(None, AS_OF) is None


@pytest.mark.parametrize(
    ("acquired_on", "maturing"),
    [(None, False), (date(2026, 1, 1), True), (date(2024, 9, 15), True), (date(2024, 8, 20), False)],
)
def test_an_acquired_limb_matures_for_eighteen_months(acquired_on, maturing):
    assert is_maturing(acquired_on, AS_OF, TOLERANCES) is maturing


@pytest.mark.parametrize(
    ("changed", "has_reference", "days"),
    [
        ({}, True, 180),
        ({"birth_on": date(2021, 3, 3)}, True, 90),  # four years old when measured
        ({"birth_on": date(2021, 1, 9)}, True, 180),  # five
        ({"in_spurt": True}, True, 90),
        ({}, False, 90),
        ({"acquired_on": date(2025, 12, 1)}, True, 42),
        ({"acquired_on": date(2020, 12, 1)}, True, 180),
    ],
)
def test_readings_go_stale(changed, has_reference, days):
    facts = limb_facts(**changed)
    assert remeasure_day(facts, TOLERANCES, AS_OF, has_reference) == facts.last_measured_on + timedelta(days=days)


def test_a_limb_never_measured_is_due_at_once():
    assert remeasure_day(limb_facts(last_measured_on=None), TOLERANCES, AS_OF, True) == AS_OF


@pytest.mark.parametrize(
    ("birth_on", "fitted_on", "due"),
    [
        (date(2023, 1, 1), date(2026, 3, 2), date(2027, 3, 2)),  # three: yearly
        (date(2021, 3, 2), date(2026, 3, 3), date(2028, 3, 3)),  # five: every two years
        (date(2013, 1, 1), date(2026, 3, 2), date(2029, 3, 2)),  # thirteen: every three
        (date(2004, 1, 1), date(2026, 3, 2), None),  # grown up
        (date(2022, 1, 1), date(2024, 2, 29), date(2025, 2, 28)),
    ],
)
def test_the_calendar_rule(birth_on, fitted_on, due):
    """The older rule, from memory: yearly to 5, every two years to 12, every three to four to 21."""
    assert calendar_refit_on(fitted_on, birth_on) == due
