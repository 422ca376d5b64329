"""Forecasts: the outlook of one child's series or limb, and bands and crossing days of many children at once."""

from collections.abc import Mapping, Sequence
from datetime import date

import numpy as np
from scipy.special import ndtr

from fitting.calc.errors import DoorpostError, OutOfReference
from fitting.calc.mixtures import first_reach, mixture_quantiles
from fitting.calc.outlook import Observation, Outlook
from fitting.calc.parts import part_of, residual_girth_part
from fitting.calc.references import EDGE_MONTHS
from fitting.calc.series import Readings, Series, evidence_of, known_series, mixture_ahead, posterior_of
from fitting.calc.tempo import covariance_ahead, normalised
from fitting.calc.units import DAYS_PER_MONTH, DAYS_PER_YEAR, MONTHS_PER_YEAR, age_years

SEARCH_MONTHS = 60
EARLY_LIKELY_LATE = (0.1, 0.5, 0.9)
QUARTER_MONTHS = 3
CELLS_PER_CHUNK = 6000  # children x ages worked on at once: small enough for the processor's cache


def series_outlook(
    *,
    sex: str,
    birth_date: date,
    measure: str,
    readings: Sequence[Observation],
    stature: Sequence[Observation] = (),
    weight: Sequence[Observation] = (),
    wander_scale: float | None = None,
    ahead_months: int = SEARCH_MONTHS,
) -> Outlook:
    """Outlook of one series, its one part named by its measure.

    sex: "F" or "M"; measure: such as "forearm_length"; readings, stature, weight: readings [mm, weight kg]
    wander_scale: lambda of the measure's family, None for the default; ahead_months: how far to look [months]
    Raises DoorpostError without readings or for an unknown measure, OutOfReference when the last reading is outside
    the reference.
    """
    part = part_of(measure).with_wander(wander_scale)
    return _outlook(part, sex, birth_date, {measure: readings}, stature, weight, ahead_months)


def residual_girths_outlook(
    *,
    sex: str,
    birth_date: date,
    stations: Mapping[str, Sequence[Observation]],
    stature: Sequence[Observation] = (),
    weight: Sequence[Observation] = (),
    wander_scale: float | None = None,
    ahead_months: int = SEARCH_MONTHS,
) -> Outlook:
    """Outlook of all girth stations of one residual limb: levels of their own, one drift for all.

    stations: readings [mm] by station; its keys, such as "girth:60", name the parts. Otherwise as series_outlook.
    """
    part = residual_girth_part().with_wander(wander_scale)
    return _outlook(part, sex, birth_date, stations, stature, weight, ahead_months)


def _outlook(part, sex, birth_date, parts, stature, weight, ahead_months):
    if sex not in ("F", "M"):
        raise DoorpostError(f'The growth references are for F or M, not "{sex}".')
    empty = [name for name, readings in parts.items() if not readings]
    if empty or not parts:
        raise DoorpostError(f"There is no reading of {', '.join(empty) or 'any station'} to forecast from.")
    rows = sorted((o.on, k, o.value, o.error_sd) for k, readings in enumerate(parts.values()) for o in readings)
    origin = rows[-1][0]
    age = age_years(birth_date, origin)
    days, cut = _search_days(part, parts, age, ahead_months)
    station = np.concatenate([[k for _, k, _, _ in rows], np.repeat(np.arange(len(parts)), len(days))])
    readings = readings_of([[(age_years(birth_date, on), value, sd) for on, _, value, sd in rows]])
    asked = np.tile(age + days / DAYS_PER_YEAR, len(parts))[None]
    evidence = evidence_of(part, np.array([sex == "M"]), readings, asked, station)
    posterior = posterior_of(part, evidence, *(_companion_readings(birth_date, c) for c in (stature, weight)))
    return Outlook(
        origin=origin,
        days_ahead=days,
        parts=tuple(parts),
        weights=normalised(posterior.ln_weight)[0],
        mean_ln=posterior.mean[0].reshape(len(parts), len(days), -1).transpose(2, 0, 1),
        cov_ln=covariance_ahead(part.kernel, evidence.ahead(), posterior, len(parts)),
        ends_at_table=cut,
        last_age_months=part.last_months,
    )


def _search_days(part, parts, age, ahead_months):
    """Monthly days ahead up to the reference's last age, and whether that cut the search. Raises OutOfReference."""
    months = age * MONTHS_PER_YEAR
    first, last = part.first_months - EDGE_MONTHS, part.last_months + EDGE_MONTHS
    if not first <= months <= last:
        raise OutOfReference(", ".join(parts), part.first_months, part.last_months, months)
    ahead = np.arange(ahead_months + 1)
    inside = ahead[months + ahead <= last]
    return inside * DAYS_PER_MONTH, len(inside) < len(ahead)


