"""Repeated takes of one reading, and what counts as a real change."""

import math
from collections.abc import Sequence

from fitting.calc.errors import DoorpostError

MOST_TAKES = 3

# Ask for a third take when two differ by more than this. Girth and length: limits of the WHO growth study, from memory.
# Weight: PhenX weight protocol (LOINC 62297-7).
THIRD_TAKE_GIRTH_MM = 5.0
THIRD_TAKE_LENGTH_MM = 7.0
THIRD_TAKE_WEIGHT_KG = 0.2

# 1.96 * sqrt(2): the 95 % limit of the difference of two single readings (Ulijaszek and Kerr, Br J Nutr 1999;82:165).
REAL_CHANGE_FACTOR = 2.77

SAME = 1e-9


def closest_two_mean(takes: Sequence[float]) -> float:
    """Value of a reading from one to three takes.

    takes: one to three values in one unit. Returns the single take, the mean of two, or of three takes the mean of the
    closest two; when both gaps are equal, the median. Raises DoorpostError for none or more than three.
    Source: PhenX weight protocol (two closest averaged); the tie rule is common practice.
    """
    if not 1 <= len(takes) <= MOST_TAKES:
        raise DoorpostError(f"A reading has one to three takes, not {len(takes)}.")
    if len(takes) < MOST_TAKES:
        return sum(takes) / len(takes)
    low, middle, high = sorted(takes)
    below, above = middle - low, high - middle
    if abs(below - above) <= SAME * max(abs(high), 1.0):
        return middle
    return (low + middle) / 2 if below < above else (middle + high) / 2


def needs_third_take(takes: Sequence[float], limit: float) -> bool:
    """Whether exactly two takes differ by more than the limit [same unit as the takes]."""
    return len(takes) == 2 and abs(takes[0] - takes[1]) > limit + SAME


def tem(differences: Sequence[float]) -> float:
    """Technical error of measurement from the differences of paired takes [unit of the takes].

    TEM = sqrt(sum(d^2) / 2N). Raises DoorpostError without pairs. Source: Br J Nutr 1999;82:165.
    """
    if not differences:
        raise DoorpostError("The error of measurement needs at least one pair of takes.")
    return math.sqrt(sum(difference**2 for difference in differences) / (2 * len(differences)))


def noise_band(tem_value: float) -> float:
    """Half-width within which two single readings do not really differ: 2.77 x TEM [unit of the TEM]."""
    return REAL_CHANGE_FACTOR * tem_value


def noise_between(errors: Sequence[float]) -> float:
    """Half-width within which readings with these errors do not really differ: 2.77 x their root mean square."""
    return noise_band(math.sqrt(sum(error**2 for error in errors) / len(errors)))


def is_real_change(before: float, after: float, tem_value: float) -> bool:
    """Whether two readings of one measure differ by more than their noise."""
    return abs(after - before) > noise_band(tem_value)
