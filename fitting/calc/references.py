"""Reads the growth tables in fixtures/reference; a table that does not say where it comes from does not load."""

import csv
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from fitting.calc.errors import BadReference
from fitting.calc.units import DAYS_PER_MONTH

REFERENCE_FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "reference"
LMS_COLUMNS = ["sex", "age_months", "L", "M", "S"]
LMS_HEADER_KEYS = ("measure", "unit", "ages_months", "source", "licence")
SEXES = ("F", "M")
EDGE_MONTHS = 1 / DAYS_PER_MONTH  # a second birthday may fall on day 730, a day before 24 months of 30.4375 days
YOUNGEST_SHARE_KNOT_YEARS = 2.0  # common practice: a share printed as "overall" or "under 2 y" is held at two years


@dataclass(frozen=True)
class LmsCurves:
    """One sex's curves: ages [months], L [1], M [unit of the table], S [1], each (A,)."""

    age_months: np.ndarray
    L: np.ndarray
    M: np.ndarray
    S: np.ndarray


@dataclass(frozen=True)
class LmsTable:
    """A growth reference: what it measures, where it comes from, which ages it covers, and its curves by sex."""

    name: str
    measure: str
    unit: str
    source: str
    licence: str
    status: str
    first_months: float
    last_months: float
    curves: dict[str, LmsCurves]


@cache
def lms_table(name: str) -> LmsTable:
    """The LMS table stored under a name such as "forearm_girth_us1977". Raises BadReference."""
    return read_lms_table(REFERENCE_FOLDER / f"{name}.csv")


def read_lms_table(path: Path) -> LmsTable:
    """Read one LMS table. Raises BadReference when it lacks source, licence, unit or ages, or its rows are unfit."""
    header, rows = read_table(path, LMS_COLUMNS)
    missing = [key for key in LMS_HEADER_KEYS if not header.get(key)]
    if missing:
        raise BadReference(
            f"The reference table {path.name} does not state its {', '.join(missing)}, so it is not used."
        )
    first_months, last_months = _age_range(path, header["ages_months"])
    return LmsTable(
        name=path.stem,
        measure=header["measure"],
        unit=header["unit"],
        source=header["source"],
        licence=header["licence"],
        status=header.get("status", ""),
        first_months=first_months,
        last_months=last_months,
        curves={sex: _curves(path, sex, rows, first_months, last_months) for sex in SEXES},
    )


def _age_range(path, text):
    match = re.fullmatch(r"([\d.]+) to ([\d.]+)", text)
    if not match:
        raise BadReference(f'The reference table {path.name} gives its ages as "{text}", not as "24.0 to 240.0".')
    return float(match[1]), float(match[2])


def _curves(path, sex, rows, first_months, last_months):
    try:
        numbers = np.array([[float(r[c]) for c in LMS_COLUMNS[1:]] for r in rows if r["sex"] == sex])
    except (TypeError, ValueError):
        raise BadReference(f"The reference table {path.name} holds a value that is not a number.") from None
    if len(numbers) < 2 or np.any(np.diff(numbers[:, 0]) <= 0):
        raise BadReference(f"The reference table {path.name} needs rows of rising age for sex {sex}.")
    if (numbers[0, 0], numbers[-1, 0]) != (first_months, last_months):
        raise BadReference(f"The reference table {path.name} does not cover the ages its header states for sex {sex}.")
    if not np.isfinite(numbers).all() or np.any(numbers[:, 2:] <= 0):
        raise BadReference(f"The reference table {path.name} holds a median or a spread that is not above zero.")
    return LmsCurves(*(_frozen(column) for column in numbers.T))


def read_table(path: Path, columns: list[str]) -> tuple[dict[str, str], list[dict[str, str]]]:
    """Header lines "# key: value" and rows of a table. Raises BadReference when it is absent or has other columns."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        raise BadReference(f"There is no reference table {path.name}.") from None
    header = dict(re.match(r"# *([^:]+): *(.*)", line).groups() for line in lines if re.match(r"# *[^:]+:", line))
    reader = csv.DictReader(line for line in lines if not line.startswith("#"))
    if reader.fieldnames != columns:
        raise BadReference(f"The reference table {path.name} must have the columns {', '.join(columns)}.")
    return header, list(reader)


def _frozen(values):
    array = np.array(values, float)
    array.setflags(write=False)
    return array


@cache
def stature_template() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Stature against maturity age, tempo smearing partly removed: for each sex, ages [years] and M [mm], each (A,)."""
    return _curves_by_sex("stature_template", ["sex", "maturity_age_years", "M"])


@cache
def height_velocity_whole_year() -> dict[str, tuple[np.ndarray, ...]]:
    """Height gained in a whole year: for each sex, mid-age [months] and p5, p50, p95 [cm/year], each (A,)."""
    return _curves_by_sex("height_velocity_whole_year", ["sex", "mid_age_months", "p5", "p50", "p95"])


def _curves_by_sex(name, columns):
    _, rows = read_table(REFERENCE_FOLDER / f"{name}.csv", columns)
    picked = {sex: [[float(row[c]) for c in columns[1:]] for row in rows if row["sex"] == sex] for sex in SEXES}
    return {sex: tuple(_frozen(column) for column in np.array(numbers).T) for sex, numbers in picked.items()}


@cache
def growth_share_knots(bone: str, physis: str) -> tuple[np.ndarray, np.ndarray]:
    """Share of a bone's length growth that comes from one growth plate: knot ages [years] and shares [0-1], each (A,).

    Source: Pritchett 1991, rows of physis_growth_share_arm.csv; rows without an age of their own are not knots.
    """
    columns = ["bone", "physis", "age", "percent_of_bone_growth", "source"]
    _, rows = read_table(REFERENCE_FOLDER / "physis_growth_share_arm.csv", columns)
    knots = {}
    for row in rows:
        if (row["bone"], row["physis"]) == (bone, physis) and row["age"] != "textbook":
            age = re.search(r"(\d+) y", row["age"])
            share = float(row["percent_of_bone_growth"].lstrip("<")) / 100
            knots[float(age[1]) if age else YOUNGEST_SHARE_KNOT_YEARS] = share
    if not knots:
        raise BadReference(f"There is no growth share for the {physis} plate of the {bone}.")
    return _frozen(sorted(knots)), _frozen([knots[age] for age in sorted(knots)])
