"""Hysteresis and debounce against each other: fewer wrong switches are paid for with delay."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fitting.calc.muscle import controller
from fitting.calc.muscle.boundaries import Repetition
from fitting.calc.muscle.controller import Replay, TradeOff
from fitting.calc.muscle.expected_error import fitted, leave_one_out
from fitting.calc.muscle.recording import Hold


@dataclass(frozen=True)
class Fold:
    """Boundaries [ln unit] with the holds they are tried on."""

    boundaries_ln: tuple[float, ...]
    holds: tuple[Hold, ...]


def held_out_folds(repetitions: Sequence[Repetition]) -> tuple[Fold, ...]:
    """Boundaries fitted without one repetition, with the holds of that repetition."""
    return tuple(Fold(fitted(kept), tuple(rep.hold for rep in out)) for kept, out in leave_one_out(repetitions))


def replay_folds(
    time_s: np.ndarray,
    readings: np.ndarray,
    folds: Sequence[Fold],
    levels: Sequence[str],
    full_scale: float,
    hysteresis_ln: float = controller.HYSTERESIS_LN,
    debounce_ms: int = controller.DEBOUNCE_MS,
) -> Replay:
    """What the controller does with each fold's boundaries in that fold's holds; `readings_of` gives the first two."""
    parts = []
    for fold in folds:
        settings = controller.controller_settings(fold.boundaries_ln, full_scale, hysteresis_ln, debounce_ms)
        parts.append((controller.states_of(readings, settings), fold.holds))
    return controller.replay(time_s, parts, levels)


def trade_off(
    time_s, readings, folds: Sequence[Fold], levels: Sequence[str], full_scale: float
) -> tuple[TradeOff, ...]:
    """Every choice of hysteresis and debounce with its error, switches a minute and latency."""
    choices = [(h, d) for h in controller.HYSTERESIS_CHOICES_LN for d in controller.DEBOUNCE_CHOICES_MS]
    return tuple(
        TradeOff(h, d, result.error, result.switches_a_minute, result.latency_ms)
        for h, d in choices
        for result in (replay_folds(time_s, readings, folds, levels, full_scale, h, d),)
    )
