"""Reads children and measurements from CSV files for the forecast command; names every row it cannot use."""

import csv
import math
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from django.utils.translation import gettext as _

from fitting.calc.errors import DoorpostError
from fitting.calc.parts import DEFAULT_ERROR_SD, part_of

CHILD_COLUMNS = ("case", "sex", "birth_date")
MEASUREMENT_COLUMNS = ("case", "date", "measure", "value", "unit")
MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}  # inch: exact since the 1959 international agreement
KG_PER = {"kg": 1.0, "g": 0.001, "lb": 0.45359237}  # pound: exact since the 1959 international agreement


@dataclass(frozen=True)
class Child:
    """One row of the children file."""

    sex: str
    birth_date: date


@dataclass(frozen=True)
class Reading:
    """One usable row of the measurements file, in canonical units. scale: mm or kg in one of the unit as written."""

    on: date
    size: float
    error_sd: float
    unit: str
    scale: float


@dataclass
class SeriesFiles:
    """Children by case, readings by case and measure (oldest first), and a sentence for each row left out."""

    children: dict[str, Child] = field(default_factory=dict)
    readings: dict[tuple[str, str], list[Reading]] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)


class BadCell(ValueError):
    """A cell that cannot be used: its column and what is wrong with it."""

    def __init__(self, column, why):
        self.column = column
        super().__init__(why)


def read_series_files(children_path: Path, measurements_path: Path) -> SeriesFiles:
    """Read both files; unusable rows become complaints. Raises DoorpostError when a file cannot be read at all."""
    files = SeriesFiles()
    for line, row in _rows(children_path, CHILD_COLUMNS):
        with _complaint(files, children_path, line):
            case = _new_case(row, files.children)
            files.children[case] = Child(_sex(row), _day(row, "birth_date"))
    for line, row in _rows(measurements_path, MEASUREMENT_COLUMNS):
        with _complaint(files, measurements_path, line):
            reading = _reading(row, _known_child(row, files.children))
            files.readings.setdefault((row["case"], row["measure"]), []).append(reading)
    for readings in files.readings.values():
        readings.sort(key=lambda reading: reading.on)
    return files


def _rows(path, columns):
    """Line number and trimmed cells of each row."""
    try:
        with open(path, newline="", encoding="utf-8-sig") as lines:
            reader = csv.DictReader(lines, restval="")
            _check_columns(path, columns, reader.fieldnames or ())
            for row in reader:
                yield reader.line_num, {key: value.strip() for key, value in row.items() if key is not None}
    except OSError:
        raise DoorpostError(_("The file %(file)s cannot be opened.") % {"file": path}) from None
    except (UnicodeDecodeError, csv.Error):
        raise DoorpostError(_("The file %(file)s is not a CSV file in UTF-8.") % {"file": path}) from None


def _check_columns(path, columns, found):
    missing = [column for column in columns if column not in found]
    if missing:
        words = {"file": path.name, "columns": ", ".join(missing)}
        raise DoorpostError(_("The first line of %(file)s does not name these columns: %(columns)s.") % words)


@contextmanager
def _complaint(files, path, line):
    """Turn a bad cell into a sentence that names its line and column."""
    try:
        yield
    except BadCell as bad:
        place = {"file": path.name, "line": line, "column": bad.column, "why": bad}
        files.complaints.append(_("%(file)s, line %(line)d, column %(column)s: %(why)s") % place)


def _new_case(row, children):
    if not row["case"]:
        raise BadCell("case", _("the case is empty."))
    if row["case"] in children:
        raise BadCell("case", _('"%(text)s" stands in an earlier line already.') % {"text": row["case"]})
    return row["case"]


def _known_child(row, children):
    if row["case"] not in children:
        raise BadCell("case", _('"%(text)s" is not a usable case of the children file.') % {"text": row["case"]})
    return children[row["case"]]


def _sex(row):
    if row["sex"] not in ("F", "M"):
        raise BadCell("sex", _('"%(text)s" is not F or M.') % {"text": row["sex"]})
    return row["sex"]


def _day(row, column):
    try:
        return date.fromisoformat(row[column])
    except ValueError:
        raise BadCell(column, _('"%(text)s" is not a day such as 2024-05-31.') % {"text": row[column]}) from None


def _reading(row, child):
    on = _day(row, "date")
    if on < child.birth_date:
        raise BadCell("date", _('"%(text)s" lies before the birth of the child.') % {"text": row["date"]})
    family = _family(row)
    scale = _scale(row, family)
    error_sd = _above_zero(row, "error") * scale if row.get("error") else DEFAULT_ERROR_SD[family]
    return Reading(on, _above_zero(row, "value") * scale, error_sd, row["unit"], scale)


def _family(row):
    try:
        return part_of(row["measure"]).family
    except DoorpostError:
        raise BadCell("measure", _('"%(text)s" is not a measure of the forecast.') % {"text": row["measure"]}) from None


def _scale(row, family):
    units = KG_PER if family == "weight" else MM_PER
    if row["unit"] not in units:
        words = {"text": row["unit"], "units": ", ".join(units)}
        raise BadCell("unit", _('"%(text)s" is not one of %(units)s.') % words)
    return units[row["unit"]]


def _above_zero(row, column):
    try:
        number = float(row[column])
    except ValueError:
        number = math.nan
    if not 0 < number < math.inf:
        raise BadCell(column, _('"%(text)s" is not a number above zero.') % {"text": row[column]})
    return number
