"""What must happen next for a limb. The present fit comes first, then remeasuring, then room, then a new socket."""

from dataclasses import dataclass
from datetime import date, timedelta

from fitting.calc.plan_days import PlanDays
from fitting.calc.present_fit import FitVerdict

SURGEON_WITHIN_DAYS = 7  # the same week, common practice

FIT_PROBLEM, SURGEON, REMEASURE = "fit_problem", "surgeon", "remeasure"
LAYER_OUT, START_REFIT, LENGTHEN, MAKE_SOCKET = "layer_out", "start_refit", "lengthen", "make_socket"
ORDER = (FIT_PROBLEM, SURGEON, REMEASURE, LAYER_OUT, START_REFIT, LENGTHEN, MAKE_SOCKET)


@dataclass(frozen=True)
class Action:
    """One thing to do and the day to do it by."""

    code: str
    on: date


def actions_of(
    fit: FitVerdict | None, days: PlanDays, last_measured_on: date | None, no_socket_since: date | None
) -> tuple[Action, ...]:
    """Everything that has to happen for a limb, in no order. no_socket_since: None when a socket is in use."""
    planned = {
        REMEASURE: _remeasure_on(fit, days, last_measured_on),
        LAYER_OUT: days.layer_on,
        START_REFIT: days.start_refit_by,
        LENGTHEN: days.length_on,
        MAKE_SOCKET: no_socket_since,
    }
    rows = tuple(Action(code, on) for code, on in planned.items() if on is not None)
    return rows + (_fit_actions(fit) if fit else ())


def _remeasure_on(fit, days, last_measured_on):
    """The stale day, the first look owed after a fitting, or the day of a finding that asks for readings not taken yet.

    The look comes with a tape: it is one visit.
    """
    asked = fit and fit.remeasure and (last_measured_on is None or last_measured_on < fit.seen_on)
    wanted = (days.remeasure_by, days.fit_check_on, fit.seen_on if asked else None)
    return min(day for day in wanted if day)


def _fit_actions(fit):
    found = {
        FIT_PROBLEM: (fit.red + fit.loose, fit.seen_on),
        SURGEON: (fit.surgeon, fit.seen_on + timedelta(days=SURGEON_WITHIN_DAYS)),
    }
    return tuple(Action(code, on) for code, (findings, on) in found.items() if findings)


def first_due(actions: tuple[Action, ...], as_of: date) -> tuple[Action, ...]:
    """Actions with the next one first: those due by the day in the order of the trade, then the others by day.

    A finding about the fit is always due: nothing else is said before it.
    """

    def rank(action):
        place = ORDER.index(action.code)
        due = action.on <= as_of or action.code in (FIT_PROBLEM, SURGEON)
        return (0, place, action.on.toordinal()) if due else (1, action.on.toordinal(), place)

    return tuple(sorted(actions, key=rank))
