"""Backtest cases: what a child's past said at one reading, and what happened after it."""

from dataclasses import dataclass, field
from itertools import takewhile, zip_longest

import numpy as np

from fitting.calc.crossing import EARLY
from fitting.calc.forecast import crossing_days, readings_of
from fitting.calc.mixtures import mixture_quantiles
from fitting.calc.parts import part_of
from fitting.calc.plan_days import CALENDAR_RULE
from fitting.calc.refit_rules import ALLOWANCE, RuleCost, rule_cost
from fitting.calc.scoring import LEVELS, constant_z, last_velocity
from fitting.calc.series import Series, mixture_ahead
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import DAYS_PER_YEAR, MONTHS_PER_YEAR, age_years
from fitting.series_files import SeriesFiles

PAST_MOST, PAST_LEAST, PAST_YEARS, PAST_APART_YEARS = 6, 2, 3.01, 0.49
AHEAD_MONTHS = (6, 12, 18, 24)
AHEAD_SLACK_MONTHS = 1.5  # a reading this close to the horizon is taken, at its own day
PERCENTS = (2, 4, 6)
CROSSING_YEARS = 3.01
DAY_YEARS = 1 / DAYS_PER_YEAR
CHUNK = 500
COMPANIONS = ("stature", "weight")
AGE_BANDS = ((0, 5), (5, 8), (8, 11), (11, 14), (14, 21))


@dataclass(frozen=True)
class Track:
    """One child's readings of one measure: true and read sizes [mm or kg], error SD, oldest first."""

    age_years: np.ndarray
    true: np.ndarray
    read: np.ndarray
    target: np.ndarray
    error_sd: np.ndarray


@dataclass
class Case:
    """One child at one reading.

    past: indices of the readings used; targets: horizon [months] -> (years ahead, size); crossed: percent -> years
    """

    case: str
    sex: str
    measure: str
    track: Track
    past: list[int]
    targets: dict[int, tuple[float, float]] = field(default_factory=dict)
    crossed: dict[int, float] = field(default_factory=dict)

    @property
    def age_years(self) -> float:
        return float(self.track.age_years[self.past[-1]])

    @property
    def band(self) -> tuple[int, int]:
        return next(band for band in AGE_BANDS if band[0] <= self.age_years < band[1])


def tracks_of(files: SeriesFiles, noise: dict[str, str], rng) -> dict[tuple[str, str], Track]:
    """Readings of each case and measure in arrays; `noise` ("3.5" mm or kg, "1%") is added to measures that name it.

    Noise is added once to what the past shows and once more, apart, to what a later reading would show.
    """
    return {key: _track(files, key, noise.get(key[1]), rng) for key in sorted(files.readings)}


def _track(files, key, noise, rng):
    readings = files.readings[key]
    birth_date = files.children[key[0]].birth_date
    true = np.array([reading.size for reading in readings])
    error_sd = np.array([reading.error_sd for reading in readings])
    read = target = true
    if noise:
        error_sd = true * float(noise[:-1]) / 100 if noise.endswith("%") else np.full(len(true), float(noise))
        read, target = (true + rng.normal(size=len(true)) * error_sd for _ in range(2))
    ages = np.array([age_years(birth_date, reading.on) for reading in readings])
    return Track(ages, true, read, target, error_sd)


def cases_of(files: SeriesFiles, tracks: dict, measures=None) -> list[Case]:
    """Every reading that has enough past and something after it, for each measure that is not only a companion."""
    found = []
    for (case, measure), track in tracks.items():
        if measures and measure not in measures:
            continue
        for j in range(len(track.age_years)):
            past = past_of(track.age_years, j)
            row = Case(case, files.children[case].sex, measure, track, past, _targets(track, j), _crossed(track, j))
            if len(past) >= PAST_LEAST and row.targets:
                found.append(row)
    return found


def past_of(ages, j) -> list[int]:
    """Indices of reading j and up to five before it within three years, half a year apart."""
    chosen = [j]
    for i in range(j - 1, -1, -1):
        if ages[j] - ages[i] > PAST_YEARS or len(chosen) >= PAST_MOST:
            break
        if ages[chosen[0]] - ages[i] >= PAST_APART_YEARS:
            chosen.insert(0, i)
    return chosen


def _targets(track, j):
    """The reading nearest each horizon, if one is near enough."""
    ahead = (track.age_years - track.age_years[j]) * MONTHS_PER_YEAR
    found = {}
    for months in AHEAD_MONTHS:
        nearest = int(np.argmin(np.abs(ahead - months)))
        if abs(ahead[nearest] - months) <= AHEAD_SLACK_MONTHS:
            found[months] = (float(ahead[nearest]) / MONTHS_PER_YEAR, float(track.target[nearest]))
    return found


def _crossed(track, j):
    """When the true size passed the last reading by each percentage, linear between readings [years after it]."""
    later = (track.age_years >= track.age_years[j]) & (track.age_years - track.age_years[j] <= CROSSING_YEARS)
    ahead, size = track.age_years[later] - track.age_years[j], track.true[later]
    found = {}
    for percent in PERCENTS:
        limit = track.read[j] * (1 + percent / 100)
        passed = np.flatnonzero((size[1:] >= limit) & (size[:-1] < limit))
        if passed.size:
            i = passed[0]
            share = (limit - size[i]) / (size[i + 1] - size[i])
            found[percent] = float(ahead[i] + share * (ahead[i + 1] - ahead[i]))
    return found


