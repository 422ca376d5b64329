"""The days stored with a promise: when to remeasure, check, start and have fitted; and the calendar rule."""

from dataclasses import dataclass
from datetime import date, timedelta

from fitting.calc.outgrowth import LimbFacts, Outgrowth
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import DAYS_PER_MONTH, age_years

YOUNG_UNDER_YEARS = 5  # remeasure sooner, common practice
NO_REFERENCE_REMEASURE_DAYS = 90  # every three months, common practice
MATURING_REMEASURE_DAYS = 42  # a new limb loses volume fast (JRRD 2014;51:1119, adult legs); six weeks, common practice

# Looks at the fit after a fitting: (counts from, due by) [days since it]: at 1 to 2 weeks, 6 weeks and 3 months.
# Common practice.
FIT_CHECKS = ((7, 14), (42, 42), (91, 91))

# A new socket every so many years up to an age [years]. The older rule, from memory; "3 to 4 years" is taken as 3.
CALENDAR_RULE = ((5, 1), (12, 2), (21, 3))


@dataclass(frozen=True)
class PlanDays:
    """Days stored with a promise; any may be past already.

    remeasure_by: the readings are stale after it; check_on: look at the fit again; start_refit_by: measure and order
    by; fitted_by: the new socket on by; layer_on: first layer due out; length_on: longer sleeve or extension due
    fit_check_on: the first look after the fitting that is still owed; check_on is never later
    """

    remeasure_by: date
    check_on: date | None = None
    start_refit_by: date | None = None
    fitted_by: date | None = None
    layer_on: date | None = None
    length_on: date | None = None
    fit_check_on: date | None = None


def plan_days(
    grown: Outgrowth | None,
    length_on: date | None,
    remeasure_by: date,
    tolerances: Tolerances,
    fitted_on: date | None = None,
    seen_on: date | None = None,
) -> PlanDays:
    """Days that follow from an outgrowth: fitted_by = early - buffer; start_refit_by = fitted_by - lead time.

    fitted_on: when the socket in use was fitted; seen_on: when its fit was last looked at, None when it never was
    """
    fitted_by = start_refit_by = before_start = None
    if grown is not None and grown.dates.early is not None:
        fitted_by = grown.dates.early - timedelta(days=tolerances.buffer_days)
        start_refit_by = fitted_by - timedelta(days=tolerances.lead_time_days)
        before_start = start_refit_by - timedelta(days=tolerances.check_lead_days)
    fit_check_on = fit_check_day(fitted_on, seen_on)
    return PlanDays(
        remeasure_by=remeasure_by,
        check_on=_first_after(seen_on, fit_check_on, before_start, grown.check_day if grown else None),
        start_refit_by=start_refit_by,
        fitted_by=fitted_by,
        layer_on=grown.layers[0].dates.likely if grown and grown.layers else None,
        length_on=length_on,
        fit_check_on=fit_check_on,
    )


def fit_check_day(fitted_on: date | None, seen_on: date | None) -> date | None:
    """Day of the first look after a fitting that no look covers yet; None when all were, or nothing is fitted."""
    if fitted_on is None:
        return None
    worn_days = -1 if seen_on is None else (seen_on - fitted_on).days
    owed = (due for counts_from, due in FIT_CHECKS if worn_days < counts_from)
    return next((fitted_on + timedelta(days=due) for due in owed), None)


def _first_after(seen_on, *days):
    """The first of some days that a look at the fit has not gone past."""
    return min((day for day in days if day and (seen_on is None or day > seen_on)), default=None)


def is_maturing(acquired_on: date | None, as_of: date, tolerances: Tolerances) -> bool:
    """Whether an acquired limb is too new to be dated."""
    if acquired_on is None:
        return False
    return (as_of - acquired_on).days / DAYS_PER_MONTH < tolerances.maturing_months


def remeasure_day(facts: LimbFacts, tolerances: Tolerances, as_of: date, has_reference: bool) -> date:
    """Day after which the limb's readings are stale; as_of when it was never measured."""
    if facts.last_measured_on is None:
        return as_of
    return facts.last_measured_on + timedelta(days=_interval_days(facts, tolerances, as_of, has_reference))


def _interval_days(facts, tolerances, as_of, has_reference):
    if is_maturing(facts.acquired_on, as_of, tolerances):
        return MATURING_REMEASURE_DAYS
    if facts.in_spurt or age_years(facts.birth_on, facts.last_measured_on) < YOUNG_UNDER_YEARS:
        return tolerances.remeasure_days_young
    return tolerances.remeasure_days if has_reference else NO_REFERENCE_REMEASURE_DAYS


def calendar_refit_on(fitted_on: date, birth_on: date) -> date | None:
    """Day the calendar rule would give a new socket, to compare with; None from 21 years on."""
    age = age_years(birth_on, fitted_on)
    years = next((years for up_to, years in CALENDAR_RULE if age < up_to), None)
    return None if years is None else _years_later(fitted_on, years)


def _years_later(day, years):
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return day.replace(year=day.year + years, day=28)
