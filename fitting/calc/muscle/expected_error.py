"""How often a sample of a new repetition would fall into the wrong level: leave one repetition out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from fitting.calc.muscle.boundaries import Repetition, boundaries_of, classify, fit_levels
from fitting.calc.muscle.recording import LEVELS, REST

Z_95 = 1.959964
# Shares of the strongest envelope, as fixed thresholds are commonly set: one for each boundary from light up.
FIXED_SHARES = {"25_50_75": (0.25, 0.50, 0.75), "10_33_66": (0.10, 0.33, 0.66)}


@dataclass(frozen=True)
class ExpectedError:
    """Share of samples in the wrong level with its 95 % interval; holds: how many holds it rests on."""

    share: float
    low: float
    high: float
    holds: int


def leave_one_out(repetitions: Sequence[Repetition]) -> list[tuple[list[Repetition], list[Repetition]]]:
    """Pairs of what is left and what is held out: the holds of one number at every level that has more than one."""
    counts = {level: sum(rep.hold.level == level for rep in repetitions) for level in LEVELS}
    numbers = sorted({rep.hold.repetition for rep in repetitions if counts[rep.hold.level] > 1})
    return [
        (
            [rep for rep in repetitions if rep.hold.repetition != number or counts[rep.hold.level] == 1],
            [rep for rep in repetitions if rep.hold.repetition == number and counts[rep.hold.level] > 1],
        )
        for number in numbers
    ]


def fitted(repetitions: Sequence[Repetition]) -> tuple[float, ...]:
    """Boundaries fitted to repetitions [ln unit]."""
    return boundaries_of(fit_levels(repetitions))


def fixed(shares: Sequence[float]) -> Callable[[Sequence[Repetition]], tuple[float, ...]]:
    """Boundaries at shares of the strongest envelope in the repetitions given [ln unit]."""

    def of(repetitions):
        strongest = max(float(rep.values.max()) for rep in repetitions)
        return tuple(strongest + np.log(shares))

    return of


def expected_error(repetitions: Sequence[Repetition], rule=fitted) -> ExpectedError:
    """Error of boundaries made by `rule` on repetitions they were not made from.

    The holds, not the samples, are independent: each counts once. The interval is Wilson's for that many yes-or-no
    trials; it errs on the wide side, for a hold that is partly right varies less than one that is all or nothing.
    """
    levels = [level for level in LEVELS if any(rep.hold.level == level for rep in repetitions)]
    wrong = []
    for kept, held_out in leave_one_out(repetitions):
        boundaries = rule(kept)
        wrong += [float(np.mean(classify(rep.values, boundaries) != levels.index(rep.hold.level))) for rep in held_out]
    return ExpectedError(float(np.mean(wrong)), *wilson(float(np.mean(wrong)), len(wrong)), len(wrong))


def fixed_errors(repetitions: Sequence[Repetition]) -> dict[str, ExpectedError]:
    """Error of the two fixed rules on the same repetitions; only where all four levels were held."""
    if {rep.hold.level for rep in repetitions} != set(LEVELS):
        return {}
    return {name: expected_error(repetitions, fixed(shares)) for name, shares in FIXED_SHARES.items()}


def wilson(share: float, trials: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share (J Am Stat Assoc 1927;22:209)."""
    spread = Z_95**2 / trials
    middle = (share + spread / 2) / (1 + spread)
    half = Z_95 * np.sqrt(share * (1 - share) / trials + spread / (4 * trials)) / (1 + spread)
    return max(0.0, float(middle - half)), min(1.0, float(middle + half))


def lone_levels(cues, channel: int) -> tuple[str, ...]:
    """Levels other than rest that were held once only: their share of the error is too good."""
    held = [cue.level for cue in cues if cue.channel == channel and cue.level != REST]
    return tuple(level for level in LEVELS if held.count(level) == 1)