def past_cells(case: Case) -> list[tuple[float, float, float]]:
    """Age [years], size and error SD of each past reading."""
    track = case.track
    return [(track.age_years[i], track.read[i], track.error_sd[i]) for i in case.past]


def companion_cells(case: Case, tracks: dict, companion: str) -> list[tuple[float, float, float]]:
    """The companion's readings within the case's past, none later than its last reading."""
    track = tracks.get((case.case, companion))
    if track is None or companion == case.measure:
        return []
    first, last = case.track.age_years[case.past[0]], case.track.age_years[case.past[-1]]
    known = np.flatnonzero((track.age_years >= first - DAY_YEARS) & (track.age_years <= last + DAY_YEARS))
    return [(track.age_years[i], track.read[i], track.error_sd[i]) for i in known]


def series_of(cases: list[Case], tracks: dict, alone: bool) -> Series:
    """The pasts of cases of one measure, in arrays, with their companions."""
    companions = [
        None if alone else readings_of([companion_cells(case, tracks, name) for case in cases]) for name in COMPANIONS
    ]
    male = np.array([case.sex == "M" for case in cases])
    return Series(part_of(cases[0].measure), male, readings_of([past_cells(case) for case in cases]), *companions)


def quantiles_ahead(series: Series, cases: list[Case], months: int) -> np.ndarray:
    """Quantiles at LEVELS of the reading to come on each case's own day near a horizon, (N, 39); nan past the table."""
    years = np.array([case.targets[months][0] for case in cases])
    found = np.empty((len(cases), len(LEVELS)))
    for start in range(0, len(cases), CHUNK):
        some = slice(start, start + CHUNK)
        found[some] = _quantiles(series.of(np.arange(len(cases))[some]), years[some], cases[some])
    return found


def _quantiles(series, years, cases):
    ahead = mixture_ahead(series, years[:, None])
    error_sd = np.array([case.track.error_sd[case.past[-1]] for case in cases])
    noise = error_sd[:, None, None] / np.exp(ahead.mean)
    ln_size = mixture_quantiles(ahead.weights, ahead.mean, np.hypot(ahead.sd, noise), LEVELS)
    return np.where(ahead.known[:, :, None], np.exp(ln_size), np.nan)[:, 0]


def rules_ahead(cases: list[Case], months: int) -> dict[str, np.ndarray]:
    """What the plain rules say for each case near a horizon: last value, last velocity, constant z."""
    part = part_of(cases[0].measure)
    years = np.array([case.targets[months][0] for case in cases])
    last = np.array([case.track.read[case.past[-1]] for case in cases])
    pasts = [np.array(past_cells(case)) for case in cases]
    return {
        "last value": last,
        "last velocity": np.array(
            [last_velocity(past[:, 0], past[:, 1], ahead) for past, ahead in zip(pasts, years, strict=True)]
        ),
        "constant z": constant_z(part, [case.sex for case in cases], [case.age_years for case in cases], last, years),
    }


def refit_days(cases: list[Case], series: Series) -> dict[str, np.ndarray]:
    """Years after each case's last reading, were it a socket made then, at which each rule replaces it; inf for never.

    calendar: by age alone; forecast: the buffer before the early day promised then; forecast, seen again: that day as
    promised anew at each later reading while the socket is worn.
    """
    rows, limits = _sockets_at(cases)
    early = crossing_days(series, limits, q=(EARLY,))[:, :, 0] / DAYS_PER_YEAR
    due = np.nan_to_num(early, nan=np.inf) - Tolerances().buffer_days / DAYS_PER_YEAR
    calendar = [next((years for up_to, years in CALENDAR_RULE if case.age_years < up_to), np.inf) for case in cases]
    again = [_seen_again(cases, rows, due, j) for j in range(len(cases))]
    return {
        "calendar": np.array(calendar, float),
        "forecast": np.maximum(due[:, 0], 0),
        "forecast, seen again": np.array(again),
    }


def _sockets_at(cases):
    """At each case, the sockets its child may wear: row numbers, its own first, and their limits (N, M)."""
    limit = [case.track.read[case.past[-1]] * (1 + ALLOWANCE) for case in cases]
    rows = []
    for i, case in enumerate(cases):
        before = range(i - 1, -1, -1)
        same = takewhile(lambda j, case=case: cases[j].case == case.case, before)
        rows.append([i, *(j for j in same if case.age_years - cases[j].age_years <= CROSSING_YEARS)])
    most = max(map(len, rows))
    return rows, np.array([[limit[j] for j in worn] + [limit[i]] * (most - len(worn)) for i, worn in enumerate(rows)])


def _seen_again(cases, rows, due, j):
    """When a socket made at case j is replaced, its due day told anew at each later case of the same child."""
    later = [i for i in range(j, len(cases)) if j in rows[i]]
    for i, following in zip_longest(later, later[1:]):
        since = cases[i].age_years - cases[j].age_years
        replaced = since + max(due[i, rows[i].index(j)], 0)
        if following is None or replaced <= cases[following].age_years - cases[j].age_years:
            return replaced
    return np.inf


def refit_costs(cases: list[Case], replaced: dict[str, np.ndarray]) -> dict[str, RuleCost]:
    """What each rule costs over sockets made at each case's last reading and replaced so many years later."""
    outgrown = [case.crossed.get(round(100 * ALLOWANCE), np.inf) for case in cases]
    seen = [min(float(case.track.age_years[-1]) - case.age_years, CROSSING_YEARS) for case in cases]
    return {rule: rule_cost(years, outgrown, seen) for rule, years in replaced.items()}
