"""An integer programme over the choices that could still be in a better plan, where those are few enough."""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from fitting.calc.planner.grid import NO_SLOT, Grid
from fitting.calc.planner.relaxation import Relaxation, constraints

GOOD_ENOUGH = 0.002  # stop within this share of the best; 2 % is promised
MOST_CHOICES = 6_000  # columns HiGHS decides in seconds
SEARCH_S = 8.0


def branched(grid: Grid, relaxed: Relaxation, choice: np.ndarray) -> np.ndarray:
    """The best plan, or the given one where it is good enough already or too many choices could be better.

    A choice whose reduced cost is beyond the gap between plan and bound is in no better plan.
    """
    gap = grid.total(choice) - relaxed.bound
    if gap <= GOOD_ENOUGH * max(relaxed.bound, 0):
        return choice
    spare = np.minimum(relaxed.reduced.min(axis=1, initial=np.inf), relaxed.reduced_left_out)
    could = np.isfinite(grid.cost) & (relaxed.reduced - spare[:, None] <= gap)
    placed = np.flatnonzero(choice != NO_SLOT)
    could[placed, choice[placed]] = True
    if could.sum() > MOST_CHOICES:
        return choice
    found = _search(grid, *np.nonzero(could))
    return choice if found is None or grid.total(found) >= grid.total(choice) else found


def _search(grid, trips, slots):
    used, limits, serves = constraints(grid, trips, slots)
    columns = len(trips) + len(grid.trips)
    solved = milp(
        np.concatenate([grid.cost[trips, slots], grid.left_out]),
        integrality=np.ones(columns),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(used, ub=limits), LinearConstraint(serves, 1, 1)],
        options={"mip_rel_gap": GOOD_ENOUGH / 4, "time_limit": SEARCH_S},
    )
    if solved.x is None:
        return None
    choice = np.full(len(grid.trips), NO_SLOT)
    taken = solved.x[: len(trips)] > 0.5
    choice[trips[taken]] = slots[taken]
    return choice
