"""The plan if trips could be split over days: a linear programme, priced out column by column, and its bound.

min sum c_ts x_ts + sum l_t u_t, sum_s x_ts + u_t = 1, sum_t m_t x_ts <= minutes of each slot and each day, x, u >= 0.
Columns are generated (Gilmore and Gomory 1961, Oper Res 9:849): few of the T x S are ever held, all of them are priced.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from fitting.calc.planner.grid import NO_SLOT, Grid

FIRST_COLUMNS, SPREAD_COLUMNS, MORE_COLUMNS = 10, 20, 12  # slots a trip starts with: cheapest, any; and gets a round
MOST_ROUNDS = 60
CLOSE_ENOUGH = 2e-4  # stop when the bound is within this share of the split plan's cost
PRICE_TOLERANCE = 1e-7


@dataclass(frozen=True)
class Relaxation:
    """bound: no plan costs less [child-weeks]; reduced: (T, S) reduced cost of each choice; reduced_left_out: (T,)

    trips, slots, share: the columns held and their values in the split plan
    """

    bound: float
    reduced: np.ndarray
    reduced_left_out: np.ndarray
    trips: np.ndarray
    slots: np.ndarray
    share: np.ndarray


def relax(grid: Grid, known: np.ndarray) -> Relaxation:
    """Solve the relaxation; the bound is the dual's and holds whatever columns are still missing.

    known: (T,) slots of any plan, to start from.
    """
    held, best = _first_columns(grid, known), None
    for _round in range(MOST_ROUNDS):
        trips, slots = np.nonzero(held)
        solved = solve(grid, trips, slots)
        priced = _priced(grid, solved, trips, slots)
        best = priced if best is None or priced.bound >= best.bound else best
        new = cheapest(np.where(held | (priced.reduced >= -PRICE_TOLERANCE), np.inf, priced.reduced), MORE_COLUMNS)
        if not new.any() or solved.fun - best.bound <= CLOSE_ENOUGH * abs(solved.fun):
            break
        held |= new
    return replace(best, trips=trips, slots=slots, share=solved.x[: len(trips)])


def _first_columns(grid, known):
    """The cheapest slots, a spread over all days for when those are full, and a plan that is known."""
    by_lot = np.random.default_rng(0).random(grid.cost.shape)
    spread = cheapest(np.where(np.isfinite(grid.cost), by_lot, np.inf), SPREAD_COLUMNS)
    held = cheapest(grid.cost, FIRST_COLUMNS) | spread
    placed = np.flatnonzero(known != NO_SLOT)
    held[placed, known[placed]] = True
    return held


def _priced(grid, solved, trips, slots):
    trip_price, by_slot, by_day = _prices(grid, solved)
    reduced = grid.cost - trip_price[:, None] + grid.minutes[:, None] * (by_slot + by_day[grid.slot_day])[None, :]
    left_out = grid.left_out - trip_price
    cheapest_each = np.minimum(reduced.min(axis=1, initial=np.inf), left_out)
    paid_for_minutes = (by_slot * grid.slot_minutes).sum() + (by_day * grid.day_minutes).sum()
    bound = float((trip_price + cheapest_each).sum() - paid_for_minutes)
    return Relaxation(bound, reduced, left_out, trips, slots, solved.x[: len(trips)])


def cheapest(cost: np.ndarray, count: int) -> np.ndarray:
    """Mark the `count` cheapest finite entries of each row."""
    marked = np.zeros(cost.shape, bool)
    if cost.shape[1] > count:
        np.put_along_axis(marked, np.argpartition(cost, count, axis=1)[:, :count], True, axis=1)
    else:
        marked[:] = True
    return marked & np.isfinite(cost)


def constraints(grid: Grid, trips: np.ndarray, slots: np.ndarray) -> tuple[csr_array, np.ndarray, csr_array]:
    """Minutes used by columns (slots, then days) with their limits, and the trip each column or left-out serves."""
    S, D, T, n = len(grid.slots), len(grid.day_minutes), len(grid.trips), len(trips)
    rows = np.concatenate([slots, S + grid.slot_day[slots]])
    columns = np.concatenate([np.arange(n), np.arange(n)])
    used = csr_array((np.tile(grid.minutes[trips], 2).astype(float), (rows, columns)), shape=(S + D, n + T))
    serves = csr_array((np.ones(n + T), (np.concatenate([trips, np.arange(T)]), np.arange(n + T))), shape=(T, n + T))
    return used, np.concatenate([grid.slot_minutes, grid.day_minutes]).astype(float), serves


def solve(grid: Grid, trips: np.ndarray, slots: np.ndarray):
    """The split plan over some columns; interior point, which is the fastest here, with crossover to a corner."""
    used, limits, serves = constraints(grid, trips, slots)
    cost = np.concatenate([grid.cost[trips, slots], grid.left_out])
    return linprog(cost, used, limits, serves, np.ones(len(grid.trips)), bounds=(0, None), method="highs-ipm")


def _prices(grid, solved):
    """What serving a trip and a minute of each slot and of each day are worth in the split plan."""
    by_slot, by_day = np.split(np.maximum(-solved.ineqlin.marginals, 0), [len(grid.slots)])
    return solved.eqlin.marginals, by_slot, by_day
