"""What the figures of a site come to: a word, a drift, a change since the last visit, muscles that pull together."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle.boundaries import LevelFit, Repetition
from fitting.calc.muscle.recording import REST

USABLE_D, MARGINAL_D = 1.5, 1.0  # smallest distance of neighbouring levels; own analysis of open adult recordings
DRIFT_LN = 0.35  # first to last repetition, the spread expected between repetitions, common practice
CHANGE_NOISE_LN, CHANGE_NOISE_FEEDBACK_LN = 0.7, 0.4  # between visits, without and with visual feedback; as USABLE_D
COCONTRACTION = 0.5  # second channel against the first, each as a share of its own hard level


class Verdict(StrEnum):
    USABLE = "usable"
    MARGINAL = "marginal"
    RETRY = "retry"


@dataclass(frozen=True)
class Drift:
    """Change over the recording from the first repetition to the last [ln unit], with its standard error."""

    ln: float
    error_ln: float
    warned: bool


@dataclass(frozen=True)
class Change:
    """Change of one level since the last visit [ln unit]; noise: too small to be told from chance."""

    level: str
    ln: float
    noise: bool


def verdict_of(d_prime: float) -> Verdict:
    """The word for the smallest distance of neighbouring levels. The limits come from adults."""
    if d_prime >= USABLE_D:
        return Verdict.USABLE
    return Verdict.MARGINAL if d_prime >= MARGINAL_D else Verdict.RETRY


def drift_of(repetitions: Sequence[Repetition], levels: Sequence[LevelFit]) -> Drift:
    """Common change of the levels other than rest from their first repetition to their last, by least squares.

    Warned when it exceeds 0.35 and twice its standard error; unknown with fewer repetitions than that takes.
    """
    fits = {fit.level: fit for fit in levels if fit.level != REST and fit.repetitions > 1}
    moving = [rep for rep in repetitions if rep.hold.level in fits]
    free = len(moving) - len(fits) - 1
    if free < 1:
        return Drift(0.0, float("inf"), False)
    x = np.array([rep.hold.repetition / (fits[rep.hold.level].repetitions - 1) - 0.5 for rep in moving])
    y = np.array([rep.mean_ln - fits[rep.hold.level].mean_ln for rep in moving])
    ln = float(x @ y / (x @ x))
    error_ln = float(np.sqrt(np.sum((y - ln * x) ** 2) / free / (x @ x)))
    return Drift(ln, error_ln, abs(ln) > max(DRIFT_LN, 2 * error_ln))


def changes_since(now: dict[str, float], then: dict[str, float], visual_feedback: bool) -> tuple[Change, ...]:
    """Change of each level both visits held: mean log envelope by level [ln unit].

    visual_feedback: whether the person saw the signal on both visits. Only for the same electrode and gain.
    """
    limit = CHANGE_NOISE_FEEDBACK_LN if visual_feedback else CHANGE_NOISE_LN
    return tuple(
        Change(level, now[level] - then[level], abs(now[level] - then[level]) < limit) for level in now if level in then
    )


def cocontraction_of(acting_hold: float, acting_hard: float, other_hold: float, other_hard: float) -> float:
    """Envelope of the other muscle as a share of its own hard level, relative to the same of the acting muscle.

    Raises DoorpostError where a hard level is not above 0.
    """
    if min(acting_hold, acting_hard, other_hard) <= 0:
        raise DoorpostError("A hard level must be above 0 to compare two muscles.")
    return (other_hold / other_hard) / (acting_hold / acting_hard)
