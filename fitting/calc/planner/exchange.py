"""Better plans by exchange: one trip takes another's place, that one a third's, the last goes where there is room.

Chains of moves on disjoint days (ejection chains; Thompson and Psaraftis 1993, Oper Res 41:935, for cyclic ones),
found for all trips at once by dynamic programming over the length of the chain.
"""

from dataclasses import dataclass

import numpy as np

from fitting.calc.planner.earliest_due import room_left
from fitting.calc.planner.grid import NO_SLOT, Grid

LONGEST_CHAIN = 8
LEAST_GAIN = 1e-4  # child-weeks
MOST_ROUNDS = 300
IMPOSSIBLE = np.float32(1e9)


@dataclass(frozen=True)
class Chain:
    """Trips in the order in which each takes the next one's place, the slots they go to, and what it changes."""

    trips: tuple[int, ...]
    slots: tuple[int, ...]
    change: float


def exchanged(grid: Grid, choice: np.ndarray) -> np.ndarray:
    """The plan after every chain that makes it cheaper; never over the minutes, never dearer. (T,) slots."""
    cost = np.where(np.isfinite(grid.cost), grid.cost, IMPOSSIBLE).astype(np.float32)
    for _round in range(MOST_ROUNDS):
        better = _apply(grid, choice, _chains(grid, cost, choice))
        if better is None:
            break
        choice = better
    return choice


def _chains(grid, cost, choice):
    """Chains that make the plan cheaper, best first."""
    every = np.arange(len(choice))
    now = np.where(choice == NO_SLOT, grid.left_out, cost[every, choice]).astype(np.float32)
    slot_room, day_room = room_left(grid, choice)
    room = np.minimum(slot_room, day_room[grid.slot_day])
    ends, end_change = _ends(grid, cost, room, now)
    placed = np.flatnonzero(choice != NO_SLOT)
    step = _steps(grid, cost, room, now, choice, placed)
    change, before, chains = np.zeros(len(choice), np.float32), [], []
    for _length in range(LONGEST_CHAIN):
        total = change + end_change
        chains += [
            (float(total[last]), _path(before, int(last)), int(ends[last]))
            for last in np.flatnonzero(total < -LEAST_GAIN)
        ]
        reached = change[:, None] + step
        came_from = reached.argmin(axis=0) if len(placed) else np.zeros(0, int)
        change = np.full(len(choice), IMPOSSIBLE)
        change[placed] = reached[came_from, np.arange(len(placed))]
        before.append(dict(zip(placed.tolist(), came_from.tolist(), strict=True)))
    return [Chain(path, (*(int(choice[trip]) for trip in path[1:]), end), total) for total, path, end in sorted(chains)]


def _ends(grid, cost, room, now):
    """Where each trip would go that ends a chain: its cheapest slot with room, or nowhere; and what that changes."""
    open_cost = np.where(room[None, :] >= grid.minutes[:, None], cost, IMPOSSIBLE)
    ends = open_cost.argmin(axis=1)
    least = open_cost[np.arange(len(now)), ends]
    nowhere = least > grid.left_out
    return np.where(nowhere, NO_SLOT, ends), np.where(nowhere, grid.left_out, least).astype(np.float32) - now


def _steps(grid, cost, room, now, choice, placed):
    """(T, placed): what it changes when a trip takes the place of a placed one, if it fits there."""
    slots = choice[placed]
    step = cost[:, slots] - now[:, None]
    freed = room[slots] + grid.minutes[placed]
    same_day = grid.slot_day[slots][None, :] == np.where(choice == NO_SLOT, -1, grid.slot_day[choice])[:, None]
    step[(freed[None, :] < grid.minutes[:, None]) | same_day] = IMPOSSIBLE
    return step


def _path(before, last):
    path = [last]
    for came_from in reversed(before):
        path.append(came_from[path[-1]])
    return tuple(reversed(path))


def _apply(grid, choice, chains):
    """The plan after the best chains that share no day; None when there is none."""
    better, touched = choice.copy(), set()
    for chain in chains:
        to = [int(grid.slot_day[slot]) for slot in chain.slots if slot != NO_SLOT]
        days = {*to, *(int(grid.slot_day[choice[trip]]) for trip in chain.trips if choice[trip] != NO_SLOT)}
        if len(set(chain.trips)) < len(chain.trips) or len(set(to)) < len(to) or days & touched:
            continue
        touched |= days
        better[list(chain.trips)] = chain.slots
    return better if grid.total(better) < grid.total(choice) else None
