"""Value <-> z-score <-> centile by the LMS method, corrected age, velocity and centile curves; vectorised over rows."""

from datetime import date

import numpy as np
from scipy.special import ndtr, ndtri

from fitting.calc.errors import DoorpostError, OutOfReference
from fitting.calc.references import EDGE_MONTHS, LmsTable, height_velocity_whole_year
from fitting.calc.units import DAYS_PER_MONTH, MONTHS_PER_YEAR, age_days, age_months

TERM_WEEKS = 40  # common practice: correction counts up to a 40-week term
PRETERM_BELOW_WEEKS = 37  # common practice: born before 37 completed weeks
CORRECTION_UNTIL_MONTHS = 24.0  # common practice: corrected age is used under two years
DAYS_PER_WEEK = 7
# The velocity table's own header: "values after 17 y boys and 14 y girls look filled in, do not use them".
VELOCITY_UNTIL_MONTHS = {"M": 17 * MONTHS_PER_YEAR, "F": 14 * MONTHS_PER_YEAR}


def reference_age_months(birth_date: date, on: date, gestation_weeks: float | None = None) -> tuple[float, bool]:
    """Age to look up in a reference, and whether it was corrected for an early birth.

    gestation_weeks: completed weeks at birth, None when not known. Corrected only under 24 months of exact age.
    Returns (age [months], corrected).
    """
    exact = age_months(birth_date, on)
    if gestation_weeks is None or gestation_weeks >= PRETERM_BELOW_WEEKS or exact >= CORRECTION_UNTIL_MONTHS:
        return exact, False
    early_days = (TERM_WEEKS - gestation_weeks) * DAYS_PER_WEEK
    return (age_days(birth_date, on) - early_days) / DAYS_PER_MONTH, True


def lms_at(table: LmsTable, sex, age_months) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """L, M and S at exact ages, interpolated linearly.

    sex: "F" or "M", one or one a row; age_months: exact ages [months]; L, M and S take the shape the two broadcast to.
    Ages up to a day outside the table are looked up at its end. Raises OutOfReference at the first age further out.
    """
    sexes, ages = np.broadcast_arrays(np.asarray(sex), np.asarray(age_months, float))
    outside = ~((ages >= table.first_months - EDGE_MONTHS) & (ages <= table.last_months + EDGE_MONTHS))
    if outside.any():
        raise OutOfReference(table.measure, table.first_months, table.last_months, ages[outside].flat[0])
    lms = tuple(np.empty(ages.shape) for _ in range(3))
    for key, curves in table.curves.items():
        rows = sexes == key
        for row, curve in zip(lms, (curves.L, curves.M, curves.S), strict=True):
            row[rows] = np.interp(ages[rows], curves.age_months, curve)
    return lms


def z_score(table: LmsTable, sex, age_months, value) -> np.ndarray:
    """z of values [unit of the table] at exact ages [months]; z = ((y/M)^L - 1)/(L S), ln(y/M)/S at L = 0.

    Raises OutOfReference outside the table's ages, DoorpostError for a value that is not above zero.
    Source: Cole and Green 1992, Statistics in Medicine 11:1305.
    """
    L, M, S = lms_at(table, sex, age_months)
    value = np.asarray(value, float)
    if not np.all(value > 0):
        raise DoorpostError(f"A {table.measure} must be above zero.")
    log_ratio = np.log(value / M)
    flat = L == 0
    safe_L = np.where(flat, 1.0, L)
    return np.where(flat, log_ratio, np.expm1(safe_L * log_ratio) / safe_L) / S


def value_at_z(table: LmsTable, sex, age_months, z) -> np.ndarray:
    """Value [unit of the table] that has a z-score at exact ages [months]; nan where no value has it.

    Raises OutOfReference. Source: Cole and Green 1992.
    """
    L, M, S = lms_at(table, sex, age_months)
    z = np.asarray(z, float)
    flat = L == 0
    safe_L = np.where(flat, 1.0, L)
    grown = safe_L * S * z
    grown = np.where(grown > -1, grown, np.nan)
    return M * np.exp(np.where(flat, S * z, np.log1p(grown) / safe_L))


def centile_of_z(z) -> np.ndarray:
    """Centile [0-100] of a z-score."""
    return 100 * ndtr(z)


def z_of_centile(centile) -> np.ndarray:
    """z-score of a centile [0-100]."""
    return ndtri(np.asarray(centile, float) / 100)


def centile_curves(table: LmsTable, sex: str, centiles, age_months) -> np.ndarray:
    """Chart lines: values (C, A) [unit of the table] of centiles (C,) [0-100] at ages (A,) [months].

    Raises OutOfReference.
    """
    return value_at_z(table, sex, np.asarray(age_months, float)[None, :], z_of_centile(centiles)[:, None])


def velocity(age_months, value) -> tuple[np.ndarray, np.ndarray]:
    """Growth between successive readings: mid-ages (R-1,) [months] and velocity (R-1,) [unit of the values per year].

    age_months: rising ages (R,) [months]; value: (R,). Raises DoorpostError when two ages do not rise.
    """
    ages = np.asarray(age_months, float)
    step = np.diff(ages)
    if np.any(step <= 0):
        raise DoorpostError("Velocity needs readings on different days, oldest first.")
    return ages[:-1] + step / 2, np.diff(np.asarray(value, float)) / step * MONTHS_PER_YEAR


def height_velocity_curves(sex: str) -> tuple[np.ndarray, np.ndarray]:
    """Chart lines of whole-year height velocity at usable mid-ages (A,) [months]: p5, p50, p95 (3, A) [mm/year]."""
    ages, *lines = height_velocity_whole_year()[sex]
    usable = ages <= VELOCITY_UNTIL_MONTHS[sex]
    return ages[usable], 10 * np.array(lines)[:, usable]
