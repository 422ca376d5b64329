"""The care and wear sheet: what a family does tonight, whom to call, how wear grows, and the next dates."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Q
from django.utils import translation
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fitting.calc.units import age_years
from fitting.inputs import settings_of
from fitting.models import Appointment, Forecast, Sleeve, Socket
from fitting.sheets.render import sheet_pdf
from fitting.sheets.wear_advice import Next, Wear, next_code, outlook, wear_tonight
from fitting.sheets.wear_plan import NAPS_BELOW_YEARS, PLAY_BELOW_YEARS, Wearer, WearPlan, wear_plan
from fitting.wording import day_words
from patients.models import Child, Clinic, Limb

TEMPLATE = "fitting/sheets/care_sheet.html"

SEEN_FIRST = frozenset({Next.FIT_PROBLEM, Next.SURGEON})
MEASURED = frozenset({Next.REMEASURE, Next.START_REFIT, Next.MAKE_SOCKET})
WORN_IN_AFTER_DAYS = 90  # a child with a socket for longer than three months knows wearing, common practice


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
    two_limbs: bool
    wear: Wear
    box: str
    forecast: Forecast | None
    outlook: tuple[str, ...]
    dates: tuple[NextDate, ...]

    @property
    def arm_stays_off(self) -> bool:
        return self.wear != Wear.YES

    @property
    def implant_at_home(self) -> bool:
        return self.child.implant not in (Child.Implant.UNKNOWN, Child.Implant.NONE)


def print_care_sheet(limb: Limb, printed_at: datetime, paper: str, language: str, wearer: str) -> bytes:
    """PDF of the care and wear sheet in the family's language."""
    with translation.override(language):
        return sheet_pdf(TEMPLATE, care_sheet(limb, printed_at, wearer), paper)


def care_sheet(limb: Limb, printed_at: datetime, wearer: str) -> CareSheet:
    """What stands on the care and wear sheet of a limb, in the active language."""
    child, clinic = limb.child, limb.child.clinic
    as_of = clinic.day_of(printed_at)
    age = age_years(child.birth_date, as_of)
    forecast = Forecast.objects.filter(current_for__limb=limb).first()
    wear = wear_tonight(forecast, Socket.objects.filter(limb=limb).in_use().exists(), as_of)
    told = outlook(forecast, wear, age, as_of)
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
        two_limbs=Limb.objects.filter(child=child).exclude(pk=limb.pk).exists(),
        wear=wear,
        box=told[0] if wear != Wear.YES or next_code(forecast, as_of) in SEEN_FIRST else "",
        forecast=forecast,
        outlook=told,
        dates=(*_booked(child, printed_at), *_measure_by(forecast, wear, as_of)),
    )


def usual_wearer(limb: Limb, as_of: date) -> str:
    """Experienced when an earlier socket of this limb was worn or its socket was fitted long ago, else new."""
    fitted = Socket.objects.filter(limb=limb, fitted_on__isnull=False)
    known = Q(retired_on__isnull=False) | Q(fitted_on__lt=as_of - timedelta(days=WORN_IN_AFTER_DAYS))
    return Wearer.EXPERIENCED if fitted.filter(known).exists() else Wearer.NEW


def _booked(child: Child, printed_at: datetime):
    rows = Appointment.objects.booked().filter(child=child, at__gt=printed_at).select_related("clinic").order_by("at")
    for row in rows:
        at = row.at.astimezone(row.clinic.zone)
        what = _("Visit at %(clinic)s: %(kind)s") % {"clinic": row.clinic, "kind": row.get_kind_display()}
        yield NextDate(what, f"{date_format(at, 'l')}, {day_words(at)}, {date_format(at, 'TIME_FORMAT')}")


def _measure_by(forecast: Forecast | None, wear: Wear, as_of: date):
    """The day to be measured again, unless the next step says so already or the child is to be seen first."""
    if forecast is None or wear == Wear.GROWN or next_code(forecast, as_of) in MEASURED | SEEN_FIRST:
        return
    if forecast.remeasure_by and forecast.remeasure_by > as_of:
        yield NextDate(_("Come and be measured by"), day_words(forecast.remeasure_by))
