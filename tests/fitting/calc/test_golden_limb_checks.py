"""Values published or worked by hand; the source of each stands in its row of tests/golden/limb_checks.csv."""

import csv
import json
import math
from pathlib import Path

import pytest

from fitting.calc.capacity import GIRTH_PER_RADIUS
from fitting.calc.limb import length_level_percent
from fitting.calc.maturity import Body, mid_parental_height_cm, offset_2002_years, offset_2015_years
from fitting.calc.residual_growth import cumulative_share, plate_share
from fitting.calc.takes import REAL_CHANGE_FACTOR, noise_band, tem
from fitting.calc.volume import GirthProfile, end_cap_ml, frusta_ml, frustum_ml

GOLDEN = Path(__file__).resolve().parents[2] / "golden" / "limb_checks.csv"


def frusta(girths_mm, stations_mm):
    return frusta_ml(GirthProfile("cubital_fold", tuple(stations_mm), tuple(girths_mm)))


def grown_volume(girth_ratio, length_ratio):
    before = frusta([180, 160], [0, 40])
    return frusta([180 * girth_ratio, 160 * girth_ratio], [0, 40 * length_ratio]) / before


def level_after_growth(residual_mm, sound_mm, share, sound_growth_mm):
    grown_mm = sound_mm + sound_growth_mm
    gained_mm = cumulative_share([share, share], [sound_mm, grown_mm])[-1] * sound_growth_mm
    return length_level_percent(residual_mm + gained_mm, grown_mm)


CHECKS = {
    "frustum_by_diameters": lambda d, h: frustum_ml(math.pi * d[0], math.pi * d[1], h),
    "frusta_by_diameters": lambda d, stations: frusta([math.pi * each for each in d], stations),
    "frusta": frusta,
    "frusta_with_cap": lambda girths, stations, depth: frusta(girths, stations) + end_cap_ml(girths[-1], depth),
    "grown_volume": grown_volume,
    "offset_2002": lambda *body: offset_2002_years(Body(*body)),
    "offset_2015": lambda *body: offset_2015_years(Body(*body)),
    "tem": tem,
    "noise_band": noise_band,
    "tem_of_limits": lambda limit: limit / REAL_CHANGE_FACTOR,
    "layer_girth": lambda thickness: GIRTH_PER_RADIUS * thickness,
    "plate_share": plate_share,
    "level_after_growth": level_after_growth,
    "mid_parental": mid_parental_height_cm,
    "length_level": length_level_percent,
}

with GOLDEN.open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=[f"{row['check']}{row['arguments']}" for row in ROWS])
def test_golden_value(row):
    answer = CHECKS[row["check"]](*json.loads(row["arguments"]))
    assert answer == pytest.approx(float(row["expected"]), abs=float(row["within"]))


def test_every_row_has_a_source():
    assert ROWS
    assert all(row["source"] for row in ROWS)
