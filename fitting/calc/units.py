"""Canonical units of the computation: mm, kg, days and years; conversion of text lives at the edge, not here."""

from datetime import date

import numpy as np

DAYS_PER_YEAR = 365.25
MONTHS_PER_YEAR = 12
DAYS_PER_MONTH = DAYS_PER_YEAR / MONTHS_PER_YEAR  # 30.4375, the month of the published growth charts


def age_days(birth_date: date, on: date) -> int:
    """Age on a day [days]."""
    return (on - birth_date).days


def age_months(birth_date: date, on: date) -> float:
    """Exact age on a day [months of 30.4375 days]."""
    return age_days(birth_date, on) / DAYS_PER_MONTH


def age_years(birth_date: date, on: date) -> float:
    """Exact age on a day [years of 365.25 days]."""
    return age_days(birth_date, on) / DAYS_PER_YEAR


def months_to_days(months):
    """Whole days in a number of months, rounded to the nearest day [months] -> [days]."""
    return np.rint(np.asarray(months, float) * DAYS_PER_MONTH).astype(int)
