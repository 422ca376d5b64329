"""The calibration picture: the share of readings that came out as low or lower, against the chance promised."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitting.calc.calibration import Outcomes, reliability
from fitting.chart_axes import Picture, Scale, Tick, points

GROUND = {"width": 400.0, "height": 380.0, "left": 48.0, "right": 388.0, "top": 16.0, "bottom": 336.0}
TICKS_PERCENT = (0, 25, 50, 75, 100)


@dataclass(frozen=True)
class Mark:
    """One level: where it lies, its interval, and its figures for the table."""

    x: float
    y: float
    low_y: float
    high_y: float
    promised: int
    found: int
    low: int
    high: int


@dataclass(frozen=True, kw_only=True)
class CalibrationChart(Picture):
    diagonal: str
    line: str
    marks: tuple[Mark, ...]


def calibration_chart(outcomes: Outcomes) -> CalibrationChart | None:
    """None when no promise has been tested."""
    if not len(outcomes.reached):
        return None
    x = Scale(0, 100, GROUND["left"], GROUND["right"])
    y = Scale(0, 100, GROUND["bottom"], GROUND["top"])
    marks = tuple(_mark(x, y, level, share) for level, share in reliability(outcomes))
    middle = next(mark for mark in marks if mark.promised == 50)
    return CalibrationChart(
        uid="calibration",
        title=_("Promised and found"),
        desc=_(
            "The closer the marks lie to the straight line, the better the promises were kept. Of 100 readings, "
            "%(found)d came out at or below the middle that was promised; 50 would be exact. The strokes are 95 %% "
            "intervals."
        )
        % {"found": middle.found},
        unit="%",
        diagonal=points([(x.at(0), y.at(0)), (x.at(100), y.at(100))]),
        line=points([(mark.x, mark.y) for mark in marks]),
        marks=marks,
        x_ticks=[Tick(x.at(value), str(value)) for value in TICKS_PERCENT],
        y_ticks=[Tick(y.at(value), str(value)) for value in TICKS_PERCENT],
        **GROUND,
    )


def _mark(x, y, level, share):
    return Mark(
        x=x.at(100 * level),
        y=y.at(100 * share.share),
        low_y=y.at(100 * share.low),
        high_y=y.at(100 * share.high),
        promised=round(100 * level),
        found=round(100 * share.share),
        low=round(100 * share.low),
        high=round(100 * share.high),
    )
