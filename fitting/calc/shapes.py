"""Candidate growth shapes h_k(u) of ln size against ln maturity age u, tempo smearing taken out, tabulated over age."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from fitting.calc.references import SEXES, lms_table, stature_template
from fitting.calc.units import MONTHS_PER_YEAR

TEMPO_POINTS = np.linspace(-2.6, 2.6, 13)  # x_j, in units of the SD of ln tempo
JOIN_YEARS = 2.0  # the CDC infant tables hand over to the tables of standing children here
STEP_YEARS = 1 / 120  # a tenth of a month: shapes between rows are off by 1e-6 at most past two years
LAST_YEARS = 24.0  # last age of the stature template
YOUNGEST_YEARS = 0.1
TABLES = {
    "elbow_wrist": "elbow_wrist_length_us1977",
    "upper_arm_length": "upper_arm_length_us2011_2023",
    "hand_length": "hand_length_us1977",
    "forearm_girth": "forearm_girth_us1977",
    "upper_arm_girth": "upper_arm_girth_us2011_2023",
    "wrist_girth": "wrist_girth_us1977",
}


def ln_shape(name: str, sex: str, maturity_years) -> np.ndarray:
    """h_k: ln size of a candidate shape at maturity ages [years]; flat past its table's last age.

    name: "stature", "weight", "stoutness" (half of ln weight - ln stature) or a key of TABLES.
    h_k(u) = ln M_k(u) + [h_template(u) - ln M_stature(u)]; below two years the bracket keeps its value, except that a
    table which begins at two years goes on down as the template does.
    """
    years = np.asarray(maturity_years, float)
    if name == "stature":
        return _ln_template(sex, years)
    if name == "weight":
        return _ln_weight(sex, years) + _unsmear(sex, years, True)
    if name == "stoutness":
        return (_ln_weight(sex, years) - _ln_stature(sex, years)) / 2 + _unsmear(sex, years, True)
    table = lms_table(TABLES[name])
    infant = table.first_months < JOIN_YEARS * MONTHS_PER_YEAR
    return _ln_median(table, sex, years) + _unsmear(sex, years, infant)


def _unsmear(sex, years, infant):
    """What the template says beyond the smeared median of stature."""
    at = np.maximum(years, JOIN_YEARS) if infant else years
    return _ln_template(sex, at) - _ln_median(lms_table("stature_cdc2000"), sex, at)


def _ln_median(table, sex, years):
    curves = table.curves[sex]
    return np.log(np.interp(years * MONTHS_PER_YEAR, curves.age_months, curves.M))


def _ln_template(sex, years):
    """ln of the template, interpolated linearly in ln maturity age as its table asks."""
    ages, M = stature_template()[sex]
    return np.interp(np.log(np.maximum(years, YOUNGEST_YEARS)), np.log(ages), np.log(M))


def _ln_weight(sex, years):
    return _joined(lms_table("weight_infant_cdc2000"), lms_table("weight_cdc2000"), sex, years)


def _ln_stature(sex, years):
    return _joined(lms_table("length_cdc2000"), lms_table("stature_cdc2000"), sex, years)


def _joined(infant, older, sex, years):
    """ln median of the infant table shifted to meet the older table at two years, then of the older table."""
    step = _ln_median(older, sex, JOIN_YEARS) - _ln_median(infant, sex, JOIN_YEARS)
    return np.where(years < JOIN_YEARS, _ln_median(infant, sex, years) + step, _ln_median(older, sex, years))


@dataclass(frozen=True)
class AgeTable:
    """Columns tabulated over age for both sexes, looked up linearly. rows: (2A, C), girls first."""

    rows: np.ndarray

    def at(self, male: np.ndarray, age_years: np.ndarray) -> np.ndarray:
        """Rows at ages (N, n) [years] of children male (N,), as (N, n, C); ages outside are held at the ends."""
        place = np.clip(age_years * (1 / STEP_YEARS), 0, len(self.rows) // 2 - 1.001)
        index = place.astype(np.intp)
        place -= index
        index += np.where(male, len(self.rows) // 2, 0)[:, None]
        low = self.rows.take(index, axis=0)
        index += 1
        high = self.rows.take(index, axis=0)
        high -= low
        high *= place[:, :, None]
        high += low
        return high


def _grid_years():
    return np.arange(round(LAST_YEARS / STEP_YEARS) + 1) * STEP_YEARS


@cache
def shape_table(names: tuple[str, ...], tempo_sd: float) -> AgeTable:
    """Mean shape and shape differences over age for each tempo point.

    Columns: mean of the shapes at tempo points 0..J-1, then K - 1 contrasts of J columns each, orthonormal, so that the
    sum of products of the contrasts is the sum over shapes of (h_k - mean)(h_k' - mean').
    """
    contrasts = _contrasts(len(names))
    return AgeTable(np.concatenate([_shape_rows(names, sex, tempo_sd, contrasts) for sex in SEXES]))


def _shape_rows(names, sex, tempo_sd, contrasts):
    maturity = np.maximum(_grid_years(), YOUNGEST_YEARS)[:, None] * np.exp(-tempo_sd * TEMPO_POINTS)
    shapes = np.array([ln_shape(name, sex, maturity) for name in names])  # (K, A, J)
    columns = np.concatenate([shapes.mean(0)[None], np.einsum("rk,kaj->raj", contrasts, shapes)])
    return np.ascontiguousarray(columns.transpose(1, 0, 2).reshape(len(maturity), -1))


def _contrasts(count):
    """(K - 1, K) orthonormal contrasts (Helmert): each shape against the mean of those before it."""
    rows = np.tril(np.ones((count, count)), -1)[1:]
    rows[np.arange(count - 1), np.arange(1, count)] = -np.arange(1.0, count)
    return rows / np.linalg.norm(rows, axis=1, keepdims=True)


@cache
def spread_table(name: str) -> AgeTable:
    """S over age of the reference stored under a name, as one column; held at the table's ends."""
    table, months = lms_table(name), _grid_years() * MONTHS_PER_YEAR
    columns = [np.interp(months, table.curves[sex].age_months, table.curves[sex].S) for sex in SEXES]
    return AgeTable(np.concatenate(columns)[:, None])
