"""The days of an invented course: weekdays, opening hours, and how often a child is seen."""

from datetime import date, datetime, time, timedelta

import numpy as np

from patients.models import Clinic

# Days between visits by age: every three months under five, four months under ten, then half a year. Common practice.
VISIT_EVERY_DAYS = ((60, 91), (120, 122), (10_000, 182))
NEW_LIMB_EVERY_DAYS = 45  # an acquired limb that is still settling, common practice
JITTER_DAYS = 12
FITTED_AFTER_DAYS = 24
OPENING_HOURS = (9, 10, 11, 13, 14, 15)
SATURDAY = 5


def weekday_on_or_before(day: date) -> date:
    return day - timedelta(days=max(day.weekday() - SATURDAY + 1, 0))


def weekday_on_or_after(day: date) -> date:
    return day + timedelta(days=(7 - day.weekday()) % 7 if day.weekday() >= SATURDAY else 0)


def clinic_time(clinic: Clinic, day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=clinic.zone)


def visit_days(last_seen: date, count: int, age_months: float, settling: bool, rng: np.random.Generator) -> list[date]:
    """Weekdays of `count` visits, the last on or just before `last_seen`, oldest first."""
    usual = next(every for up_to, every in VISIT_EVERY_DAYS if age_months < up_to)
    every = NEW_LIMB_EVERY_DAYS if settling else usual
    day, days = last_seen, []
    for _visit in range(count):
        days.append(weekday_on_or_before(day))
        day = days[-1] - timedelta(days=every + int(rng.integers(-JITTER_DAYS, JITTER_DAYS + 1)))
    return days[::-1]
