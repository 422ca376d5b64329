"""How the chance of a socket being outgrown changes with the day a child is booked on: read from stored promises."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from fitting.calc.planner.chance import chance_by
from fitting.day_books import day_books
from fitting.models import Forecast
from patients.models import Child

DAYS_AHEAD, MOST_ROWS = 180, 12
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class DayRisk:
    """One day to choose: minutes free, None where a clinic does not plan by days; chance of being outgrown by then."""

    on: date
    free: int | None
    chance: float


def day_risks(child: Child, as_of: date) -> list[DayRisk]:
    """The next open days of the child's clinic, or the same weekday of the weeks ahead; none without dates."""
    promised = list(Forecast.objects.filter(current_for__limb__child=child, early__isnull=False))
    if not promised:
        return []
    books = day_books(child.clinic, as_of, as_of + timedelta(days=DAYS_AHEAD))
    days = [(book.day.on, book.free) for book in books] or [(as_of + WEEK * week, None) for week in range(MOST_ROWS)]
    ordinals = np.array([on.toordinal() for on, _free in days[:MOST_ROWS]])
    chances = np.max([chance_by(ordinals, row.early, row.likely, row.late) for row in promised], axis=0)
    return [DayRisk(on, free, float(chance)) for (on, free), chance in zip(days, chances, strict=False)]
