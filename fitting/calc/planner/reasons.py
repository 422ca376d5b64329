"""Why a refit stands where it stands, or nowhere: codes, put into words by the page."""

import numpy as np

from fitting.calc.planner.chance import DAYS_PER_WEEK
from fitting.calc.planner.earliest_due import room_left
from fitting.calc.planner.grid import HOUR_OF_TRAVEL, NO_SLOT, WEEK_EARLY, Grid, WeeksOutgrown
from fitting.calc.planner.problem import ANY_LANGUAGE, ANYBODY, Placement, Problem, Unplaced

PINNED, BEST_DAY, BETTER_DAY_FULL = "pinned", "best_day", "better_day_full"
TOGETHER, LANGUAGE_DAY, WITH_STAFF, FIRST_READY = "together", "language_day", "with_staff", "first_ready"
IN_TIME, AFTER_LAST_GOOD_DAY = "in_time", "after_last_good_day"
NO_CLINIC_DAY, NO_LANGUAGE_DAY, NO_STAFF_DAY = "no_clinic_day", "no_language_day", "no_staff_day"
READY_TOO_LATE, TOO_LONG, DAYS_FULL = "ready_too_late", "too_long", "days_full"


def placements_of(grid: Grid, choice: np.ndarray, weeks: WeeksOutgrown) -> tuple[Placement, ...]:
    """Each placed refit with its reasons."""
    placed = np.flatnonzero(choice != NO_SLOT)
    _slot_room, day_room = room_left(grid, choice)
    return tuple(
        _placement(refit, grid, int(trip), int(choice[trip]), day_room, weeks)
        for trip in placed
        for refit in grid.trips[trip]
    )


def _placement(refit, grid, trip, slot, day_room, weeks):
    at, costs = grid.slots[slot], grid.cost[trip]
    better = int(np.argmin(costs))
    is_best = costs[slot] <= costs[better]
    chances, outgrown = weeks.at(refit, [at.day.on.toordinal()])
    why = [BEST_DAY if is_best else BETTER_DAY_FULL, *_also(refit, grid.trips[trip], at)]
    return Placement(
        refit=refit.key,
        day=at.day.key,
        staff=at.staff,
        chance=float(chances[0]),
        child_weeks=float(outgrown[0]),
        cost=float(costs[slot]),
        why=tuple(why),
        instead_of="" if is_best else grid.slots[better].day.key,
    )


def _also(refit, trip, at):
    holds = {
        TOGETHER: len(trip) > 1,
        LANGUAGE_DAY: refit.language != ANY_LANGUAGE,
        WITH_STAFF: refit.staff != ANYBODY,
        FIRST_READY: at.day.on == refit.ready_on,
        IN_TIME: at.day.on <= refit.fitted_by,
        AFTER_LAST_GOOD_DAY: at.day.on > refit.fitted_by,
    }
    return [code for code, held in holds.items() if held]


def pinned_placements(problem: Problem, weeks: WeeksOutgrown) -> tuple[Placement, ...]:
    """Bookings that stand, as they stand."""
    days = {day.key: day for day in problem.days}
    return tuple(_pinned(refit, days[refit.pinned.day], weeks) for refit in problem.refits if refit.pinned)


def _pinned(refit, day, weeks):
    chances, outgrown = weeks.at(refit, [day.on.toordinal()])
    early = max((refit.fitted_by - day.on).days, 0) / DAYS_PER_WEEK
    way = HOUR_OF_TRAVEL * dict(refit.travel_minutes).get(day.clinic, 0) / 60
    timing = IN_TIME if day.on <= refit.fitted_by else AFTER_LAST_GOOD_DAY
    return Placement(
        refit=refit.key,
        day=day.key,
        staff=refit.pinned.staff,
        chance=float(chances[0]),
        child_weeks=float(outgrown[0]),
        cost=float(outgrown[0]) + WEEK_EARLY * early + way,
        why=(PINNED, timing),
    )


def unplaced_of(trips, problem: Problem) -> tuple[Unplaced, ...]:
    return tuple(Unplaced(refit.key, why_no_day(refit, trip, problem)) for trip in trips for refit in trip)


def why_no_day(refit, trip, problem: Problem) -> str:
    """The first thing that leaves no day: where, language, who, when, how long; or that the days are full."""
    clinics = dict(refit.travel_minutes)
    minutes = sum(other.minutes for other in trip)
    ready = max(problem.as_of, *(other.ready_on for other in trip))
    narrowing = (
        (NO_CLINIC_DAY, lambda day: day.clinic in clinics and day.on >= problem.as_of),
        (NO_LANGUAGE_DAY, lambda day: refit.language == ANY_LANGUAGE or refit.language in day.languages),
        (NO_STAFF_DAY, lambda day: _works(refit, day)),
        (READY_TOO_LATE, lambda day: day.on >= ready),
        (TOO_LONG, lambda day: minutes <= min(day.minutes, _longest(refit, day))),
    )
    days = problem.days
    for code, holds in narrowing:
        days = [day for day in days if holds(day)]
        if not days:
            return code
    return DAYS_FULL


def _works(refit, day):
    return bool(day.staff) if refit.staff == ANYBODY else refit.staff in dict(day.staff)


def _longest(refit, day):
    return max((m for who, m in day.staff if refit.staff in (ANYBODY, who)), default=0)
