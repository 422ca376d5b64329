"""The residual limb of an invented child: its true length and its true girths at fixed stations."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fitting.calc.limb import Level, default_stations_mm, level_facts
from fitting.calc.residual_growth import Plates, growth_share
from fitting.calc.units import MONTHS_PER_YEAR
from fitting.demo.growth import Grower

STEPS = 60  # of the sum over the sound side's growth

# Shapes of residual limbs, picked for the demo: girth at the end by girth at the top, the top by the intact girth, the
# distance the stations' landmark lies beyond the length's, as a share of the length and in mm.
TAPER = {
    Level.PARTIAL_HAND: 1.08,
    Level.WRIST_DISARTICULATION: 0.72,
    Level.TRANSRADIAL: 0.82,
    Level.ELBOW_DISARTICULATION: 0.94,
    Level.TRANSHUMERAL: 0.88,
}
TOP_BY_INTACT = 0.95
BULBOUS_END = 1.12
LANDMARK_SHARE = {Level.ELBOW_DISARTICULATION: 0.35, Level.TRANSHUMERAL: 0.35}
LANDMARK_MM = {Level.WRIST_DISARTICULATION: 12, Level.TRANSRADIAL: 12}

# A new limb is swollen and settles over months: picked for the demo.
SWOLLEN_BY, SETTLES_MONTHS = 0.06, 5.0


@dataclass(frozen=True)
class Residual:
    """One limb of an invented child.

    percent: length by the sound side on the day of the demo [percent]; widening: extra girth [share a year]
    now_months, first_months: ages at the demo and the first visit; acquired_months: at the loss, None from birth
    """

    level: str
    grower: Grower
    plates: Plates
    percent: float
    bulbous: bool
    now_months: float
    first_months: float
    acquired_months: float | None = None
    widening: float = 0.0

    @property
    def has_girths(self) -> bool:
        return level_facts(self.level).girth_measure is not None

    def length_mm(self, age_months: float) -> float:
        """True residual length: today's, less the plates' share of what the sound segment has grown since."""
        segment = level_facts(self.level).segment_measure
        ages = np.linspace(age_months, self.now_months, STEPS)
        sound_mm = self.grower.size(segment, ages)
        share = growth_share(self.level, self.plates, ages / MONTHS_PER_YEAR)
        grown_mm = np.sum(np.diff(sound_mm) * (share[1:] + share[:-1]) / 2)
        return float(self.percent / 100 * sound_mm[-1] - grown_mm)

    @cached_property
    def stations_mm(self) -> tuple[int, ...]:
        """Stations chosen at the first visit and kept."""
        return default_stations_mm(self.level, self._station_length_mm) if self.has_girths else ()

    @cached_property
    def _station_length_mm(self):
        length_mm = self.length_mm(self.first_months)
        return length_mm * (1 - LANDMARK_SHARE.get(self.level, 0)) - LANDMARK_MM.get(self.level, 0)

    def girths_mm(self, age_months: float) -> dict[int, float]:
        """True girth at each station."""
        intact_mm = float(self.grower.size(level_facts(self.level).girth_measure, age_months))
        years = (age_months - self.first_months) / MONTHS_PER_YEAR
        top_mm = intact_mm * TOP_BY_INTACT * (1 + self.widening * years) * self._swelling(age_months)
        return {station: top_mm * self._profile(station) for station in self.stations_mm}

    def _profile(self, station_mm):
        share = station_mm / self._station_length_mm
        end = BULBOUS_END if self.bulbous and station_mm == self.stations_mm[-1] else 1
        return (1 + (TAPER[self.level] - 1) * share) * end

    def _swelling(self, age_months):
        if self.acquired_months is None:
            return 1
        return 1 + SWOLLEN_BY * np.exp(-(age_months - self.acquired_months) / SETTLES_MONTHS)
