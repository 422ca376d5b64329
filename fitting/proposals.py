"""A clinic's own lambda and TEM beside the ones in use, and whether there is enough to adopt them."""

from dataclasses import dataclass
from enum import StrEnum

from fitting.calc.own_error import NEEDED_DIFFERENCES, Estimate, estimates, tem_estimate
from fitting.check_rows import CheckRows
from fitting.models import ClinicSettings

FAMILIES = ("girth", "length", "stature")
PLACES = 2


class WhyNot(StrEnum):
    """Why an estimate is not offered for adoption."""

    TOO_FEW = "too_few"
    AT_EDGE = "at_edge"
    BELOW_TAKES = "below_takes"
    TOO_WIDE = "too_wide"
    AGREES = "agrees"


@dataclass(frozen=True)
class Proposal:
    """One setting, its value now, and what the clinic's own record says. from_repeats: pairs of visits, not misses."""

    setting: str
    now: float
    estimate: Estimate | None
    from_repeats: bool
    why_not: WhyNot | None

    @property
    def value(self) -> float:
        return round(self.estimate.value, PLACES)


@dataclass(frozen=True)
class TakesSeen:
    """TEM from two takes of one sitting, a floor: what both takes share does not show."""

    family: str
    estimate: Estimate | None


def takes_seen(rows: CheckRows) -> list[TakesSeen]:
    return [TakesSeen(family, tem_estimate(rows.takes[family])) for family in (*FAMILIES, "weight")]


def proposals(rows: CheckRows, settings: ClinicSettings) -> list[Proposal]:
    """Lambda, then TEM, of girths, lengths and height.

    TEM comes from visits repeated within days where there are enough, else, with lambda, from the forecasts' misses.
    It is never offered below what two takes of one sitting differ by.
    """
    both = {family: estimates(rows.misses_of(family)) or (None, None) for family in FAMILIES}
    wander = [_proposal(settings, f"lambda_{family}", both[family][0]) for family in FAMILIES]
    return wander + [_tem(rows, settings, family, both[family][1]) for family in FAMILIES]


def _tem(rows, settings, family, from_misses):
    repeated, takes = tem_estimate(rows.repeats[family]), tem_estimate(rows.takes[family])
    use_repeats = repeated is not None and repeated.enough
    estimate = repeated if use_repeats else from_misses
    return _proposal(settings, f"tem_{family}_mm", estimate, takes.value if takes else 0.0, use_repeats)


def _proposal(settings, name, estimate, floor=0.0, from_repeats=False):
    now = getattr(settings, name)
    return Proposal(name, now, estimate, from_repeats, _why_not(estimate, now, floor))


def _why_not(estimate, now, floor):
    if estimate is None or estimate.n < NEEDED_DIFFERENCES:
        return WhyNot.TOO_FEW
    if estimate.value < floor:
        return WhyNot.BELOW_TAKES
    if estimate.at_edge:
        return WhyNot.AT_EDGE
    if estimate.agrees_with(now):
        return WhyNot.AGREES
    return None if estimate.known else WhyNot.TOO_WIDE