def _companion_readings(birth_date, observations):
    if not observations:
        return None
    return readings_of([sorted((age_years(birth_date, o.on), o.value, o.error_sd) for o in observations)])


def readings_of(children: Sequence[Sequence[tuple[float, float, float]]]) -> Readings:
    """Arrays of each child's readings (age [years], size [mm or kg], error SD), oldest first; a child may have none."""
    places = max((len(c) for c in children), default=0) or 1
    cells = np.full((len(children), places, 3), np.nan)
    for cell, child in zip(cells, children, strict=True):
        cell[: len(child)] = np.reshape(child, (-1, 3))
    return Readings(*np.moveaxis(cells, 2, 0))


def reading_bands(series: Series, ahead_months, q) -> np.ndarray:
    """Quantiles of the readings to be expected, their error included.

    ahead_months: (T,) months after each child's last reading; q: (Q,).
    Returns (N, T, Q) [mm or kg], nan past the reference.
    """
    bands = np.empty((len(series.male), len(ahead_months), len(q)))
    for children in _chunks(series, len(ahead_months)):
        few = series.of(children)
        ahead = mixture_ahead(few, np.asarray(ahead_months) / MONTHS_PER_YEAR)
        error = _last(few.readings.error_sd)[:, None, None] / np.exp(ahead.mean)
        ln_size = mixture_quantiles(ahead.weights, ahead.mean, np.hypot(ahead.sd, error), q)
        bands[children] = np.where(ahead.known[:, :, None], np.exp(ln_size), np.nan)
    return bands


def crossing_days(series: Series, thresholds, q=EARLY_LIKELY_LATE, search_months=SEARCH_MONTHS) -> np.ndarray:
    """First day after the last reading with P(true size > threshold) >= q, on a monthly grid, interpolated.

    thresholds: (N, M) [mm or kg]; q: (Q,). Returns (N, M, Q) days, nan when not within the search or the reference.
    Quarters are looked at first, then the months of the quarter at whose end q is first reached.
    """
    days = np.empty((*np.shape(thresholds), len(q)))
    for children in _chunks(series, search_months // QUARTER_MONTHS):
        days[children] = _crossings(series.of(children), np.log(thresholds[children]), np.array(q), search_months)
    return days


def _crossings(series, ln_thresholds, q, search_months):
    """Crossing days (N, M, Q): the quarter at whose end q is first reached, then its months."""
    quarters = np.arange(0, search_months + QUARTER_MONTHS, QUARTER_MONTHS)
    quarters = np.minimum(quarters, np.clip(_months_left(series), 0, search_months)[:, None])
    known = known_series(series)
    ahead = known.mixture(quarters / MONTHS_PER_YEAR)
    above = np.stack([_above(ahead, threshold[:, None]) for threshold in ln_thresholds.T], 1)[:, :, None]
    at = (above >= q[:, None]).argmax(-1)[..., None]
    ends = np.concatenate([np.maximum(at - 1, 0), at], -1)
    months, between = _months_between(np.take_along_axis(quarters[:, None, None], ends, -1))
    thresholds = np.broadcast_to(ln_thresholds[:, :, None, None], between.shape).reshape(len(between), -1)
    inside = _above(known.mixture(between.reshape(len(between), -1) / MONTHS_PER_YEAR), thresholds)
    probability = np.insert(np.take_along_axis(above, ends, -1), [1], inside.reshape(between.shape), -1)
    return first_reach(probability, months * DAYS_PER_MONTH, q)


def _months_between(ends):
    """All months from start to end of a quarter (..., 2), and those between; a quarter cut short repeats its end."""
    between = np.minimum(ends[..., :1] + np.arange(1, QUARTER_MONTHS), ends[..., 1:])
    return np.insert(ends, [1], between, -1), between


def _months_left(series):
    """Whole months from each child's last reading to the reference's last age, (N,)."""
    return np.floor(series.part.last_months + EDGE_MONTHS - series.readings.last_age_years() * MONTHS_PER_YEAR)


def _above(ahead, ln_threshold):
    """P(ln true size > threshold), (N, T); the thresholds (N, T) or (N, 1); nan past the reference."""
    passed = ndtr((ahead.mean - ln_threshold[:, :, None]) / ahead.sd)
    return np.where(ahead.known, np.einsum("ntj,nij->nt", passed, ahead.weights), np.nan)


def _last(values):
    """The last number of each row that is not nan, (N,)."""
    places = np.isfinite(values).sum(1)
    return values[np.arange(len(values)), np.maximum(places - 1, 0)]


def _chunks(series, ages):
    """Children in groups of like numbers of readings, small enough to stay in the processor's cache."""
    order = np.argsort(np.isfinite(series.readings.age_years).sum(1), kind="stable")
    size = max(1, CELLS_PER_CHUNK // (ages + series.readings.age_years.shape[1]))
    return (order[start : start + size] for start in range(0, len(order), size))
