"""What one more visit would do for a promise: how wide the window would then be expected to be."""

from dataclasses import dataclass, replace
from datetime import date, timedelta

from fitting.calc.capacity import Socket
from fitting.calc.crossing import Dates
from fitting.calc.errors import OutOfReference
from fitting.calc.followed import GIRTHS, Followed
from fitting.calc.forecast import SEARCH_MONTHS
from fitting.calc.outgrowth import LengthTrack, LimbFacts, LimbOutlooks, Outgrowth, outgrowth
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import DAYS_PER_MONTH

TRIED = 4  # visits tried, evenly spread from now to the day the refit must start
LATEST_DAYS = 365  # a visit further off than that is no advice
LEAST_DAYS = 28  # sooner, a visit tells mostly what the last one told
SPARE_MONTHS = 12  # how far past the late day the shorter look reaches
HALF = 0.5


@dataclass(frozen=True)
class Sharpening:
    """One more visit: the day, the window now and the window expected after it [days].

    until: what the window runs to from the early day: "late", or "likely" where no late day is within the search
    """

    visit_on: date
    window_days: int
    expected_days: int
    until: str

    @property
    def halves(self) -> bool:
        return self.expected_days <= HALF * self.window_days


def window_days(dates: Dates, until: str) -> int | None:
    """Days from the early day until the late or likely one; None when either is not within the search."""
    end = getattr(dates, until)
    return (end - dates.early).days if dates.early and end else None


def sharpening(
    followed: dict[str, Followed],
    outlooks: LimbOutlooks,
    socket: Socket,
    facts: LimbFacts,
    tolerances: Tolerances,
    grown: Outgrowth,
    visit_days: list[date],
) -> Sharpening | None:
    """The earliest of some visits that halves the window; if none does, the one that leaves it narrowest.

    followed: the series by measure. The visit is taken to read what is expected, for the width of a Gaussian forecast
    hardly depends on what is read. None when the window has no end, there is no day left or no visit narrows it.
    """
    until = "late" if grown.dates.late else "likely"
    now = window_days(grown.dates, until)
    if now is None:
        return None
    tried = []
    for on in visit_days:
        ahead = _after_visit(followed, outlooks, grown, on)
        then = ahead and outgrowth(ahead, _without_layers(socket), facts, tolerances)
        after = then and window_days(then.dates, until)
        if after is not None and after < now:
            tried.append(Sharpening(on, now, after, until))
            if tried[-1].halves:
                return tried[-1]
    return min(tried, key=lambda visit: visit.expected_days, default=None)


def visit_days(as_of: date, start_refit_by: date | None) -> list[date]:
    """Days on which a visit may still sharpen a promise: spread up to the day the refit must start, a year at most."""
    if start_refit_by is None:
        return []
    left = min((start_refit_by - as_of).days, LATEST_DAYS)
    steps = [round(left * step / TRIED) for step in range(1, TRIED + 1)]
    return [as_of + timedelta(days=days) for days in steps if days >= LEAST_DAYS]


def _without_layers(socket):
    """The socket with every layer out: it is outgrown on the same day, and no layer is left to date."""
    out = (replace(layer, out_on=layer.out_on or socket.made_on) for layer in socket.layers)
    return replace(socket, layers=tuple(out))


def _after_visit(followed, outlooks, grown, on):
    """What is known ahead once a visit has read the girths and the sound segment; None past a reference."""
    last = grown.dates.late
    months = SEARCH_MONTHS if last is None else round((last - on).days / DAYS_PER_MONTH) + SPARE_MONTHS
    known = {}
    for measure, outlook in ((GIRTHS, outlooks.girths), *_segment(outlooks)):
        if outlook is not None and measure in followed:
            try:
                known[measure] = followed[measure].with_visit(outlook, on).outlook(ahead_months=months)
            except OutOfReference:
                return None
    return LimbOutlooks(known.get(GIRTHS, outlooks.girths), _track(outlooks.segment, known), outlooks.forearm)


def _segment(outlooks):
    track = outlooks.segment
    return [] if track is None or track.estimated else [(track.part, track.outlook)]


def _track(track, known):
    return LengthTrack(known[track.part], track.part) if track is not None and track.part in known else track
