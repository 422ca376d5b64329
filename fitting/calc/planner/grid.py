"""The numbers of a plan: trips x slots. A trip is a household's refits of one day; a slot one member of staff's day."""

from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np

from fitting.calc.planner.chance import DAYS_PER_WEEK, chance_by, outgrown_weeks
from fitting.calc.planner.problem import ANY_LANGUAGE, ANYBODY, ClinicDay, Problem, Refit

# Prices in child-weeks worn outgrown; common practice, no source.
WEEK_EARLY = 0.02  # each week before the last good day: room to grow that is thrown away
HOUR_OF_TRAVEL = 0.05
LEFT_OUT = 13.0  # beyond the dearest day there is: a quarter of a year until days are opened

NO_SLOT = -1


@dataclass(frozen=True)
class Slot:
    """One member of staff on one clinic day."""

    day: ClinicDay
    staff: str


@dataclass(frozen=True)
class Grid:
    """Costs and limits; T trips, S slots, D days.

    trips: the refits of each; cost: (T, S) child-weeks, inf where a trip cannot go; minutes: (T,) [min]
    left_out: (T,) cost of no day; slot_day: (S,) index of the day; slot_minutes, day_minutes: free minutes [min]
    """

    trips: tuple[tuple[Refit, ...], ...]
    slots: tuple[Slot, ...]
    cost: np.ndarray
    minutes: np.ndarray
    left_out: np.ndarray
    slot_day: np.ndarray
    slot_minutes: np.ndarray
    day_minutes: np.ndarray

    def total(self, choice: np.ndarray) -> float:
        """Cost of a choice of slots, (T,) with NO_SLOT for a trip left out."""
        placed = choice != NO_SLOT
        return float(self.cost[placed, choice[placed]].sum() + self.left_out[~placed].sum())


def part_of(grid: Grid, trips: np.ndarray, slot_minutes: np.ndarray, day_minutes: np.ndarray) -> Grid:
    """The same for some of the trips, in the minutes that are left to them."""
    return replace(
        grid,
        trips=tuple(grid.trips[trip] for trip in trips),
        cost=grid.cost[trips],
        minutes=grid.minutes[trips],
        left_out=grid.left_out[trips],
        slot_minutes=slot_minutes,
        day_minutes=day_minutes,
    )


def grid_of(problem: Problem) -> Grid:
    """Trips, slots, costs and free minutes of a problem; bookings that stand are taken off the minutes."""
    slots = tuple(Slot(day, who) for day in problem.days for who, _minutes in day.staff)
    days = {day.key: index for index, day in enumerate(problem.days)}
    weeks = WeeksOutgrown(problem)
    trips, cost = _trips_and_costs(problem, slots, weeks)
    slot_minutes, day_minutes = _free_minutes(problem, slots)
    minutes = np.array([sum(refit.minutes for refit in trip) for trip in trips], int)
    dearest = np.where(np.isfinite(cost), cost, 0).max(axis=1, initial=0)
    heads = np.array([len(trip) for trip in trips], int)
    return Grid(
        trips=trips,
        slots=slots,
        cost=cost,
        minutes=minutes,
        left_out=np.maximum(dearest, [weeks.at_end(trip) for trip in trips]) + LEFT_OUT * heads,
        slot_day=np.array([days[slot.day.key] for slot in slots], int),
        slot_minutes=slot_minutes,
        day_minutes=day_minutes,
    )


class WeeksOutgrown:
    """Chance of being outgrown and weeks worn outgrown, of any refit of a problem on any day up to the last."""

    def __init__(self, problem: Problem):
        days = [day.on for day in (*problem.days, *problem.could_open)]
        self.first = problem.as_of.toordinal()
        self.grid = np.arange(self.first, max([self.first, *(day.toordinal() for day in days)]) + 1)
        self._known = {}

    def _curves(self, refit):
        days = (refit.early, refit.likely, refit.late)
        if days not in self._known:
            chances = chance_by(self.grid, *days)
            self._known[days] = chances, outgrown_weeks(chances)
        return self._known[days]

    def at(self, refit: Refit, ordinals) -> tuple[np.ndarray, np.ndarray]:
        """Chance and child-weeks by the days [proleptic ordinals]; days past count as today."""
        chances, weeks = self._curves(refit)
        place = np.clip(np.asarray(ordinals) - self.first, 0, len(self.grid) - 1)
        return chances[place], weeks[place]

    def at_end(self, trip) -> float:
        return sum(float(self._curves(refit)[1][-1]) for refit in trip)


