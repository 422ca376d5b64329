"""Where a muscle site is to be looked for at a new residual length."""

from dataclasses import dataclass

from fitting.calc.errors import DoorpostError

SAME_LENGTH_MM = 3.0  # the error of one length reading; within it the place stays, common practice


@dataclass(frozen=True)
class SuggestedPlace:
    """Distance from the same landmark [mm]; retest: the limb has grown since, so the place is a guess to be tried."""

    distance_mm: float
    retest: bool


def percent_of_length(distance_mm: float, length_mm: float) -> float:
    """Distance as a share of the residual length [%]; raises DoorpostError for a length not above 0."""
    if length_mm <= 0:
        raise DoorpostError("A residual length must be above 0 mm.")
    return 100 * distance_mm / length_mm


def suggested_place(distance_mm: float, length_then_mm: float, length_now_mm: float) -> SuggestedPlace:
    """The same share of the length as it was then, at today's length; common practice."""
    share = percent_of_length(distance_mm, length_then_mm) / 100
    if abs(length_now_mm - length_then_mm) < SAME_LENGTH_MM:
        return SuggestedPlace(distance_mm, False)
    return SuggestedPlace(share * length_now_mm, True)
