"""What two rules for new sockets would cost: weeks worn outgrown, and sockets replaced while they still served."""

from dataclasses import dataclass

import numpy as np

WEEKS_PER_YEAR = 365.25 / 7
ALLOWANCE = 0.04  # growth in girth a socket takes before it is outgrown: layers and tolerance together, common practice
ROUNDING = 1e-9
EARLY_WEEKS = 26  # replaced with half a year of wear left counts as thrown away early, common practice


@dataclass(frozen=True)
class RuleCost:
    """What one rule costs over some sockets.

    sockets: how many; outgrown_weeks: child-weeks in an outgrown socket, a socket; outgrown_share: share of sockets
    worn outgrown at all; thrown_away: share replaced with more than EARLY_WEEKS of wear left; unused_weeks: wear left
    when replaced, a socket; both count what the records show, so they are the least they can be
    """

    sockets: int
    outgrown_weeks: float
    outgrown_share: float
    thrown_away: float
    unused_weeks: float


def rule_cost(replaced_years, outgrown_years, seen_years) -> RuleCost:
    """Cost of a rule that replaces each socket on a day of its own.

    replaced_years: (N,) years after it was made, inf for never; outgrown_years: (N,) when it was outgrown, inf where it
    was not seen to be; seen_years: (N,) how long the child was seen. Nothing is counted after a child was last seen.
    """
    replaced, outgrown, seen = (np.asarray(years, float) for years in (replaced_years, outgrown_years, seen_years))
    worn_until, served_until = np.minimum(replaced, seen), np.minimum(outgrown, seen)
    late = np.maximum(worn_until - served_until, 0) * WEEKS_PER_YEAR
    unused = np.maximum(served_until - worn_until, 0) * WEEKS_PER_YEAR
    return RuleCost(
        sockets=len(replaced),
        outgrown_weeks=float(np.mean(late)),
        outgrown_share=float(np.mean(late > 0)),
        thrown_away=float(np.mean(unused > EARLY_WEEKS + ROUNDING)),
        unused_weeks=float(np.mean(unused)),
    )
