"""From the split plan to whole trips: settle the surest, solve the rest again in the room that is left, and so on."""

import numpy as np

from fitting.calc.planner.earliest_due import fill, room_left
from fitting.calc.planner.grid import NO_SLOT, Grid, part_of
from fitting.calc.planner.relaxation import Relaxation, cheapest, solve

WHOLE, TOO_LITTLE = 0.9, 0.05  # shares that settle a trip, and that never do
QUOTA, LEAST_QUOTA = 0.25, 20  # of the open trips, settled in a round below a whole share
COLUMNS_A_TRIP = 15


def dived(grid: Grid, relaxed: Relaxation) -> np.ndarray:
    """A plan of whole trips, (T,) slots; what finds no room in the end is filled in by the prices."""
    choice = np.full(len(grid.trips), NO_SLOT)
    columns = relaxed.trips, relaxed.slots, relaxed.share
    while True:
        settled = _settle(grid, choice, *columns)
        waiting = np.flatnonzero(choice == NO_SLOT)
        if not settled or not len(waiting):
            return fill(grid, waiting[np.argsort(-grid.left_out[waiting], kind="stable")], relaxed.reduced, choice)
        columns = _solve_rest(grid, relaxed, choice, waiting)


def _settle(grid, choice, trips, slots, share) -> int:
    """Write the surest columns that fit into the choice; returns how many."""
    quota = max(LEAST_QUOTA, int(QUOTA * (choice == NO_SLOT).sum()))
    slot_room, day_room = room_left(grid, choice)
    settled = 0
    for column in np.argsort(-share, kind="stable"):
        if share[column] <= TOO_LITTLE or (share[column] < WHOLE and settled >= quota):
            break
        trip, slot = trips[column], slots[column]
        day, minutes = grid.slot_day[slot], grid.minutes[trip]
        if choice[trip] == NO_SLOT and minutes <= min(slot_room[slot], day_room[day]):
            choice[trip] = slot
            slot_room[slot] -= minutes
            day_room[day] -= minutes
            settled += 1
    return settled


def _solve_rest(grid, relaxed, choice, waiting):
    slot_room, day_room = room_left(grid, choice)
    fits = np.minimum(slot_room, day_room[grid.slot_day])[None, :] >= grid.minutes[waiting][:, None]
    reduced = np.where(fits & np.isfinite(grid.cost[waiting]), relaxed.reduced[waiting], np.inf)
    trips, slots = np.nonzero(cheapest(reduced, COLUMNS_A_TRIP))
    rest = part_of(grid, waiting, slot_room, day_room)
    return waiting[trips], slots, solve(rest, trips, slots).x[: len(trips)]
