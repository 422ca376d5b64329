"""Refits onto clinic days at the least cost: linear relaxation, whole trips, exchanges, a small integer programme.

Cost of a trip [child-weeks] = expected weeks worn outgrown + the way + the room to grow thrown away, see grid.
Solved with HiGHS (Huangfu and Hall 2018, Math Prog Comp 10:119) through scipy.
"""

import numpy as np

from fitting.calc.planner.branch import branched
from fitting.calc.planner.dive import dived
from fitting.calc.planner.earliest_due import earliest_due
from fitting.calc.planner.exchange import exchanged
from fitting.calc.planner.grid import NO_SLOT, Grid, WeeksOutgrown, grid_of
from fitting.calc.planner.openings import openings_for
from fitting.calc.planner.problem import Plan, Problem
from fitting.calc.planner.reasons import pinned_placements, placements_of, unplaced_of
from fitting.calc.planner.relaxation import relax


def plan(problem: Problem) -> Plan:
    """The plan of a problem: never over the minutes, bookings that stand kept, never dearer than the earliest-due rule.

    Returns placements with their reasons, refits without a day, and days whose opening would help most.
    """
    grid = grid_of(problem)
    by_due = earliest_due(grid)
    choice, bound = best_choice(grid, by_due)
    weeks = WeeksOutgrown(problem)
    stands = pinned_placements(problem, weeks)
    fixed = sum(placement.cost for placement in stands)
    left = [trip for trip, slot in zip(grid.trips, choice, strict=True) if slot == NO_SLOT]
    return Plan(
        placements=(*stands, *placements_of(grid, choice, weeks)),
        unplaced=unplaced_of(left, problem),
        openings=openings_for(left, problem, weeks),
        cost=grid.total(choice) + fixed,
        bound=bound + fixed,
        greedy_cost=grid.total(by_due) + fixed,
    )


def best_choice(grid: Grid, by_due: np.ndarray) -> tuple[np.ndarray, float]:
    """Slots of the best plan found, and what no plan can cost less than."""
    if not grid.trips or not grid.slots:
        return by_due, grid.total(by_due)
    relaxed = relax(grid, by_due)
    starts = (dived(grid, relaxed), by_due)
    choice = min((exchanged(grid, start) for start in starts), key=grid.total)
    return exchanged(grid, branched(grid, relaxed, choice)), relaxed.bound
