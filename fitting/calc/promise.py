"""The promise for one limb: its state, when the socket is outgrown, the room left, and what must happen next."""

from dataclasses import dataclass
from datetime import date

from fitting.calc.capacity import Socket
from fitting.calc.crossing import Dates
from fitting.calc.limb import level_facts
from fitting.calc.next_action import Action, actions_of, first_due
from fitting.calc.outgrowth import (
    LimbFacts,
    LimbOutlooks,
    Outgrowth,
    RoomLeft,
    comparable_stations,
    end_gap_curve,
    outgrowth,
    rooms_left,
    too_short_dates,
)
from fitting.calc.plan_days import PlanDays, is_maturing, plan_days, remeasure_day
from fitting.calc.present_fit import FitVerdict
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import age_years

METHOD = "outgrowth 2"  # raise when the same readings would give other dates
NO_REFERENCE_UNDER_YEARS = 2  # the arm's lengths and girths have no table before

FIT_PROBLEM, NO_SOCKET, MATURING = "fit_problem", "no_socket", "maturing"
NO_REFERENCE, DATED, MAY_NOT_OUTGROW = "no_reference", "dated", "may_not_outgrow"


@dataclass(frozen=True)
class Promise:
    """What is promised for a limb as of one day. An estimate: the licensed prosthetist decides.

    state: fit_problem, no_socket, maturing, no_reference, dated or may_not_outgrow (no early day within the search)
    outgrowth: early, likely and late day, the part passed first, the layers' days; None when the limb is not dated
    length: when the sound forearm is visibly longer than the prosthesis; None when not followed
    days: the stored days; actions: everything to do, next first; rooms: room left at each station
    notes: codes of limits to be said where the promise is shown
    """

    as_of: date
    state: str
    outgrowth: Outgrowth | None
    length: Dates | None
    days: PlanDays
    actions: tuple[Action, ...]
    rooms: tuple[RoomLeft, ...]
    notes: tuple[str, ...]
    method: str = METHOD

    @property
    def dates(self) -> Dates:
        """Early, likely and late day; each None when not within the search or not dated."""
        return self.outgrowth.dates if self.outgrowth else Dates()

    @property
    def limiting(self) -> str:
        """The part passed first: a station ("girth:60"), "end_gap" or "brim"; empty when not dated."""
        return self.outgrowth.limiting if self.outgrowth else ""

    @property
    def may_not_outgrow(self) -> bool:
        """Whether the socket may still hold at the end of the search: dated, and the late day is beyond it."""
        return self.outgrowth is not None and self.dates.late is None

    @property
    def next_action(self) -> Action:
        """What is said first."""
        return self.actions[0]

    @property
    def act_on(self) -> date:
        """First day on which anything must happen, to sort the due list by."""
        return min(action.on for action in self.actions)


def promise(
    outlooks: LimbOutlooks,
    socket: Socket | None,
    fit: FitVerdict | None,
    facts: LimbFacts,
    tolerances: Tolerances,
    as_of: date,
) -> Promise:
    """The promise of one limb as of a day. socket None: none in use; fit None: not yet seen in this socket."""
    maturing = is_maturing(facts.acquired_on, as_of, tolerances)
    followed = None if socket is None or maturing else outgrowth(outlooks, socket, facts, tolerances)
    grown = _outgrown_already(fit, followed)
    length = too_short_dates(outlooks.forearm, socket, tolerances) if socket else None
    has_reference = outlooks.girths is not None or level_facts(facts.level).girth_measure is None
    remeasure_by = remeasure_day(facts, tolerances, as_of, has_reference)
    length_on, fitted_on = length.likely if length else None, socket.fitted_on if socket else None
    days = plan_days(grown, length_on, remeasure_by, tolerances, fitted_on, fit.seen_on if fit else None)
    actions = actions_of(fit, days, facts.last_measured_on, as_of if socket is None else None)
    return Promise(
        as_of=as_of,
        state=_state(socket, fit, maturing, grown),
        outgrowth=grown,
        length=length,
        days=days,
        actions=first_due(actions, as_of),
        rooms=rooms_left(outlooks, socket, facts, tolerances, dated=not maturing) if socket else (),
        notes=_notes(outlooks, socket, facts, tolerances, maturing, as_of),
    )


def _outgrown_already(fit, followed):
    """A gap or brim found beyond its limit is outgrown on the day it was seen, whatever the forecast says."""
    if fit is None or not fit.outgrown:
        return followed
    seen = fit.seen_on
    return Outgrowth(Dates(seen, seen, seen), seen, fit.outgrown[0], followed.layers if followed else ())


def _state(socket, fit, maturing, grown):
    if fit is not None and (fit.red or fit.surgeon):
        return FIT_PROBLEM
    if socket is None:
        return NO_SOCKET
    if maturing:
        return MATURING
    if grown is None:
        return NO_REFERENCE
    return MAY_NOT_OUTGROW if grown.dates.early is None else DATED


def _notes(outlooks, socket, facts, tolerances, maturing, as_of):
    tracks = [track for track in (outlooks.segment, outlooks.forearm) if track is not None]
    used = [track.outlook for track in tracks] + ([outlooks.girths] if outlooks.girths is not None else [])
    apart = socket is not None and len(comparable_stations(outlooks, socket)) < len(socket.stations)
    gap_known = socket is not None and socket.end_gap_mm is not None
    checks = {
        "borrowed_shapes": outlooks.girths is not None,
        "estimated_length": any(track.estimated for track in tracks),
        "cut_at_table_age": any(outlook.ends_at_table for outlook in used),
        "no_reference_under_24m": outlooks.girths is None
        and age_years(facts.birth_on, as_of) < NO_REFERENCE_UNDER_YEARS,
        "stations_not_comparable": outlooks.girths is not None and apart,
        "end_gap_not_followed": gap_known and end_gap_curve(outlooks.segment, socket, facts, tolerances) is None,
        "adult_data": maturing,
    }
    return tuple(code for code, holds in checks.items() if holds)
