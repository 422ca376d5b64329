"""The awkward cases: how each story turns a child's course away from the usual one."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fitting.models import PresentFit


@dataclass(frozen=True)
class Turn:
    """What is special in one child's course. Values are picked so that the story shows.

    findings: present fit at the last visit; allowance_mm, layers_mm: of every socket made; longer_mm: prosthesis beyond
    the sound forearm when made; makes_sockets, makes_refits, takes_layers_out: whether the clinic acts
    new_at_last: a new socket is made from the last visit that measures the limb, whatever the promise says
    widening: extra girth [share a year]; heavier: weight at the last visit, as a multiple
    slipped: whether one length is typed in the wrong unit; only_weighed: no limb readings at the last visit
    """

    findings: Mapping[str, object] = field(default_factory=dict)
    allowance_mm: float | None = None
    layers_mm: tuple[float, ...] | None = None
    longer_mm: float = 5.0
    makes_sockets: bool = True
    makes_refits: bool = True
    new_at_last: bool = False
    takes_layers_out: bool = True
    widening: float = 0.0
    heavier: float = 1.0
    slipped: bool = False
    only_weighed: bool = False


PINCHES = {
    "marks": PresentFit.Marks.STAY,
    "minutes_to_clear": 35,
    "pain": 5,
    "hold": PresentFit.Hold.TIGHT,
    "wear_hours_per_day": 2.0,
}
OPEN_SKIN = {"open_skin": True, "marks": PresentFit.Marks.CLEAR, "minutes_to_clear": 15, "pain": 3}
OVERGROWTH = {"overgrowth_signs": True, "pain": 3}
LOOSE = {"hold": PresentFit.Hold.LOOSE}

USUAL = Turn()
TURNS = {
    "fit_problem": Turn(findings=PINCHES, makes_refits=False, widening=0.02),
    "open_skin": Turn(findings=OPEN_SKIN),
    "overgrowth": Turn(findings=OVERGROWTH),
    "overdue": Turn(allowance_mm=0.0, layers_mm=(), makes_refits=False, widening=0.03),
    "stale": Turn(allowance_mm=8.0, layers_mm=(), longer_mm=12.0, new_at_last=True),
    "layer_due": Turn(allowance_mm=0.0, layers_mm=(1.5, 1.0), makes_refits=False, takes_layers_out=False),
    "longer_sleeve": Turn(allowance_mm=8.0, layers_mm=(1.5, 1.0), makes_refits=False),
    "loose": Turn(findings=LOOSE, makes_refits=False, widening=-0.05),
    "weight_change": Turn(allowance_mm=9.0, layers_mm=(), new_at_last=True, heavier=1.13, only_weighed=True),
    "no_socket": Turn(makes_sockets=False),
    "may_not_outgrow": Turn(allowance_mm=10.0, layers_mm=(), longer_mm=15.0),
    "unit_slip": Turn(slipped=True),
}


def turn_of(story: str) -> Turn:
    """The turn of a story; the usual course for the stories that lie in the child's own facts."""
    return TURNS.get(story, USUAL)
