"""Series of readings of many children in arrays, and their forecast as mixtures over tempo."""

from dataclasses import dataclass

import numpy as np

from fitting.calc.kernels import SPURT_AGE_YEARS, Points
from fitting.calc.parts import FOREARM_GIRTH, STATURE_DRIFT, WEIGHT_DRIFT, Part, part_of
from fitting.calc.references import EDGE_MONTHS
from fitting.calc.shapes import shape_table, spread_table
from fitting.calc.tempo import LN_PRIOR, Conditioned, Evidence, Posterior, condition, normalised, variance_ahead
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


@dataclass(frozen=True)
class Known:
    """A part with its readings taken in, and its companion, whose drift since the last reading it follows at beta."""

    own: Conditioned
    beta: float = 0.0
    companion: Conditioned | None = None

    def posterior(self, ahead: Points) -> Posterior:
        """What is known at points ahead."""
        return self.own.posterior(ahead, self.companion and _drift(self.companion, self.beta, self.own.past, ahead))


def known_of(part: Part, evidence: Evidence, stature, weight) -> Known:
    """Condition a part and its companions: stature's tempo for all, its drift for lengths, weight's for girths."""
    shapes = shape_table(part.shapes, part.kernel.tempo_sd)
    ln_prior, beta, companion = LN_PRIOR, 0.0, None
    if part.family != "stature" and stature is not None:
        companion = _companion("stature", evidence.male, stature)
        ln_prior, beta = companion.ln_weight, STATURE_DRIFT if part.family == "length" else 0.0
    if part.family == "girth" and weight is not None:
        companion, beta = _companion("weight", evidence.male, weight), WEIGHT_DRIFT
    if not beta:
        return Known(condition(part.kernel, shapes, evidence, ln_prior))
    drift = _drift(companion, beta, evidence.past(), evidence.past())
    return Known(condition(part.kernel, shapes, evidence, ln_prior, drift), beta, companion)


def _companion(measure, male, readings):
    part = part_of(measure)
    evidence = evidence_of(part, male, readings, readings.age_years[:, :0])
    return condition(part.kernel, shape_table(part.shapes, part.kernel.tempo_sd), evidence, LN_PRIOR)


def _drift(companion, beta, past, at):
    """beta x the companion's residual since the last reading of the part, (N, T, J)."""
    last = companion.residual(past.part(slice(-1, None)))
    return beta * (companion.residual(at) - last)


def posterior_of(part: Part, evidence: Evidence, stature, weight) -> Posterior:
    """What is known of a part at the ages its evidence asks for."""
    return known_of(part, evidence, stature, weight).posterior(evidence.ahead())


@dataclass(frozen=True)
class KnownSeries:
    """A series with its readings taken in. seen: (N, 1) False for children without a reading the reference covers."""

    series: Series
    known: Known
    seen: np.ndarray

    def mixture(self, ahead_years) -> Mixture:
        """Forecast of ln size at times after each child's last reading; ahead_years: (T,) or (N, T) [years]."""
        part, male = self.series.part, self.series.male
        asked = self.series.readings.last_age_years()[:, None] + np.asarray(ahead_years, float)
        final = part.last_months / MONTHS_PER_YEAR
        ahead = points_of(part, male, np.minimum(asked, final))
        posterior = self.known.posterior(ahead)
        inside = (asked <= final + EDGE_MONTHS / MONTHS_PER_YEAR) & self.seen
        variance = variance_ahead(part.kernel, ahead, posterior)
        return Mixture(normalised(posterior.ln_weight)[:, None], posterior.mean, np.sqrt(variance), inside)


def known_series(series: Series) -> KnownSeries:
    """Take the readings of many children in, to be asked several times."""
    evidence = evidence_of(series.part, series.male, series.readings, series.readings.age_years[:, :0])
    known = known_of(series.part, evidence, series.stature, series.weight)
    return KnownSeries(series, known, evidence.present.any(1)[:, None])


def mixture_ahead(series: Series, ahead_years) -> Mixture:
    """Forecast of ln size at times after each child's last reading; ahead_years: (T,) or (N, T) [years]."""
    return known_series(series).mixture(ahead_years)
