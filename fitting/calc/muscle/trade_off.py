"""Hysteresis and debounce against each other: fewer wrong switches are paid for with delay."""

from collections.abc import Sequence

import numpy as np

from fitting.calc.muscle import controller
from fitting.calc.muscle.boundaries import Repetition
from fitting.calc.muscle.controller import Replay, TradeOff
from fitting.calc.muscle.expected_error import fitted, leave_one_out

Folds = Sequence[tuple[Sequence[float], Sequence]]  # boundaries [ln unit] with the holds they are tried on


def held_out_folds(repetitions: Sequence[Repetition]) -> Folds:
    """Boundaries fitted without one repetition, with the holds of that repetition."""
    return [(fitted(kept), [rep.hold for rep in out]) for kept, out in leave_one_out(repetitions)]


def replay_folds(
    time_s: np.ndarray,
    readings: np.ndarray,
    folds: Folds,
    levels: Sequence[str],
    full_scale: float,
    hysteresis_ln: float = controller.HYSTERESIS_LN,
    debounce_ms: int = controller.DEBOUNCE_MS,
) -> Replay:
    """What the controller does with each fold's boundaries in that fold's holds; `readings_of` gives the first two."""
    parts = []
    for boundaries_ln, holds in folds:
        settings = controller.controller_settings(boundaries_ln, full_scale, hysteresis_ln, debounce_ms)
        parts.append((controller.states_of(readings, settings), holds))
    return controller.replay(time_s, parts, levels)


def trade_off(time_s, readings, folds: Folds, levels: Sequence[str], full_scale: float) -> tuple[TradeOff, ...]:
    """Every choice of hysteresis and debounce with its error, switches a minute and latency."""
    choices = [(h, d) for h in controller.HYSTERESIS_CHOICES_LN for d in controller.DEBOUNCE_CHOICES_MS]
    return tuple(
        TradeOff(h, d, result.error, result.switches_a_minute, result.latency_ms)
        for h, d in choices
        for result in (replay_folds(time_s, readings, folds, levels, full_scale, h, d),)
    )