def _trips_and_costs(problem, slots, weeks):
    trips, rows = [], []
    for refits in _households(problem.refits):
        together = [(refits, costs_of(refits, problem, slots, weeks))]
        if len(refits) > 1 and not np.isfinite(together[0][1]).any():
            together = [((refit,), costs_of((refit,), problem, slots, weeks)) for refit in refits]
        for trip, row in together:
            trips.append(trip)
            rows.append(row)
    return tuple(trips), np.array(rows).reshape(len(trips), len(slots))


def _households(refits):
    """Refits without a booking, household by household; those of no household alone."""
    groups = defaultdict(list)
    for refit in refits:
        if refit.pinned is None:
            groups[("household", refit.household) if refit.household else ("refit", refit.key)].append(refit)
    return [tuple(group) for group in groups.values()]


def costs_of(trip: tuple[Refit, ...], problem: Problem, slots, weeks: WeeksOutgrown) -> np.ndarray:
    """Cost of a trip in each slot [child-weeks], inf where it cannot go."""
    on = np.array([slot.day.on.toordinal() for slot in slots], int)
    cost = _travel(trip, problem, slots)
    for refit in trip:
        _chances, outgrown = weeks.at(refit, on)
        early = np.maximum(refit.fitted_by.toordinal() - on, 0) / DAYS_PER_WEEK
        cost = cost + outgrown + WEEK_EARLY * early
    return np.where(_possible(trip, problem, slots, on), cost, np.inf)


def _travel(trip, problem, slots):
    """The way of the trip [child-weeks]; none on a day on which the household comes anyway."""
    household, longest = trip[0].household, defaultdict(int)
    for refit in trip:
        for clinic, minutes in refit.travel_minutes:
            longest[clinic] = max(longest[clinic], minutes)
    comes = {
        refit.pinned.day for refit in problem.refits if household and refit.household == household and refit.pinned
    }
    minutes = [0 if slot.day.key in comes else longest[slot.day.clinic] for slot in slots]
    return HOUR_OF_TRAVEL * np.array(minutes, float) / 60


def _possible(trip, problem, slots, on):
    clinics = set.intersection(*({clinic for clinic, _minutes in refit.travel_minutes} for refit in trip))
    languages = {refit.language for refit in trip} - {ANY_LANGUAGE}
    staff = {refit.staff for refit in trip} - {ANYBODY}
    minutes = sum(refit.minutes for refit in trip)
    ready = max(max(refit.ready_on for refit in trip), problem.as_of).toordinal()
    who_and_where = [
        slot.day.clinic in clinics
        and languages <= slot.day.languages
        and staff <= {slot.staff}
        and minutes <= min(dict(slot.day.staff)[slot.staff], slot.day.minutes)
        for slot in slots
    ]
    return np.array(who_and_where, bool) & (on >= ready)


def _free_minutes(problem, slots):
    """Minutes left to each slot and each day; a day that is overbooked already has none."""
    taken_of_day, taken_of_slot = defaultdict(int), defaultdict(int)
    for booking in (*problem.taken, *(refit.pinned for refit in problem.refits if refit.pinned)):
        taken_of_day[booking.day] += booking.minutes
        taken_of_slot[booking.day, booking.staff] += booking.minutes
    of_slots = [dict(slot.day.staff)[slot.staff] - taken_of_slot[slot.day.key, slot.staff] for slot in slots]
    of_days = [day.minutes - taken_of_day[day.key] for day in problem.days]
    return np.maximum(np.array(of_slots, int), 0), np.maximum(np.array(of_days, int), 0)
