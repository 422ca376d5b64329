"""Whether promises hold what they say: later readings held against the bands that were stored before them."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

BANDS_PERCENT = (50, 80, 95)
JUDGED_PERCENT = 80
LEVELS = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
Z_95 = 1.96
# So many tests that do not overlap show a band that truly holds 80 % within 10 points, 19 times in 20:
# (1.96 / 0.1)^2 x 0.8 x 0.2.
NEEDED = 62
AGREES, TOO_NARROW, TOO_WIDE, TOO_FEW = "agrees", "too_narrow", "too_wide", "too_few"
WEEK_DAYS = 7


@dataclass(frozen=True)
class Outcomes:
    """Promises tested by a later reading, (N,) each.

    reached: probability the promise gave to a reading as low or lower; child: whose it is
    start, end: day of the promise's last reading and of the reading that tests it [ordinal days]
    """

    reached: np.ndarray
    child: np.ndarray
    start: np.ndarray
    end: np.ndarray

    def of(self, chosen) -> "Outcomes":
        return Outcomes(*(values[chosen] for values in (self.reached, self.child, self.start, self.end)))

    @property
    def independent(self) -> int:
        """How many tests do not overlap in time for the same child: the most that can be told apart."""
        windows = np.unique(np.stack([self.child, self.end, self.start]), axis=1)
        count, last_child, last_end = 0, None, 0
        for child, end, start in windows.T:
            if child != last_child or start >= last_end:
                count, last_child, last_end = count + 1, child, end
        return count


@dataclass(frozen=True)
class Share:
    """A share of tests with its 95 % interval."""

    share: float
    low: float
    high: float


@dataclass(frozen=True)
class Judged:
    """What a group of tests says. held: by percent of the band, the share it held; verdict: on the 80 % band."""

    n: int
    independent: int
    held: dict[int, Share]
    verdict: str


def probability_reached(read, mean_ln, sd_ln, error_sd):
    """Probability the promise gave to a reading as low or lower; all (N,), sizes and errors [mm or kg]."""
    spread = np.hypot(sd_ln, error_sd / np.exp(mean_ln))
    return ndtr((np.log(read) - mean_ln) / spread)


def wilson(share: float, n: int) -> Share:
    """A share with its 95 % interval from n independent tests. Source: Wilson 1927, J Am Stat Assoc 22:209."""
    if n == 0:
        return Share(share, 0.0, 1.0)
    square = Z_95**2 / n
    centre = (share + square / 2) / (1 + square)
    half = math.sqrt(square * (share * (1 - share) + square / 4)) / (1 + square)
    return Share(share, max(centre - half, 0.0), min(centre + half, 1.0))


def judged(outcomes: Outcomes) -> Judged:
    """Share of readings within each band, and whether the 80 % band holds what it says."""
    independent = outcomes.independent
    held = {percent: wilson(_held(outcomes.reached, percent), independent) for percent in BANDS_PERCENT}
    return Judged(len(outcomes.reached), independent, held, _verdict(held[JUDGED_PERCENT], independent))


def _held(reached, percent):
    return float(np.mean(np.abs(reached - 0.5) <= percent / 200)) if len(reached) else math.nan


def _verdict(found, independent):
    if independent < NEEDED:
        return TOO_FEW
    promised = JUDGED_PERCENT / 100
    if found.high < promised:
        return TOO_NARROW
    return TOO_WIDE if found.low > promised else AGREES


def reliability(outcomes: Outcomes) -> list[tuple[float, Share]]:
    """For each level promised, the share of readings that came out as low or lower."""
    independent = outcomes.independent
    return [(level, wilson(float(np.mean(outcomes.reached <= level)), independent)) for level in LEVELS]


@dataclass(frozen=True)
class DateErrors:
    """How promised days did against the days sockets were outgrown.

    n: sockets; median_weeks: of the distance from the likely day; late_by_weeks: median of outgrown less likely, above
    zero when sockets lasted longer; early_too_late: share outgrown before their early day; between: share between early
    and late. None without sockets.
    """

    n: int
    median_weeks: float | None = None
    late_by_weeks: float | None = None
    early_too_late: Share | None = None
    between: Share | None = None


def date_errors(early, likely, late, outgrown) -> DateErrors:
    """Early, likely, late day promised and day outgrown, (N,) each [ordinal days]; nan where a day is not in reach."""
    early, likely, late, outgrown = (np.asarray(days, float) for days in (early, likely, late, outgrown))
    if not len(outgrown):
        return DateErrors(0)
    off_weeks = (outgrown - likely)[np.isfinite(likely)] / WEEK_DAYS
    too_late = outgrown < early
    between = ~too_late & (outgrown <= np.where(np.isnan(late), np.inf, late))
    return DateErrors(
        n=len(outgrown),
        median_weeks=float(np.median(np.abs(off_weeks))) if len(off_weeks) else None,
        late_by_weeks=float(np.median(off_weeks)) if len(off_weeks) else None,
        early_too_late=wilson(float(np.mean(too_late)), len(outgrown)),
        between=wilson(float(np.mean(between)), len(outgrown)),
    )
