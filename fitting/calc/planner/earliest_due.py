"""Plans made one trip after the other: the earliest-due rule, and filling what room is left."""

import numpy as np

from fitting.calc.planner.grid import NO_SLOT, Grid


def earliest_due(grid: Grid) -> np.ndarray:
    """Each trip, in the order of its last good day, onto its own cheapest slot with room; (T,) slots."""
    due = [min(refit.fitted_by for refit in trip).toordinal() for trip in grid.trips]
    return fill(grid, np.argsort(due, kind="stable"), grid.cost)


def fill(grid: Grid, order: np.ndarray, wish: np.ndarray, choice: np.ndarray | None = None) -> np.ndarray:
    """Put trips one by one onto the slot they wish most and that has room.

    order: trips still to place; wish: (T, S), lower is better; choice: what is placed already. Returns (T,) slots.
    """
    choice = np.full(len(grid.trips), NO_SLOT) if choice is None else choice.copy()
    slot_room, day_room = room_left(grid, choice)
    for trip in order:
        fits = np.minimum(slot_room, day_room[grid.slot_day]) >= grid.minutes[trip]
        wished = np.where(fits & np.isfinite(grid.cost[trip]), wish[trip], np.inf)
        best = int(np.argmin(wished)) if len(wished) else NO_SLOT
        if best == NO_SLOT or not np.isfinite(wished[best]):
            continue
        choice[trip] = best
        slot_room[best] -= grid.minutes[trip]
        day_room[grid.slot_day[best]] -= grid.minutes[trip]
    return choice


def room_left(grid: Grid, choice: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Minutes left to slots and days after a choice [min]."""
    placed = choice != NO_SLOT
    slot_room, day_room = grid.slot_minutes.copy(), grid.day_minutes.copy()
    np.subtract.at(slot_room, choice[placed], grid.minutes[placed])
    np.subtract.at(day_room, grid.slot_day[choice[placed]], grid.minutes[placed])
    return slot_room, day_room
