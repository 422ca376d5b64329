"""Forecast the series of two CSV files, without the database."""

import csv
import math
import sys
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import numpy as np
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.calc.declared_error import error_scale, with_error_scale
from fitting.calc.errors import DoorpostError
from fitting.calc.forecast import EARLY_LIKELY_LATE, crossing_days, reading_bands, readings_of
from fitting.calc.parts import part_of
from fitting.calc.series import Series
from fitting.calc.units import MONTHS_PER_YEAR, age_years, months_to_days
from fitting.series_files import Reading, SeriesFiles, read_series_files

BAND = {"p2.5": 0.025, "p10": 0.1, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p90": 0.9, "p97.5": 0.975}
FORECAST_COLUMNS = ["case", "measure", "ahead_months", "date", "unit", *BAND]
DATES_COLUMNS = ["case", "measure", "percent", "early_date", "likely_date", "late_date"]
BAD_ROWS_STATUS = 2
NO_ROW = gettext_lazy(
    "%(case)s, %(measure)s: no row %(months)s months ahead of the last reading at %(age).1f months of age, "
    "because the reference covers %(first)g to %(last)g months."
)


def numbers(text):
    """Numbers above zero from "6,12,18"."""
    values = [float(word) for word in text.split(",")]
    if not all(0 < value < np.inf for value in values):
        raise ValueError
    return values


@dataclass(frozen=True)
class Group:
    """All series of one measure: cases, their readings, and the same readings in arrays."""

    measure: str
    cases: list[str]
    readings: list[list[Reading]]
    series: Series


class Command(BaseCommand):
    help = _("Forecast growth series from CSV files: an estimate; the licensed prosthetist decides.")
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("children", type=Path, help=_("CSV: case, sex (F or M), birth_date"))
        parser.add_argument(
            "measurements", type=Path, help=_("CSV: case, date, measure, value, unit, error (optional)")
        )
        parser.add_argument("--ahead", type=numbers, required=True, help=_("months ahead, such as 6,12,18,24"))
        parser.add_argument("--out", type=Path, required=True, help=_("CSV to write the forecast to"))
        parser.add_argument("--grown", type=numbers, help=_("percent of growth to date, such as 2,4,6"))
        parser.add_argument("--dates", type=Path, help=_("CSV to write the dates of --grown to"))

    def handle(self, children, measurements, ahead, out, grown, dates, **options):
        if bool(grown) != bool(dates):
            raise CommandError(_("--grown and --dates go together."), returncode=BAD_ROWS_STATUS)
        try:
            files = read_series_files(children, measurements)
        except DoorpostError as error:
            raise CommandError(str(error), returncode=BAD_ROWS_STATUS) from error
        groups, doubts = trusted(by_measure(files))
        answers = [(group, reading_bands(group.series, ahead, list(BAND.values()))) for group in groups]
        write(out, FORECAST_COLUMNS, (row for group, bands in answers for row in band_rows(group, bands, ahead)))
        if grown:
            write(dates, DATES_COLUMNS, (row for group in groups for row in date_rows(group, grown)))
        notes = [note for group, bands in answers for note in notes_on(group, bands, ahead)]
        for sentence in files.complaints + doubts + notes:
            self.stderr.write(sentence)
        if files.complaints:
            sys.exit(BAD_ROWS_STATUS)


def by_measure(files: SeriesFiles) -> list[Group]:
    """The files' series grouped by measure, each child with stature and weight as companions."""
    cases = {}
    for case, measure in files.readings:
        cases.setdefault(measure, []).append(case)
    return [_group(files, measure, names) for measure, names in cases.items()]


def _group(files, measure, cases):
    readings = [files.readings[case, measure] for case in cases]
    male = np.array([files.children[case].sex == "M" for case in cases])
    companions = [_arrays(files, cases, name) for name in ("stature", "weight")]
    return Group(measure, cases, readings, Series(part_of(measure), male, _arrays(files, cases, measure), *companions))


def _arrays(files, cases, measure):
    return readings_of([_cells(files, case, files.readings.get((case, measure), ())) for case in cases])


def _cells(files, case, readings):
    birth_date = files.children[case].birth_date
    return [(age_years(birth_date, reading.on), reading.size, reading.error_sd) for reading in readings]


def trusted(groups: list[Group]) -> tuple[list[Group], list[str]]:
    """The groups with the errors their histories show where those are clearly larger than declared, and what to say."""
    scales = {group.measure: error_scale(group.series) for group in groups}
    companions = {name: scales.get(name, 1.0) for name in ("stature", "weight")}
    scaled = [
        replace(group, series=with_error_scale(group.series, scales[group.measure], **companions)) for group in groups
    ]
    doubts = [
        _("%(measure)s: the readings show %(scale)g times the declared error, so that is used.")
        % {"measure": measure, "scale": scale}
        for measure, scale in scales.items()
        if scale > 1
    ]
    return scaled, doubts


def band_rows(group: Group, bands, ahead):
    """Rows of the forecast file; a horizon past the reference has none."""
    for case, readings, by_month in zip(group.cases, group.readings, bands, strict=True):
        last = readings[-1]
        for months, band in zip(ahead, by_month, strict=True):
            if not np.isnan(band).any():
                day = last.on + timedelta(days=int(months_to_days(months)))
                yield [case, group.measure, f"{months:g}", day, last.unit, *(f"{v / last.scale:.4f}" for v in band)]


def date_rows(group: Group, grown):
    """Rows of the dates file: when the true size passes the last reading by a percentage."""
    last_size = np.array([readings[-1].size for readings in group.readings])
    thresholds = last_size[:, None] * (1 + np.array(grown) / 100)
    found = crossing_days(group.series, thresholds, EARLY_LIKELY_LATE)
    for case, readings, by_percent in zip(group.cases, group.readings, found, strict=True):
        for percent, days in zip(grown, by_percent, strict=True):
            yield [case, group.measure, f"{percent:g}", *(_day_after(readings[-1].on, day) for day in days)]


def _day_after(origin, days):
    return "" if np.isnan(days) else origin + timedelta(days=math.ceil(days))


def notes_on(group: Group, bands, ahead):
    """One sentence for each series with a horizon the reference does not reach."""
    part = group.series.part
    ages = np.nanmax(group.series.readings.age_years, axis=1) * MONTHS_PER_YEAR
    for case, age, band in zip(group.cases, ages, bands, strict=True):
        absent = [f"{months:g}" for months, row in zip(ahead, band, strict=True) if np.isnan(row).any()]
        if absent:
            words = {"case": case, "measure": group.measure, "months": ", ".join(absent), "age": age}
            words |= {"first": part.first_months, "last": part.last_months}
            yield NO_ROW % words


def write(path, columns, rows):
    """Write a CSV file."""
    try:
        with open(path, "w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(columns)
            writer.writerows(rows)
    except OSError:
        words = {"file": path}
        raise CommandError(_("The file %(file)s cannot be written.") % words, returncode=BAD_ROWS_STATUS) from None
