"""What a promise expects later readings to be, compact enough to be stored and later held against them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fitting.calc.followed import GIRTHS, Followed
from fitting.calc.outlook import Outlook
from fitting.calc.units import DAYS_PER_MONTH

BAND_MONTHS = (0, 1, 3, 6, 9, 12, 18, 24)  # between them the spread is nearly straight
STEP = 1.25  # the series is looked ahead again with so much more wander, and with so much more error of reading
PER_STEP = STEP**2 - 1


@dataclass(frozen=True)
class Band:
    """Mean and standard deviation of ln true size at the days of its series, (T,) each.

    Normal: the mixture over tempo differs from it by less than 0.005 of probability.
    """

    mean: Sequence[float]
    sd: Sequence[float]


@dataclass(frozen=True)
class SeriesBands:
    """What one series of a promise is expected to be.

    measure: as Followed; origin: day of its last reading; days: (T,) from the origin [days]
    wander_scale: lambda it was made with; parts: the band of each station, empty for a series of one part
    shared, more_wander, more_error: the band of the mean ln size over the parts, as promised, under STEP x lambda, and
    under STEP x the error of reading
    """

    measure: str
    origin: date
    days: Sequence[float]
    wander_scale: float
    parts: dict[str, Band]
    shared: Band
    more_wander: Band
    more_error: Band

    @property
    def names(self) -> tuple[str, ...]:
        """The parts a later visit must have read to be held against the shared band."""
        return tuple(self.parts) or (self.measure,)

    def of(self, part: str) -> Band:
        """The band of one part."""
        return self.parts.get(part, self.shared)

    def shares_at(self, day: float) -> tuple[float, float, float]:
        """Shares of the variance ahead: error of reading, wander, and all else (tempo, shape, level); they add up to 1.

        Exact to first order: the posterior variance scales with all its variances together (Euler's theorem).
        """
        base, wander, error = (
            np.interp(day, self.days, np.square(b.sd)) for b in (self.shared, self.more_wander, self.more_error)
        )
        by_error, by_wander = ((changed - base) / PER_STEP / base for changed in (error, wander))
        return float(by_error), float(by_wander), float(1 - by_error - by_wander)


def series_bands(followed: Followed) -> SeriesBands:
    """Look one series ahead as it is, with more wander and with more error. Raises OutOfReference."""
    last = BAND_MONTHS[-1]
    base = followed.outlook(ahead_months=last)
    months = [month for month in BAND_MONTHS if month < len(base.days_ahead)]
    return SeriesBands(
        measure=followed.measure,
        origin=base.origin,
        days=tuple(round(month * DAYS_PER_MONTH) for month in months),
        wander_scale=followed.wander_scale,
        parts={part: part_band(base, part, months) for part in base.parts} if followed.measure == GIRTHS else {},
        shared=shared_band(base, months),
        more_wander=shared_band(followed.outlook(wander=STEP, ahead_months=last), months),
        more_error=shared_band(followed.outlook(error=STEP, ahead_months=last), months),
    )


def part_band(outlook: Outlook, part: str, months: Sequence[int]) -> Band:
    """Band of one part at whole months ahead."""
    mean, sd = outlook.part_mixture(part)
    return _moments(outlook.weights, mean[:, months], np.square(sd[:, months]))


def shared_band(outlook: Outlook, months: Sequence[int]) -> Band:
    """Band of the mean of ln size over all parts at whole months ahead."""
    mean = outlook.mean_ln[:, :, months].mean(axis=1)
    variance = outlook.cov_ln[:, months].mean(axis=(2, 3))
    return _moments(outlook.weights, mean, variance)


def _moments(weights, mean, variance):
    centre = weights @ mean
    return Band(centre, np.sqrt(weights @ (variance + (mean - centre) ** 2)))
