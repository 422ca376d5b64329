"""The planner against a slow exact twin that tries every plan, and what must hold of any plan."""

from collections import defaultdict
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings

from fitting.bench.plan import invented_problem
from fitting.calc.planner.branch import GOOD_ENOUGH
from fitting.calc.planner.earliest_due import room_left
from fitting.calc.planner.grid import HOUR_OF_TRAVEL, NO_SLOT, grid_of
from fitting.calc.planner.plan import plan
from fitting.calc.planner.problem import Booking, Problem
from tests.fitting.calc.planner.problems import TODAY, after, clinic_day, problems, refit


def least_cost(problem):
    """Every way to put every trip into every slot or nowhere; only for a handful of trips."""
    grid = grid_of(problem)
    ways = [[NO_SLOT, *np.flatnonzero(np.isfinite(row)).tolist()] for row in grid.cost]
    least = np.inf
    for way in product(*ways):
        choice = np.array(way, int)
        if all(room.min(initial=0) >= 0 for room in room_left(grid, choice)):
            least = min(least, grid.total(choice))
    return least


def cost_of_trips(problem, made):
    pinned = {refit.key for refit in problem.refits if refit.pinned}
    return made.cost - sum(placed.cost for placed in made.placements if placed.refit in pinned)


@settings(max_examples=60, deadline=None)
@given(problems())
def test_costs_what_the_twin_finds(problem):
    least = least_cost(problem)
    assert cost_of_trips(problem, plan(problem)) <= least * (1 + GOOD_ENOUGH) + 1e-6
    assert cost_of_trips(problem, plan(problem)) >= least - 1e-6


@settings(max_examples=60, deadline=None)
@given(problems(most_refits=9, most_days=6))
def test_what_holds_of_any_plan(problem):
    made = plan(problem)
    refits, days = {refit.key: refit for refit in problem.refits}, {day.key: day for day in problem.days}
    placed, unplaced = [one.refit for one in made.placements], [one.refit for one in made.unplaced]
    assert sorted(placed + unplaced) == sorted(refits)
    assert made.bound - 1e-6 <= made.cost <= made.greedy_cost + 1e-6
    for one in made.placements:
        asked, day = refits[one.refit], days[one.day]
        if asked.pinned:
            assert (one.day, one.staff) == (asked.pinned.day, asked.pinned.staff)
            continue
        assert day.on >= max(asked.ready_on, TODAY)
        assert day.clinic in dict(asked.travel_minutes)
        assert asked.language in {"", *day.languages}
        assert asked.staff in ("", one.staff)
    assert_within_minutes(problem, made, refits, days)


def assert_within_minutes(problem, made, refits, days):
    """The planner adds nothing to a slot or day beyond what is free; one that is overbooked gets nothing."""
    added, by_staff, taken = defaultdict(int), defaultdict(int), defaultdict(int)
    for booking in [*problem.taken, *(one.pinned for one in refits.values() if one.pinned)]:
        taken[booking.day] += booking.minutes
        taken[booking.day, booking.staff] += booking.minutes
    for one in made.placements:
        if not refits[one.refit].pinned:
            added[one.day] += refits[one.refit].minutes
            by_staff[one.day, one.staff] += refits[one.refit].minutes
    for key, minutes in added.items():
        assert minutes <= days[key].minutes - taken[key]
    for (key, who), minutes in by_staff.items():
        assert minutes <= dict(days[key].staff)[who] - taken[key, who]


@settings(max_examples=30, deadline=None)
@given(problems(most_refits=9, most_days=6))
def test_a_household_comes_on_one_day_where_one_slot_could_take_it(problem):
    made = plan(problem)
    grid = grid_of(problem)
    day_of = {one.refit: one.day for one in made.placements}
    for trip in grid.trips:
        assert len({day_of.get(refit.key) for refit in trip}) == 1


def planned(*refits, days, **fields):
    return plan(Problem(TODAY, refits, tuple(days), **fields))


