"""Wear-in steps by age and experience, read from fixtures/wear_plan.csv where each step stands beside its source."""

import csv
from dataclasses import dataclass
from functools import cache

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

WEAR_PLAN_FILE = settings.BASE_DIR / "fixtures" / "wear_plan.csv"

NAPS_BELOW_YEARS = 5  # naps are named on the sheet below this age, common practice
PLAY_BELOW_YEARS = 12  # the first wear is in play below this age, common practice


class Wearer(models.TextChoices):
    NEW = "new", _("new to wearing an arm")
    EXPERIENCED = "experienced", _("has worn an arm before")


@dataclass(frozen=True)
class WearStep:
    """One step of wearing in; `minutes` and `sessions_a_day` are None on a step that means most of the day."""

    number: int
    sessions_a_day: int | None
    minutes: int | None
    open_ended: bool


@dataclass(frozen=True)
class WearPlan:
    """Steps in order; `published` is True for the schedule a care provider printed for adults."""

    steps: tuple[WearStep, ...]
    published: bool


@dataclass(frozen=True)
class _Row:
    wearer: str
    from_age_years: float
    before_age_years: float
    step: int
    sessions_a_day: int | None
    minutes: int | None
    published: bool


def wear_plan(age_years: float, wearer: str) -> WearPlan:
    """Wear-in plan for a child's age [years] and experience; the last step has no end."""
    rows = sorted(
        (row for row in _rows() if row.wearer == wearer and row.from_age_years <= age_years < row.before_age_years),
        key=lambda row: row.step,
    )
    steps = tuple(WearStep(row.step, row.sessions_a_day, row.minutes, row is rows[-1]) for row in rows)
    return WearPlan(steps, rows[0].published)


@cache
def _rows() -> tuple[_Row, ...]:
    with WEAR_PLAN_FILE.open(encoding="utf-8", newline="") as file:
        return tuple(_row(line) for line in csv.DictReader(file))


def _row(line: dict) -> _Row:
    return _Row(
        wearer=line["wearer"],
        from_age_years=float(line["from_age_years"]),
        before_age_years=float(line["before_age_years"] or "inf"),
        step=int(line["step"]),
        sessions_a_day=int(line["sessions_a_day"]) if line["sessions_a_day"] else None,
        minutes=int(line["minutes"]) if line["minutes"] else None,
        published=line["published"] == "yes",
    )
