"""One series a promise follows, to be looked ahead again: with more wander, more error, or one visit more."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from fitting.calc.forecast import SEARCH_MONTHS, residual_girths_outlook, series_outlook
from fitting.calc.outlook import Observation, Outlook

GIRTHS = "girth"  # the measure of the stations of a residual limb


@dataclass(frozen=True)
class Followed:
    """Everything the outlook of one series is made from.

    measure: "girth" for the stations of a residual limb, else the series' own measure
    readings: by part ("girth:60", or the measure itself), oldest first; stature, weight: companions
    wander_scale: lambda of the measure's family
    """

    measure: str
    readings: Mapping[str, tuple[Observation, ...]]
    sex: str
    birth_date: date
    stature: tuple[Observation, ...]
    weight: tuple[Observation, ...]
    wander_scale: float

    def outlook(self, wander: float = 1.0, error: float = 1.0, ahead_months: int = SEARCH_MONTHS) -> Outlook:
        """The series ahead; wander, error: multiples of lambda and of the readings' errors. Raises OutOfReference."""
        known = {
            "sex": self.sex,
            "birth_date": self.birth_date,
            "stature": self.stature,
            "weight": self.weight,
            "wander_scale": self.wander_scale * wander,
            "ahead_months": ahead_months,
        }
        readings = {part: [_coarser(o, error) for o in rows] for part, rows in self.readings.items()}
        if self.measure == GIRTHS:
            return residual_girths_outlook(stations=readings, **known)
        return series_outlook(measure=self.measure, readings=readings[self.measure], **known)

    def with_visit(self, outlook: Outlook, on: date) -> "Followed":
        """The series with one visit more that reads every part as it is expected to be by the outlook."""
        seen = {part: (*rows, _expected(outlook, part, rows[-1], on)) for part, rows in self.readings.items()}
        return replace(self, readings=seen)


def _coarser(observation, error):
    return observation if error == 1 else replace(observation, error_sd=observation.error_sd * error)


def _expected(outlook, part, newest, on):
    """The reading to be expected on a day, as good as the newest one; never before the outlook's last reading."""
    on = max(on, outlook.origin + timedelta(days=1))
    mean, _sd = outlook.part_mixture(part)
    value = np.exp(np.interp((on - outlook.origin).days, outlook.days_ahead, outlook.weights @ mean))
    return Observation(on, float(value), newest.error_sd)
