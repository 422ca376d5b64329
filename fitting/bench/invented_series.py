"""Invented children for the speed figures: each follows a centile of the growth tables, read with an error."""

import numpy as np

from fitting.calc.lms import value_at_z
from fitting.calc.parts import DEFAULT_ERROR_SD, part_of
from fitting.calc.references import lms_table
from fitting.calc.series import Readings, Series
from fitting.calc.units import MONTHS_PER_YEAR

VISITS = 6
YEARS_APART = 0.5
FIRST_YEARS, LAST_YEARS = 2.5, 13.0  # age at the first visit; the oldest pass the end of the tables within the search
UNEVEN_YEARS = 0.05  # how far a visit is from its usual day
GROWN_LIKE = {
    "stature": ("stature_cdc2000", DEFAULT_ERROR_SD["stature"]),
    "weight": ("weight_cdc2000", DEFAULT_ERROR_SD["weight"]),
    "length": ("elbow_wrist_length_us1977", DEFAULT_ERROR_SD["length"]),
    "girth": ("forearm_girth_us1977", DEFAULT_ERROR_SD["girth"]),
}


def invented_series(measure: str, companions: tuple[str, ...], children: int, seed: int) -> Series:
    """Six visits of each child, half a year apart; companions: "stature", "weight"."""
    rng = np.random.default_rng(seed)
    male = rng.random(children) < 0.5
    first = rng.uniform(FIRST_YEARS, LAST_YEARS, (children, 1))
    ages = first + YEARS_APART * np.arange(VISITS) + rng.uniform(-UNEVEN_YEARS, UNEVEN_YEARS, (children, VISITS))
    z = rng.normal(0, 1, (children, 1))
    others = {name: _readings(name, male, ages, z, rng) for name in companions}
    return Series(part_of(measure), male, _readings(measure.partition(":")[0], male, ages, z, rng), **others)


def _readings(name, male, ages, z, rng):
    table, error_sd = GROWN_LIKE[name]
    sex = np.where(male, "M", "F")[:, None]
    size = value_at_z(lms_table(table), sex, ages * MONTHS_PER_YEAR, z)
    return Readings(ages, size + rng.normal(0, error_sd, ages.shape), np.full(ages.shape, error_sd))
