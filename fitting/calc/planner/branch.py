"""An integer programme over the choices that could still be in a better plan, or the cheapest of them."""

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from fitting.calc.planner.earliest_due import room_left
from fitting.calc.planner.grid import NO_SLOT, Grid, part_of
from fitting.calc.planner.relaxation import Relaxation, cheapest, constraints

GOOD_ENOUGH = 0.002  # stop within this share of the best; 2 % is promised
MOST_CHOICES = 3_000  # columns HiGHS decides in seconds
GROUP_TRIPS = 200
SEARCH_S = 12.0


def branched(grid: Grid, relaxed: Relaxation, choice: np.ndarray) -> np.ndarray:
    """A plan at least as good as the given one: the best where few choices could still be better, or group by group."""
    groups = _groups(grid, choice)
    for group in groups:
        gap = grid.total(choice) - relaxed.bound
        if gap <= GOOD_ENOUGH * max(relaxed.bound, 0):
            break
        choice = _searched(grid, relaxed, choice, group, gap, SEARCH_S / len(groups))
    return choice


def _groups(grid, choice):
    """Trips whose days lie together, those left out in each group."""
    left_out = np.flatnonzero(choice == NO_SLOT)
    placed = np.flatnonzero(choice != NO_SLOT)
    on = [grid.slots[slot].day.on.toordinal() for slot in choice[placed]]
    parts = np.array_split(placed[np.argsort(on, kind="stable")], max(1, round(len(placed) / GROUP_TRIPS)))
    return [np.concatenate([part, left_out]) for part in parts]


def _searched(grid, relaxed, choice, group, gap, seconds):
    """The plan with one group of trips put anew into the room the others leave."""
    others = choice.copy()
    others[group] = NO_SLOT
    slot_room, day_room = room_left(grid, others)
    rest = part_of(grid, group, slot_room, day_room)
    fits = np.minimum(slot_room, day_room[grid.slot_day])[None, :] >= rest.minutes[:, None]
    reduced = np.where(fits & _could_be_better(grid, relaxed, gap)[group], relaxed.reduced[group], np.inf)
    could = cheapest(reduced, MOST_CHOICES // len(group))
    placed = np.flatnonzero(choice[group] != NO_SLOT)
    could[placed, choice[group][placed]] = True
    found = _search(rest, *np.nonzero(could), seconds)
    if found is None:
        return choice
    others[group] = found
    return others if grid.total(others) < grid.total(choice) else choice


def _could_be_better(grid, relaxed, gap):
    """A choice whose reduced cost is beyond the gap between plan and bound is in no better plan."""
    spare = np.minimum(relaxed.reduced.min(axis=1, initial=np.inf), relaxed.reduced_left_out)
    return np.isfinite(grid.cost) & (relaxed.reduced - spare[:, None] <= gap)


def _search(grid, trips, slots, seconds):
    used, limits, serves = constraints(grid, trips, slots)
    columns = len(trips) + len(grid.trips)
    solved = milp(
        np.concatenate([grid.cost[trips, slots], grid.left_out]),
        integrality=np.ones(columns),
        bounds=Bounds(0, 1),
        constraints=[LinearConstraint(used, ub=limits), LinearConstraint(serves, 1, 1)],
        options={"mip_rel_gap": GOOD_ENOUGH / 4, "time_limit": seconds},
    )
    if solved.x is None:
        return None
    choice = np.full(len(grid.trips), NO_SLOT)
    taken = solved.x[: len(trips)] > 0.5
    choice[trips[taken]] = slots[taken]
    return choice
