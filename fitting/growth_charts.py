"""Height on the centiles of the growth reference, and how fast the child grows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.calc.errors import OutOfReference
from fitting.calc.lms import (
    centile_curves,
    centile_of_z,
    height_velocity_curves,
    reference_age_months,
    velocity,
    z_score,
)
from fitting.calc.maturity import (
    MID_PARENTAL_BAND_CM,
    OFFSET_VALID_YEARS,
    Body,
    mid_parental_height_cm,
    offset_2015_years,
)
from fitting.calc.references import LmsTable, lms_table
from fitting.calc.takes import is_real_change
from fitting.calc.units import MONTHS_PER_YEAR, age_years
from fitting.chart_axes import Picture, Scale, length_ticks, number_ticks, points
from fitting.quantities import format_length
from fitting.wording import day_words
from patients.models import Child

LYING, STANDING = "length_cdc2000", "stature_cdc2000"
STANDING_FROM_MONTHS = 24.0
# as the table's own header has it
VELOCITY_SOURCE = gettext_lazy(
    "Whole-year height velocity, children of average tempo; attribution to Tanner and Davies 1985 from memory"
)
MM_PER_CM = 10
CENTILES = (3, 10, 25, 50, 75, 90, 97)
GROUND = {"width": 400.0, "height": 330.0, "left": 48.0, "right": 366.0, "top": 22.0, "bottom": 300.0}
VELOCITY_GROUND = GROUND | {"height": 210.0, "bottom": 180.0}
MARGIN_MONTHS, LEAST_SPAN_MONTHS, STEP_MONTHS = 9, 48, 1.0
LEAST_INTERVAL_MONTHS = 6  # growth comes in bursts: no velocity over a shorter time (Pediatr Res 1998)
WANTED_INTERVAL_MONTHS = 12  # a whole year, as the velocity reference
Observed = tuple[date, float]  # a day and the height read on it [mm]


@dataclass(frozen=True)
class Line:
    points: str
    label: str
    label_x: float
    label_y: float
    middle: bool


@dataclass(frozen=True)
class Dot:
    x: float
    y: float


@dataclass(frozen=True, kw_only=True)
class GrowthChart(Picture):
    """One chart over age: reference lines, the child's readings, and the table beside it."""

    lines: tuple[Line, ...]
    trail: str
    dots: tuple[Dot, ...]
    rows: tuple[dict, ...]
    sources: tuple[str, ...]
    reading_note: str


def _table_at(months: float) -> LmsTable:
    return lms_table(LYING if months < STANDING_FROM_MONTHS else STANDING)


def stature_chart(child: Child, readings: Sequence[Observed], unit: str) -> GrowthChart | None:
    """Heights, oldest first, on the centiles of the child's reference; None without a reading within its ages."""
    placed = [row for row in (_placed(child, day, mm) for day, mm in readings) if row]
    if not placed:
        return None
    months = [row["months"] for row in placed]
    x = Scale(*_age_window(months[0], months[-1]), GROUND["left"], GROUND["right"])
    curves = _centile_lines(child.growth_reference, x)
    heights = [mm for _ages, sizes in curves for mm in sizes[[0, -1]].ravel()] + [row["mm"] for row in placed]
    y = Scale(min(heights) - 10, max(heights) + 10, GROUND["bottom"], GROUND["top"])
    places = [(x.at(row["months"]), y.at(row["mm"])) for row in placed]
    return GrowthChart(
        uid=f"stature-{child.pk}",
        title=_("Height on the centiles"),
        desc=_("Newest height %(height)s at the centile %(centile)s.")
        % {"height": format_length(placed[-1]["mm"], unit), "centile": placed[-1]["centile"]},
        lines=tuple(_lines(curves, x, y)),
        trail=points(places),
        dots=tuple(Dot(*place) for place in places),
        x_ticks=_age_ticks(x),
        y_ticks=length_ticks(y, unit),
        unit=unit,
        rows=tuple({**row, "height": format_length(row["mm"], unit)} for row in placed),
        sources=tuple(dict.fromkeys(_table_at(age).source for age in (x.low, x.high))),
        reading_note=_stature_note(x),
        **GROUND,
    )


def _stature_note(x):
    lines = _("Lines: centiles %(centiles)s.") % {"centiles": ", ".join(map(str, CENTILES))}
    if x.low >= STANDING_FROM_MONTHS:
        return lines
    return lines + " " + _("Lying length before 24 months, standing height after.")


def _velocity_note(has_lines):
    said = _("Each mark is over about a year, never over less than half a year: children grow in bursts.")
    lines = _("Lines: centiles 5, 50, 95.") if has_lines else _("No reference for growth a year at these ages.")
    return f"{said} {lines}"


def _placed(child, day, mm):
    """One height with its age in the reference, z and centile; None outside the reference's ages."""
    months, corrected = reference_age_months(child.birth_date, day, child.gestation_weeks)
    try:
        z = float(z_score(_table_at(months), child.growth_reference, months, mm))
    except OutOfReference:
        return None
    centile = float(centile_of_z(z))
    shown = _("below 1") if centile < 1 else _("above 99") if centile > 99 else f"{centile:.0f}"
    return {"day": day, "months": months, "mm": mm, "z": z, "centile": shown, "corrected": corrected}


def _age_window(first, last):
    """Ages drawn [months]: the readings and a margin, at least four years, within the references."""
    spare = max(LEAST_SPAN_MONTHS - (last - first), 2 * MARGIN_MONTHS) / 2
    table = lms_table(STANDING)
    low, high = max(first - spare, 0.0), min(last + spare, table.last_months)
    return low, high


