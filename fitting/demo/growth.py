"""How an invented child grows: its true size at any age, from the references, its tempo and its slowly drifting z."""

from dataclasses import dataclass

import numpy as np

from fitting.calc.lms import value_at_z
from fitting.calc.parts import part_of
from fitting.calc.references import lms_table
from fitting.calc.units import MONTHS_PER_YEAR

INFANT_TABLES = {"stature": "length_cdc2000", "weight": "weight_infant_cdc2000"}
INFANT_UNTIL_MONTHS = 24.0

# How alike one child's measures are, how far its z wanders, how early or late it is: picked for a lively demo.
TEMPO_SD = 0.05
Z_LIMIT = 1.8
SHARED_Z = {"stature": 1.0, "length": 0.85, "weight": 0.7, "girth": 0.7}
DRIFT_Z = {"stature": 0.08, "length": 0.10, "weight": 0.2, "girth": 0.2}
DRIFT_PERIODS_YEARS = (2.5, 5.0, 9.0)

# Sitting height by stature: from memory, about 0.58 at three years and 0.52 grown up.
SITTING_SHARE_AGES_YEARS, SITTING_SHARE = (3.0, 13.0), (0.58, 0.52)
THUMB_SHARE_OF_HAND = 0.65  # wrist to thumb tip by hand length: picked for the demo


def family_of(measure: str) -> str:
    """stature, weight, length or girth."""
    return measure if measure in ("stature", "weight") else measure.rsplit("_", 1)[-1]


@dataclass(frozen=True)
class Drift:
    """A smooth wander of z around zero: a few slow waves. amplitudes, phases: one a period."""

    amplitudes: np.ndarray
    phases: np.ndarray

    def at(self, age_years):
        waves = [
            amplitude * np.sin(2 * np.pi * np.asarray(age_years, float) / period + phase)
            for amplitude, phase, period in zip(self.amplitudes, self.phases, DRIFT_PERIODS_YEARS, strict=True)
        ]
        return sum(waves)


@dataclass(frozen=True)
class Grower:
    """One invented child: growth reference F or M, ln tempo (negative: early), z and drift by family of measures."""

    sex: str
    tempo: float
    z: dict[str, float]
    drift: dict[str, Drift]

    def size(self, measure: str, age_months):
        """True size [mm, or kg for weight] at exact ages [months]; ages and tempo are held at the table's ends."""
        months = np.asarray(age_months, float)
        family = family_of(measure)
        table = lms_table(self._table_name(measure, months))
        maturity = np.clip(months * np.exp(-self.tempo), table.first_months, table.last_months)
        z = self.z[family] + self.drift[family].at(months / MONTHS_PER_YEAR)
        return value_at_z(table, self.sex, maturity, z)

    def sitting_height(self, age_months: float) -> float:
        """True sitting height [mm]."""
        share = np.interp(age_months / MONTHS_PER_YEAR, SITTING_SHARE_AGES_YEARS, SITTING_SHARE)
        return float(share * self.size("stature", age_months))

    def elbow_thumb_length(self, age_months: float) -> float:
        """True length from the elbow to the thumb tip [mm]."""
        return float(
            self.size("forearm_length", age_months) + THUMB_SHARE_OF_HAND * self.size("hand_length", age_months)
        )

    @staticmethod
    def _table_name(measure, months):
        infant = measure in INFANT_TABLES and months.max() < INFANT_UNTIL_MONTHS
        return INFANT_TABLES[measure] if infant else part_of(measure).table


def new_grower(sex: str, rng: np.random.Generator) -> Grower:
    """Draw a child."""
    shared = rng.normal()
    z = {
        family: float(np.clip(share * shared + np.sqrt(1 - share**2) * rng.normal(), -Z_LIMIT, Z_LIMIT))
        for family, share in SHARED_Z.items()
    }
    count = len(DRIFT_PERIODS_YEARS)
    drift = {
        family: Drift(amplitude * rng.normal(size=count), rng.uniform(0, 2 * np.pi, size=count))
        for family, amplitude in DRIFT_Z.items()
    }
    return Grower(sex, float(TEMPO_SD * rng.normal()), z, drift)
