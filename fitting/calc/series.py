"""Series of readings of many children in arrays, and their forecast as mixtures over tempo."""

from dataclasses import dataclass

import numpy as np

from fitting.calc.kernels import SPURT_AGE_YEARS, Points
from fitting.calc.parts import FOREARM_GIRTH, STATURE_DRIFT, WEIGHT_DRIFT, Part, part_of
from fitting.calc.references import EDGE_MONTHS
from fitting.calc.shapes import shape_table, spread_table
from fitting.calc.tempo import LN_PRIOR, Evidence, normalised, solve, variance_ahead
from fitting.calc.units import MONTHS_PER_YEAR

NO_READING_YEARS = 10.0  # where a child without readings is placed in arrays; nothing is computed from it


@dataclass(frozen=True)
class Readings:
    """Readings of one measure of N children, oldest first; nan where a child has fewer.

    age_years: (N, n) [years]; size: (N, n) [mm or kg]; error_sd: (N, n) SD of one reading [mm or kg]
    """

    age_years: np.ndarray
    size: np.ndarray
    error_sd: np.ndarray

    def of(self, children):
        """The readings of some of the children, without the places none of them uses."""
        places = max(1, int(np.isfinite(self.age_years[children]).sum(1).max(initial=0)))
        return Readings(*(a[children, :places] for a in (self.age_years, self.size, self.error_sd)))

    def last_age_years(self):
        """Age at each child's last reading, (N,) [years]; 0 without any."""
        return np.max(self.age_years, axis=1, where=np.isfinite(self.age_years), initial=0)


@dataclass(frozen=True)
class Series:
    """One measure of N children with what speaks for it. male: (N,) bool; stature, weight: companions or None."""

    part: Part
    male: np.ndarray
    readings: Readings
    stature: Readings | None = None
    weight: Readings | None = None

    def of(self, children):
        """The series of some of the children."""
        companions = [c and c.of(children) for c in (self.stature, self.weight)]
        return Series(self.part, self.male[children], self.readings.of(children), *companions)


@dataclass(frozen=True)
class Mixture:
    """Forecast of ln size: weights (N, 1, J), mean and sd (N, T, J); known: (N, T), False past the reference."""

    weights: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    known: np.ndarray


def evidence_of(part: Part, male, readings: Readings, asked_years, station=None) -> Evidence:
    """The readings a part's reference covers, and the ages asked for (N, T) [years], as the solve takes them."""
    months = readings.age_years * MONTHS_PER_YEAR
    present = (months >= part.first_months - EDGE_MONTHS) & (months <= part.last_months + EDGE_MONTHS)
    last = np.max(readings.age_years, axis=1, where=present, initial=0)
    last = np.where(present.any(1), last, NO_READING_YEARS)[:, None]
    ages = np.concatenate([np.where(present, readings.age_years, last), asked_years], axis=1)
    noise = np.where(present, readings.error_sd / readings.size, 1) ** 2
    ln_size = np.log(np.where(present, readings.size, 1))
    return Evidence(points_of(part, male, ages, station), male, present, ln_size, noise)


def points_of(part, male, age_years, station=None):
    """Points (N, n) at ages [years], with the spreads a girth's covariance needs there."""
    spurt = np.where(male, SPURT_AGE_YEARS["M"], SPURT_AGE_YEARS["F"])[:, None]
    if part.family == "girth":
        forearm_spread = spread_table(FOREARM_GIRTH).at(male, age_years)[:, :, 0]
        table_spread = (
            forearm_spread if part.table == FOREARM_GIRTH else spread_table(part.table).at(male, age_years)[:, :, 0]
        )
    else:
        forearm_spread = table_spread = np.broadcast_to(0.0, age_years.shape)
    return Points(
        age_years, spurt, table_spread, forearm_spread, np.zeros(age_years.shape[1]) if station is None else station
    )


def mixture_ahead(series: Series, ahead_years) -> Mixture:
    """Forecast of ln size at times after each child's last reading; ahead_years: (T,) or (N, T) [years]."""
    part = series.part
    asked = series.readings.last_age_years()[:, None] + np.asarray(ahead_years, float)
    final = part.last_months / MONTHS_PER_YEAR
    evidence = evidence_of(part, series.male, series.readings, np.minimum(asked, final))
    posterior = posterior_of(part, evidence, series.stature, series.weight)
    n = evidence.ln_size.shape[1]
    variance = variance_ahead(part.kernel, evidence.points.part(slice(n, None)), posterior)
    known = (asked <= final + EDGE_MONTHS / MONTHS_PER_YEAR) & evidence.present.any(1)[:, None]
    return Mixture(normalised(posterior.ln_weight)[:, None], posterior.mean, np.sqrt(variance), known)


def posterior_of(part: Part, evidence: Evidence, stature, weight):
    """Solve a part with its companions: stature's tempo for every part, its drift for lengths, weight's for girths."""
    ages = evidence.points.age_years
    n = evidence.ln_size.shape[1]
    ln_prior, drift = LN_PRIOR, None
    if part.family != "stature" and stature is not None:
        beta = STATURE_DRIFT if part.family == "length" else 0
        ln_prior, drift = _companion("stature", evidence.male, stature, ages, n, beta)
    if part.family == "girth" and weight is not None:
        _, drift = _companion("weight", evidence.male, weight, ages, n, WEIGHT_DRIFT)
    return solve(part.kernel, shape_table(part.shapes, part.kernel.tempo_sd), evidence, ln_prior, drift)


def _companion(measure, male, readings, ages, n, beta):
    """The companion's ln weights (N, J), and beta x its residual since the part's last reading, (N, n + T, J)."""
    part = part_of(measure)
    asked = ages if beta else ages[:, :0]
    evidence = evidence_of(part, male, readings, asked)
    posterior = solve(part.kernel, shape_table(part.shapes, part.kernel.tempo_sd), evidence, LN_PRIOR)
    if not beta:
        return posterior.ln_weight, None
    return posterior.ln_weight, beta * (posterior.residual - posterior.residual[:, n - 1 : n])
