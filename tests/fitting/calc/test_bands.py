"""Stored bands against the exact mixture, and what they say under more wander and more error."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy.special import ndtr

from fitting.calc.bands import PER_STEP, series_bands
from fitting.calc.drivers import drivers
from fitting.calc.errors import OutOfReference
from fitting.calc.followed import GIRTHS, Followed
from fitting.calc.outlook import Observation, quantiles

BIRTH = date(2018, 1, 1)
STATIONS = ("girth:0", "girth:25", "girth:50")


def girths(age_years=6.0, visits=5, error_sd=2.0, wander_scale=1.0, sex="F"):
    days = [BIRTH + timedelta(days=round(age_years * 365.25) + 122 * i) for i in range(visits)]
    readings = {
        part: tuple(Observation(on, 190 - 10 * k + 2.0 * i, error_sd) for i, on in enumerate(days))
        for k, part in enumerate(STATIONS)
    }
    stature = tuple(Observation(on, 1100 + 20.0 * i, 5) for i, on in enumerate(days))
    return Followed(GIRTHS, readings, sex, BIRTH, stature, (), wander_scale)


@pytest.mark.parametrize("age_years", [3, 7, 11])
@pytest.mark.parametrize("sex", ["F", "M"])
def test_the_normal_of_a_band_gives_the_mixtures_quantiles(age_years, sex):
    followed = girths(age_years, sex=sex)
    bands, outlook = series_bands(followed), followed.outlook()
    q = np.array([0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975])
    for part in STATIONS:
        sizes = quantiles(outlook, part, q)
        for place, month in enumerate((0, 1, 3, 6, 9, 12, 18, 24)):
            band = bands.of(part)
            found = ndtr((np.log(sizes[:, month]) - band.mean[place]) / band.sd[place])
            assert found == pytest.approx(q, abs=0.005)


def test_between_its_days_a_band_is_nearly_straight():
    followed = girths()
    bands, outlook = series_bands(followed), followed.outlook()
    mean, sd = outlook.part_mixture("girth:25")
    for month in (2, 4, 7, 15, 21):
        day = outlook.days_ahead[month]
        centre = outlook.weights @ mean[:, month]
        spread = np.sqrt(outlook.weights @ (sd[:, month] ** 2 + (mean[:, month] - centre) ** 2))
        band = bands.of("girth:25")
        assert np.interp(day, bands.days, band.mean) == pytest.approx(centre, abs=0.001)
        assert np.interp(day, bands.days, band.sd) == pytest.approx(spread, rel=0.02)


def test_the_shared_band_is_that_of_the_mean_over_the_stations():
    """Against draws of the stations from each tempo point's normal, seeded."""
    followed, rng = girths(), np.random.default_rng(5)
    bands, outlook = series_bands(followed), followed.outlook()
    drawn = []
    for j, count in enumerate(rng.multinomial(200_000, outlook.weights)):
        drawn.append(rng.multivariate_normal(outlook.mean_ln[j, :, 12], outlook.cov_ln[j, 12], size=count).mean(axis=1))
    drawn = np.concatenate(drawn)
    assert bands.shared.mean[5] == pytest.approx(drawn.mean(), abs=3e-4)
    assert bands.shared.sd[5] == pytest.approx(drawn.std(), rel=0.01)


@pytest.mark.parametrize("scale", [0.5, 0.7, 1.5, 2.0])
@pytest.mark.parametrize("kind", ["wander", "error"])
def test_two_looks_tell_the_spread_under_any_scale_in_reach(kind, scale):
    """Variance straight in the square of the scale, against the series looked ahead anew under that scale."""
    followed = girths()
    bands = series_bands(followed)
    exact = series_bands(Followed(**vars(followed) | ({"wander_scale": scale} if kind == "wander" else {})))
    if kind == "error":
        exact = series_bands(girths(error_sd=2.0 * scale))
    changed = bands.more_wander if kind == "wander" else bands.more_error
    base = np.square(bands.shared.sd)
    told = np.sqrt(base + (np.square(changed.sd) - base) / PER_STEP * (scale**2 - 1))
    assert told[1:] == pytest.approx(exact.shared.sd[1:], rel=0.08)


def test_shares_are_those_of_the_variance():
    """Without error of reading there is none in the forecast, and the more of it the larger its share."""
    shares = {sd: series_bands(girths(error_sd=sd)).shares_at(365) for sd in (0.01, 2.0, 6.0)}
    assert all(sum(three) == pytest.approx(1) for three in shares.values())
    assert shares[0.01][0] == pytest.approx(0, abs=1e-3)
    assert shares[0.01][0] < shares[2.0][0] < shares[6.0][0]
    still = series_bands(girths(wander_scale=0.01)).shares_at(365)
    assert still[1] < 0.05


def test_a_series_of_one_part_has_its_band_in_the_shared_one():
    readings = {
        "forearm_length": tuple(Observation(BIRTH + timedelta(days=2000 + 180 * i), 150 + 5.0 * i, 3) for i in range(3))
    }
    bands = series_bands(Followed("forearm_length", readings, "M", BIRTH, (), (), 1.15))
    assert bands.parts == {}
    assert bands.names == ("forearm_length",)
    assert bands.of("forearm_length") is bands.shared
    assert len(bands.shared.mean) == len(bands.days) == 8


def test_near_the_end_of_the_reference_the_bands_are_shorter_and_past_it_there_are_none():
    birth = date(2000, 1, 1)

    def at(age_years):
        on = birth + timedelta(days=round(age_years * 365.25))
        return Followed("stature", {"stature": (Observation(on, 1700, 5),)}, "M", birth, (), (), 1.15)

    assert max(series_bands(at(19)).days) < 366
    with pytest.raises(OutOfReference):
        series_bands(at(21))


def test_what_drove_a_forecast():
    followed = girths()
    bands, outlook = series_bands(followed), followed.outlook()
    year = outlook.origin + timedelta(days=365)
    told = drivers(outlook, "girth:25", bands, 5, year)
    assert told.size_mm == pytest.approx(188, abs=2)
    assert told.growth_mm_per_year == pytest.approx(
        np.interp(365, outlook.days_ahead, quantiles(outlook, "girth:25", 0.5)[0]) - told.size_mm, rel=0.01
    )
    assert 0.5 < told.sd_mm < 12
    assert told.by_error + told.by_wander + told.by_rest == pytest.approx(1)
    undated = drivers(outlook, "girth:25", bands, 5, None)
    assert undated.growth_mm_per_year == pytest.approx(told.growth_mm_per_year, rel=0.001)
