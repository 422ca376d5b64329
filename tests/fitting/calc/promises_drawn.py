"""Limbs that grow exactly as the model says, under a lambda and a TEM of their own, and what was promised of them."""

from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np

from fitting.calc.bands import SeriesBands, series_bands
from fitting.calc.calibration import Outcomes, probability_reached
from fitting.calc.followed import GIRTHS, Followed
from fitting.calc.outlook import Observation
from fitting.calc.own_error import Misses

BIRTH = date(2016, 1, 1)
STATIONS = ("girth:0", "girth:40")
VISITS, EVERY_DAYS, CHILDREN = 5, 150, 70


def _grown(rng, wander_scale, tem):
    """One child's readings: each visit is drawn from what the ones before it say under the true lambda and TEM."""
    on = BIRTH + timedelta(days=int(rng.integers(3 * 365, 12 * 365)))
    followed = Followed(
        GIRTHS,
        {
            part: (Observation(on, size + tem * rng.normal(), tem),)
            for part, size in zip(STATIONS, (190, 170), strict=True)
        },
        rng.choice(["F", "M"]),
        BIRTH,
        (),
        (),
        wander_scale,
    )
    for _visit in range(VISITS - 1):
        ahead = followed.outlook(ahead_months=6)
        on, month = on + timedelta(days=EVERY_DAYS), 5
        j = rng.choice(len(ahead.weights), p=ahead.weights)
        sizes = np.exp(rng.multivariate_normal(ahead.mean_ln[j, :, month], ahead.cov_ln[j, month]))
        read = sizes + tem * rng.normal(size=len(sizes))
        followed = replace(
            followed,
            readings={
                part: (*rows, Observation(on, float(mm), tem))
                for (part, rows), mm in zip(followed.readings.items(), read, strict=True)
            },
        )
    return followed


def _up_to(followed, visits, wander_scale, tem):
    """What a clinic that believes in another lambda and TEM knew after some visits."""
    readings = {
        part: tuple(replace(o, error_sd=tem) for o in rows[:visits]) for part, rows in followed.readings.items()
    }
    return replace(followed, readings=readings, wander_scale=wander_scale)


@cache
def drawn(true_wander: float, true_tem: float, wander: float, tem: float, seed: int = 4):
    """(child, bands promised, day and readings of the next visit, TEM believed in) of every visit but the first."""
    rng, found = np.random.default_rng(seed), []
    for child in range(CHILDREN):
        followed = _grown(rng, true_wander, true_tem)
        for visits in range(1, VISITS):
            bands = series_bands(_up_to(followed, visits, wander, tem))
            found.append((child, bands, {part: rows[visits] for part, rows in followed.readings.items()}, tem))
    return tuple(found)


def at(bands: SeriesBands, values, on):
    return np.interp((on - bands.origin).days, bands.days, values)


def outcomes_of(promised) -> Outcomes:
    rows = []
    for child, bands, seen, tem in promised:
        for part, reading in seen.items():
            band = bands.of(part)
            reached = probability_reached(
                reading.value, at(bands, band.mean, reading.on), at(bands, band.sd, reading.on), tem
            )
            rows.append((reached, child, bands.origin.toordinal(), reading.on.toordinal()))
    return Outcomes(*np.array(rows).T)


def misses_of(promised) -> Misses:
    rows = []
    for _child, bands, seen, tem in promised:
        on = seen[STATIONS[0]].on
        sizes = np.array([reading.value for reading in seen.values()])
        looks = (bands.shared, bands.more_wander, bands.more_error)
        told = [at(bands, values, on) for look in looks for values in (look.mean, look.sd)]
        noise = np.sqrt(np.sum((tem / sizes) ** 2)) / len(sizes)
        rows.append((np.log(sizes).mean(), *told, noise, bands.wander_scale, tem))
    return Misses(*np.array(rows).T)