def test_an_empty_plan():
    made = planned(days=[])
    assert (made.placements, made.unplaced, made.openings, made.cost, made.gap) == ((), (), (), 0, 0)


def test_the_riskier_one_gets_the_only_place_in_time():
    made = planned(refit("calm", 80), refit("urgent", 5), days=[clinic_day(3, 60), clinic_day(60, 60)])
    assert {one.refit: one.day for one in made.placements} == {"urgent": "Millbrook 3", "calm": "Millbrook 60"}
    why = {one.refit: one.why for one in made.placements}
    assert why["urgent"] == ("best_day", "after_last_good_day")
    assert made.placements[0].chance < 0.2


def test_a_full_better_day_is_named():
    made = planned(refit("a", 5), refit("b", 6), days=[clinic_day(3, 60), clinic_day(30, 60)])
    (moved,) = [one for one in made.placements if one.day == "Millbrook 30"]
    assert moved.why[0] == "better_day_full" and moved.instead_of == "Millbrook 3"


def test_siblings_come_together_and_travel_once():
    siblings = [refit(key, 40, household="Quill", travel_minutes=(("Millbrook", 240),)) for key in "ab"]
    made = planned(*siblings, days=[clinic_day(10, 60), clinic_day(20, 120)])
    assert {one.day for one in made.placements} == {"Millbrook 20"}
    assert all("together" in one.why for one in made.placements)


def test_a_sibling_joins_the_booking_that_stands():
    """The way costs nothing on the day the household comes anyway, so an otherwise equal day loses."""
    pinned = refit("a", 40, household="Quill", pinned=Booking("Millbrook 21", 60))
    other = refit("b", 40, household="Quill", travel_minutes=(("Millbrook", 240),))
    made = planned(pinned, other, days=[clinic_day(20), clinic_day(21)])
    assert {one.day for one in made.placements} == {"Millbrook 21"}
    assert 4 * HOUR_OF_TRAVEL > 0.1


def test_another_language_waits_for_its_day():
    made = planned(refit("a", 40, language="es"), days=[clinic_day(10), clinic_day(20, languages=frozenset({"es"}))])
    assert made.placements[0].day == "Millbrook 20" and "language_day" in made.placements[0].why


@pytest.mark.parametrize(
    ("why", "asked", "day"),
    [
        ("no_clinic_day", {"travel_minutes": (("Eastgate", 20),)}, {}),
        ("no_language_day", {"language": "es"}, {}),
        ("no_staff_day", {"staff": "bo"}, {}),
        ("ready_too_late", {"ready_on": after(90)}, {}),
        ("too_long", {"minutes": 150}, {}),
        ("days_full", {}, {"minutes": 60}),
    ],
)
def test_says_why_there_is_no_day(why, asked, day):
    made = planned(refit("a", **asked), days=[clinic_day(20, **day)], taken=(Booking("Millbrook 20", 30),))
    assert [(one.refit, one.why) for one in made.unplaced] == [("a", why)]


def test_says_which_day_to_open():
    closed = (clinic_day(10), clinic_day(40), clinic_day(12, clinic="Eastgate"))
    made = planned(*(refit(key, 30) for key in "abc"), days=[clinic_day(20, 60)], could_open=closed)
    assert [opening.day.key for opening in made.openings] == ["Millbrook 10"]
    assert len(made.openings[0].refits) == 2 and made.openings[0].saving > 0


def test_a_quarter_of_a_year_is_within_two_percent_of_the_bound():
    made = plan(invented_problem(refits=400, days=60, clinics=3, seed=1))
    assert made.gap <= 0.02
    assert made.cost < made.greedy_cost


def test_mixed_lengths_are_cheaper_than_by_due_date():
    """Lengths that leave corners of days empty; the bound may split a refit and need not be within reach."""
    made = plan(invented_problem(refits=120, days=20, clinics=3, seed=2, minutes=(60, 60, 60, 90)))
    assert made.bound <= made.cost < 0.97 * made.greedy_cost
