"""Which closed days to open for refits that find no day: the one that saves most first."""

import numpy as np

from fitting.calc.planner.grid import LEFT_OUT, Slot, WeeksOutgrown, costs_of
from fitting.calc.planner.problem import Opening, Problem

MOST_OPENINGS = 10


def openings_for(left: list, problem: Problem, weeks: WeeksOutgrown) -> tuple[Opening, ...]:
    """Days to open for the trips left out, each with the refits it takes and what it saves [child-weeks].

    Chosen one after the other; a day takes the trips that save most for each minute, as long as there is room.
    """
    slots = tuple(Slot(day, who) for day in problem.could_open for who, _minutes in day.staff)
    if not left or not slots:
        return ()
    cost = np.array([costs_of(trip, problem, slots, weeks) for trip in left])
    without = np.array([weeks.at_end(trip) + LEFT_OUT * len(trip) for trip in left])
    saving = np.where(np.isfinite(cost), without[:, None] - cost, 0.0)
    minutes = np.array([sum(refit.minutes for refit in trip) for trip in left])
    return tuple(_openings(left, problem.could_open, slots, saving, minutes))


def _openings(left, days, slots, saving, minutes):
    waiting = np.ones(len(left), bool)
    of_day = {day.key: [index for index, slot in enumerate(slots) if slot.day is day] for day in days}
    for _number in range(MOST_OPENINGS):
        filled = [(day, _fill(day, of_day[day.key], slots, saving * waiting[:, None], minutes)) for day in days]
        day, (taken, saved) = max(filled, key=lambda item: item[1][1])
        if not taken:
            return
        waiting[taken] = False
        yield Opening(day, tuple(refit.key for trip in taken for refit in left[trip]), saved)


def _fill(day, slots_of_day, slots, saving, minutes):
    """Trips a day would take, and what they save."""
    day_room, room = day.minutes, {index: dict(day.staff)[slots[index].staff] for index in slots_of_day}
    best = saving[:, slots_of_day].max(axis=1)
    taken, saved = [], 0.0
    for trip in np.argsort(-best / minutes, kind="stable"):
        for index in slots_of_day:
            if saving[trip, index] > 0 and minutes[trip] <= min(room[index], day_room):
                room[index] -= minutes[trip]
                day_room -= minutes[trip]
                taken.append(int(trip))
                saved += float(saving[trip, index])
                break
    return taken, saved