def _centile_lines(sex, x):
    """Pieces of the reference within the ages drawn, lying and standing: ages (A,) and sizes (C, A)."""
    pieces = []
    for name, first, last in ((LYING, 0.0, STANDING_FROM_MONTHS), (STANDING, STANDING_FROM_MONTHS, x.high)):
        low, high = max(x.low, first), min(x.high, last)
        if low < high:
            ages = np.linspace(low, high, max(2, round((high - low) / STEP_MONTHS)))
            pieces.append((ages, centile_curves(lms_table(name), sex, CENTILES, ages)))
    return pieces


def _lines(curves, x, y):
    for row, centile in enumerate(CENTILES):
        for ages, sizes in curves:
            last = ages is curves[-1][0]
            label = str(centile) if last else ""
            line = points(zip(map(x.at, ages), map(y.at, sizes[row]), strict=True))
            yield Line(line, label, x.at(ages[-1]), y.at(sizes[row][-1]), centile == 50)


def _age_ticks(x):
    years = Scale(x.low / MONTHS_PER_YEAR, x.high / MONTHS_PER_YEAR, x.start, x.end)
    return number_ticks(years, about=6)


def yearly_steps(readings: Sequence[Observed]) -> list[tuple[Observed, Observed]]:
    """For each reading the earlier one nearest to a year before it, never less than six months before."""
    steps = []
    for later in readings:
        ages = {earlier: _months_between(earlier[0], later[0]) for earlier in readings}
        fit = [earlier for earlier, months in ages.items() if months >= LEAST_INTERVAL_MONTHS]
        if fit:
            steps.append((min(fit, key=lambda earlier: abs(ages[earlier] - WANTED_INTERVAL_MONTHS)), later))
    return steps


def _months_between(first, last):
    return reference_age_months(first, last)[0]


def velocity_chart(child: Child, readings: Sequence[Observed], tem_mm: float, unit: str) -> GrowthChart | None:
    """Growth a year between heights about a year apart, beside the spread of whole-year growth. None without two.

    tem_mm: error of one height [mm]; what is smaller than its noise is not called growth.
    """
    steps = [_step(child, earlier, later, tem_mm, unit) for earlier, later in yearly_steps(readings)]
    if not steps:
        return None
    months = [step["months"] for step in steps]
    x = Scale(*_age_window(months[0], months[-1]), GROUND["left"], GROUND["right"])
    ages, curves = height_velocity_curves(child.growth_reference)
    within = (ages >= x.low) & (ages <= x.high)
    speeds = [step["mm"] for step in steps] + list(curves[:, within].ravel())
    y = Scale(min(0.0, *speeds), max(speeds) * 1.06, VELOCITY_GROUND["bottom"], GROUND["top"])
    places = [(x.at(step["months"]), y.at(step["mm"])) for step in steps]
    newest = steps[-1]
    return GrowthChart(
        uid=f"velocity-{child.pk}",
        title=_("Growth a year"),
        desc=_("Newest, from %(first)s to %(last)s: %(speed)s.")
        % {"speed": newest["speed"], "first": day_words(newest["first"]), "last": day_words(newest["last"])},
        lines=tuple(_velocity_lines(ages[within], curves[:, within], x, y)),
        trail=points(places),
        dots=tuple(Dot(*place) for place in places),
        x_ticks=_age_ticks(x),
        y_ticks=length_ticks(y, unit, about=4),
        unit=unit,
        rows=tuple(steps),
        sources=(VELOCITY_SOURCE,) if within.sum() > 1 else (),
        reading_note=_velocity_note(within.sum() > 1),
        **VELOCITY_GROUND,
    )


def _step(child, earlier, later, tem_mm, unit):
    ages = [reference_age_months(child.birth_date, day)[0] for day, _mm in (earlier, later)]
    middle, speed = velocity(ages, [earlier[1], later[1]])
    shown = format_length(float(speed[0]), unit)
    real = is_real_change(earlier[1], later[1], tem_mm)
    return {
        "months": float(middle[0]),
        "mm": float(speed[0]),
        "speed": _("%(length)s a year") % {"length": shown} if real else _("no more than the error of reading"),
        "first": earlier[0],
        "last": later[0],
    }


def _velocity_lines(ages, curves, x, y):
    if len(ages) < 2:
        return
    for label, row in zip(("5", "50", "95"), curves, strict=True):
        line = points(zip(map(x.at, ages), map(y.at, row), strict=True))
        yield Line(line, label, x.at(ages[-1]), y.at(row[-1]), label == "50")


def expectations(child: Child, heights: Sequence[Observed], unit: str):
    """What is expected of growth, in sentences: adult height from the parents, and the year of fastest growth."""
    if child.mother_stature_mm and child.father_stature_mm:
        adult_cm = mid_parental_height_cm(
            child.growth_reference, child.father_stature_mm / MM_PER_CM, child.mother_stature_mm / MM_PER_CM
        )
        yield _(
            "From the parents' heights, adult height about %(height)s, give or take %(band)s (formula from memory)."
        ) % {
            "height": format_length(adult_cm * MM_PER_CM, unit),
            "band": format_length(MID_PARENTAL_BAND_CM * MM_PER_CM, unit),
        }
    if heights:
        yield from _spurt(child, *heights[-1])


def _spurt(child, day, height_mm):
    age = age_years(child.birth_date, day)
    first, last = OFFSET_VALID_YEARS[child.growth_reference]
    if first <= age <= last:
        body = Body(child.growth_reference, age, height_mm / MM_PER_CM)
        yield _("Fastest growth at about %(age)s years, give or take a year (2015 maturity-offset equation).") % {
            "age": number_format(round(age - offset_2015_years(body), 1), 1)
        }
