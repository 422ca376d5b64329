"""What a plan is made from, and what comes out: refits onto clinic days."""

from dataclasses import dataclass, field
from datetime import date

ANY_LANGUAGE = ""  # no interpreter needed
ANYBODY = ""  # no member of staff named


@dataclass(frozen=True)
class ClinicDay:
    """A day a clinic is open, or could be opened.

    key: names the day; clinic: where; room_minutes: minutes of all its rooms together [min]
    staff: who works, with minutes [min]; languages: families' languages that are spoken or interpreted that day
    """

    key: str
    clinic: str
    on: date
    room_minutes: int
    staff: tuple[tuple[str, int], ...]
    languages: frozenset[str] = frozenset()

    @property
    def minutes(self) -> int:
        """Minutes that can be booked [min]: as many as both rooms and staff have."""
        return min(self.room_minutes, sum(minutes for _who, minutes in self.staff))


@dataclass(frozen=True)
class Booking:
    """Minutes of a day that are taken: with a member of staff, or with anybody."""

    day: str
    minutes: int
    staff: str = ANYBODY


@dataclass(frozen=True)
class Refit:
    """One refit to be put on a day.

    minutes: how long it takes [min]; ready_on: first day on which the socket can be there; fitted_by: last good day
    early, likely, late: days the chance of being outgrown reaches 10, 50 and 90 %; None where not within the search
    travel_minutes: clinics the child may come to, with the way there and back [min]
    household: refits of one household come on one day, as one trip; language: needs a day with this language
    staff: with this member only; pinned: a booking that stands and is never moved
    """

    key: str
    minutes: int
    ready_on: date
    fitted_by: date
    early: date | None
    likely: date | None
    late: date | None
    travel_minutes: tuple[tuple[str, int], ...]
    household: str = ""
    language: str = ANY_LANGUAGE
    staff: str = ANYBODY
    pinned: Booking | None = None


@dataclass(frozen=True)
class Problem:
    """Refits to be put on clinic days, as of a day.

    taken: bookings of anything else; could_open: days that are closed and could be opened
    """

    as_of: date
    refits: tuple[Refit, ...]
    days: tuple[ClinicDay, ...]
    taken: tuple[Booking, ...] = ()
    could_open: tuple[ClinicDay, ...] = ()


@dataclass(frozen=True)
class Placement:
    """Where one refit goes, and why.

    day, staff: the day's key and who does it; chance: of being outgrown by that day; child_weeks: expected weeks worn
    outgrown; cost: of the trip [child-weeks]; why: codes, the deciding one first; instead_of: a better day that is full
    """

    refit: str
    day: str
    staff: str
    chance: float
    child_weeks: float
    cost: float
    why: tuple[str, ...]
    instead_of: str = ""


@dataclass(frozen=True)
class Unplaced:
    """A refit that finds no day, and why: a code."""

    refit: str
    why: str


@dataclass(frozen=True)
class Opening:
    """A day to open: the refits it would take and what that saves [child-weeks]."""

    day: ClinicDay
    refits: tuple[str, ...]
    saving: float


@dataclass(frozen=True)
class Plan:
    """A plan and how good it is. An estimate to book from: the coordinator decides.

    cost: of all trips [child-weeks], left out ones included; bound: no plan can cost less; greedy_cost: of booking
    each on its own best free day in the order of the due dates
    """

    placements: tuple[Placement, ...]
    unplaced: tuple[Unplaced, ...]
    openings: tuple[Opening, ...]
    cost: float
    bound: float
    greedy_cost: float
    notes: tuple[str, ...] = field(default=())

    @property
    def gap(self) -> float:
        """How far the plan may be from the best, as a share of the bound."""
        return (self.cost - self.bound) / self.bound if self.bound > 0 else 0.0
