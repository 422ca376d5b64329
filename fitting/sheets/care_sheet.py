"""The care and wear sheet: what a family does tonight, whom to call, how wear grows, and the next dates."""

from dataclasses import dataclass
from datetime import date

from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fitting.calc.units import age_years
from fitting.inputs import settings_of
from fitting.models import Appointment, Forecast, Sleeve, Socket
from fitting.sheets.render import sheet_pdf
from fitting.sheets.wear_plan import NAPS_BELOW_YEARS, PLAY_BELOW_YEARS, Wearer, WearPlan, wear_plan
from fitting.wording import action_of, day_words, family_next_step, family_outlook
from patients.models import Child, Clinic, Limb

TEMPLATE = "fitting/sheets/care_sheet.html"

SEEN_FIRST = frozenset({Forecast.NextAction.FIT_PROBLEM, Forecast.NextAction.SURGEON})
MEASURED = frozenset({Forecast.NextAction.REMEASURE, Forecast.NextAction.START_REFIT, Forecast.NextAction.MAKE_SOCKET})


@dataclass(frozen=True)
class SleeveMagnets:
    """A sleeve the child has and the magnets counted on it."""

    design: str
    magnets: int


@dataclass(frozen=True)
class NextDate:
    """Something to come and when, in words."""

    what: str
    when: str


@dataclass(frozen=True)
class CareSheet:
    """What stands on a family's care and wear sheet."""

    child: Child
    limb: Limb
    clinic: Clinic
    printed_on: date
    mark_limit_minutes: int
    wearer: str
    plan: WearPlan
    takes_naps: bool
    plays: bool
    sleeves: tuple[SleeveMagnets, ...]
    see_us_first: bool
    arm_stays_off: bool
    forecast: Forecast | None
    outlook: tuple[str, ...]
    dates: tuple[NextDate, ...]

    @property
    def implant_at_home(self) -> bool:
        return self.child.implant not in (Child.Implant.UNKNOWN, Child.Implant.NONE)


def print_care_sheet(limb: Limb, as_of: date, paper: str, language: str, wearer: str) -> bytes:
    """PDF of the care and wear sheet in the family's language."""
    with translation.override(language):
        return sheet_pdf(TEMPLATE, care_sheet(limb, as_of, wearer), paper)


def care_sheet(limb: Limb, as_of: date, wearer: str) -> CareSheet:
    """What stands on the care and wear sheet of a limb, in the active language."""
    child, clinic = limb.child, limb.child.clinic
    age = age_years(child.birth_date, as_of)
    forecast = Forecast.objects.filter(current_for__limb=limb).first()
    sleeves = Sleeve.objects.filter(limb=limb, retired_on__isnull=True).select_related("design")
    return CareSheet(
        child=child,
        limb=limb,
        clinic=clinic,
        printed_on=as_of,
        mark_limit_minutes=settings_of(clinic).mark_limit_minutes,
        wearer=wearer,
        plan=wear_plan(age, wearer),
        takes_naps=age < NAPS_BELOW_YEARS,
        plays=age < PLAY_BELOW_YEARS,
        sleeves=tuple(SleeveMagnets(sleeve.design.name, sleeve.magnets) for sleeve in sleeves),
        see_us_first=_next_action(forecast, as_of) in SEEN_FIRST,
        arm_stays_off=_arm_stays_off(forecast, as_of),
        forecast=forecast,
        outlook=_outlook(forecast, as_of),
        dates=(*_booked(child, as_of), *_measure_by(forecast, as_of)),
    )


def usual_wearer(limb: Limb) -> str:
    """Experienced when an earlier socket of this limb was worn, else new."""
    fitted = Socket.objects.filter(limb=limb, fitted_on__isnull=False, retired_on__isnull=False)
    return Wearer.EXPERIENCED if fitted.exists() else Wearer.NEW


def _booked(child: Child, as_of: date):
    rows = Appointment.objects.booked().filter(child=child).select_related("clinic").order_by("at")
    for row in rows:
        at = row.at.astimezone(row.clinic.zone)
        if at.date() >= as_of:
            what = _("Visit at %(clinic)s: %(kind)s") % {"clinic": row.clinic, "kind": row.get_kind_display()}
            yield NextDate(what, f"{date_format(at, 'l')}, {day_words(at)}, {date_format(at, 'TIME_FORMAT')}")


def _next_action(forecast: Forecast | None, as_of: date) -> str | None:
    return None if forecast is None else action_of(forecast, as_of)[0]


def _arm_stays_off(forecast: Forecast | None, as_of: date) -> bool:
    """Whether no wear is asked for tonight: a finding that harms, or one for the surgeon; a loose fit may be worn."""
    code = _next_action(forecast, as_of)
    harmful = code == Forecast.NextAction.FIT_PROBLEM and forecast.state == Forecast.State.FIT_PROBLEM
    return harmful or code == Forecast.NextAction.SURGEON


def _outlook(forecast: Forecast | None, as_of: date) -> tuple[str, ...]:
    """The stored forecast in sentences for the family."""
    if forecast is None:
        return ()
    return tuple(sentence for sentence in (family_next_step(forecast, as_of), family_outlook(forecast)) if sentence)


def _measure_by(forecast: Forecast | None, as_of: date):
    """The day to be measured again, unless the next step says so already."""
    if forecast is None or _next_action(forecast, as_of) in MEASURED | SEEN_FIRST:
        return
    if forecast.remeasure_by and forecast.remeasure_by > as_of:
        yield NextDate(_("Come and be measured by"), day_words(forecast.remeasure_by))
