"""What the case page shows of one child: the rows, read once, and what is said of them on a day."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Prefetch, Q
from django.utils.translation import gettext as _

from fitting import wording
from fitting.calc.limb import length_band, length_level_percent, level_facts, target_length
from fitting.calc.lms import lms_at
from fitting.calc.next_action import FIT_PROBLEM, SURGEON
from fitting.calc.parts import part_of
from fitting.calc.plan_days import calendar_refit_on
from fitting.calc.references import lms_table
from fitting.calc.units import age_months
from fitting.charts import FanChart, RoomChart, fan_chart, room_chart
from fitting.drawings import LimbDrawing, StationMark, limb_drawing
from fitting.due import DueState, with_due_state
from fitting.explain import Explanation, explanation
from fitting.growth_charts import GrowthChart, expectations, stature_chart, velocity_chart
from fitting.inputs import SOUND_MEASURE, part_name, settings_of
from fitting.models import Appointment, ClinicSettings, Forecast, PresentFit, Reading, Sleeve, Socket, Visit
from patients.models import Child, Limb

M = Reading.Measure
APPOINTMENTS_SHOWN = 8


@dataclass(frozen=True)
class LengthLevel:
    """Residual length in percent of the sound side, and the band's name; estimated when there is no sound side."""

    residual_mm: float
    percent: float
    band: str
    estimated: bool


@dataclass(frozen=True)
class DateRow:
    """One dated mark of the plan."""

    on: date
    word: str
    kind: str


@dataclass(frozen=True)
class LimbRecord:
    """One limb as the case page shows it."""

    limb: Limb
    state: DueState
    forecast: Forecast | None
    socket: Socket | None
    fit: PresentFit | None
    fit_problem: bool
    findings: str
    why: str
    next_step: str
    notes: list[str]
    dates: list[DateRow]
    calendar_rule_on: date | None
    explained: Explanation | None
    level: LengthLevel | None
    fan: FanChart | None
    room: RoomChart | None
    drawing: LimbDrawing


@dataclass(frozen=True)
class ChildRecord:
    """One child as the case page shows it."""

    child: Child
    as_of: date
    unit: str
    limbs: list[LimbRecord]
    stature: GrowthChart | None
    velocity: GrowthChart | None
    expectations: list[str]
    visits: list[Visit]
    appointments: list[Appointment]


def child_record(child: Child, as_of: date) -> ChildRecord:
    """Read a child's record; as many queries for one limb or visit as for many."""
    unit, settings = child.clinic.length_unit, settings_of(child.clinic)
    readings = list(
        Reading.objects.current().filter(visit__child=child).select_related("visit").order_by("visit__at", "pk")
    )
    heights = [(_day(child, r), r.value) for r in readings if r.measure == M.STATURE]
    return ChildRecord(
        child=child,
        as_of=as_of,
        unit=unit,
        limbs=[_limb_record(child, limb, readings, settings, as_of) for limb in _limbs(child, as_of)],
        stature=stature_chart(child, heights, unit),
        velocity=velocity_chart(child, heights, settings.tem_stature_mm, unit),
        expectations=list(expectations(child, heights, unit)),
        visits=list(_visits(child)),
        appointments=list(
            child.appointments.select_related("clinic", "with_staff").order_by("-at")[:APPOINTMENTS_SHOWN]
        ),
    )


def _day(child, reading):
    return child.clinic.day_of(reading.visit.at)


def _limbs(child, as_of):
    sockets = Socket.objects.select_related("visit").prefetch_related("stations", "layers").order_by("-version")
    sleeves = Sleeve.objects.select_related("design").prefetch_related("sockets").order_by("-made_on", "-pk")
    fits = PresentFit.objects.filter(superseded_by__isnull=True).select_related("visit").order_by("-visit__at", "-pk")
    return with_due_state(child.limbs.order_by("side"), as_of).prefetch_related(
        Prefetch("sockets", sockets), Prefetch("sleeves", sleeves), Prefetch("present_fits", fits)
    )


def _visits(child):
    standing = Count("readings", filter=Q(readings__superseded_by__isnull=True))
    corrections = Count("readings", filter=Q(readings__supersedes__isnull=False))
    return (
        child.visits.select_related("observer")
        .annotate(readings_taken=standing, corrections=corrections)
        .order_by("-at")
    )


def _limb_record(child, limb, readings, settings, as_of):
    unit, forecast = child.clinic.length_unit, _forecast_of(limb)
    socket = next((s for s in limb.sockets.all() if s.fitted_on and not s.retired_on), None)
    girths = _girths(child, limb, readings)
    said = _said(forecast, unit, as_of) if forecast else _unsaid()
    return LimbRecord(
        limb=limb,
        state=DueState(limb.due_state),
        forecast=forecast,
        socket=socket,
        fit=next((fit for fit in limb.present_fits.all() if socket and fit.socket_id == socket.pk), None),
        calendar_rule_on=calendar_refit_on(socket.fitted_on, child.birth_date) if socket else None,
        explained=explanation(forecast, unit, as_of) if forecast else None,
        level=_length_level(child, limb, readings, settings),
        fan=_fan(forecast, girths, unit, as_of),
        room=room_chart(forecast, unit) if forecast else None,
        drawing=_drawing(limb, readings, unit),
        **said,
    )


def _fan(forecast, girths, unit, as_of):
    """The fan of a dated limb; a limb that still settles is given no date and so no picture of one."""
    if forecast is None or forecast.state == Forecast.State.MATURING:
        return None
    return fan_chart(forecast, girths.get(forecast.fan.get("part"), []), unit, as_of)


def _forecast_of(limb):
    return limb.current_forecast.forecast if hasattr(limb, "current_forecast") else None


def _said(forecast, unit, as_of):
    code, _on = wording.action_of(forecast, as_of)
    return {
        "fit_problem": code in (FIT_PROBLEM, SURGEON),
        "findings": wording.finding_words(wording.findings_of(forecast)),
        "why": wording.why(forecast, unit, as_of),
        "next_step": wording.next_step(forecast, as_of),
        "notes": wording.note_sentences(forecast),
        "dates": _dates(forecast, as_of),
    }


def _unsaid():
    said = {"fit_problem": False, "findings": "", "notes": [], "dates": []}
    return said | {"why": str(wording.NEVER_MEASURED), "next_step": str(wording.MEASURE_FIRST)}


def _dates(forecast, as_of):
    """The stored dates and today, in order, as marks on the frame."""
    rows = [
        DateRow(as_of, _("today"), "today"),
        *(
            DateRow(on, word, kind)
            for on, word, kind in (
                (forecast.remeasure_by, _("remeasure by"), "plan"),
                (forecast.check_on, _("look at the fit again"), "plan"),
                (forecast.layer_on, _("take a layer out by"), "plan"),
                (forecast.length_on, _("longer sleeve or extension by"), "plan"),
                (forecast.start_refit_by, _("start the refit by"), "plan"),
                (forecast.fitted_by, _("new socket fitted by"), "plan"),
                (forecast.early, _("early: outgrown with 1 chance in 10"), "outgrown"),
                (forecast.likely, _("likely: outgrown with even chances"), "outgrown"),
                (forecast.late, _("late: outgrown with 9 chances in 10"), "outgrown"),
            )
            if on
        ),
    ]
    return sorted(rows, key=lambda row: row.on)


def _girths(child, limb, readings):
    """Girths of a limb by part, oldest first: day and size [mm]."""
    girths = defaultdict(list)
    for r in readings:
        if r.limb_id == limb.pk and r.measure == M.GIRTH and r.station_mm is not None:
            girths[part_name(limb.level, r.landmark, r.station_mm)].append((_day(child, r), r.value))
    return girths


def _drawing(limb, readings, unit):
    """The limb to scale: its newest length and the girths of the newest visit, from the level's own landmarks."""
    own = ("", level_facts(limb.level).station_landmark)
    girths = [r for r in readings if r.limb_id == limb.pk and r.measure == M.GIRTH and r.landmark in own]
    newest = [r for r in girths if r.visit_id == girths[-1].visit_id and r.station_mm is not None]
    residual = _newest_residual(limb, readings)
    return limb_drawing(
        level=limb.level,
        side=limb.side,
        stations=[StationMark(r.station_mm, r.value) for r in newest],
        residual_length_mm=residual.value if residual else None,
        unit=unit,
    )


def _newest_residual(limb, readings):
    """Newest residual length from the level's own landmark, to the soft-tissue end if that was taken."""
    own = ("", level_facts(limb.level).length_landmark)
    newest = {r.measure: r for r in readings if r.limb_id == limb.pk and r.landmark in own}
    return newest.get(M.RESIDUAL_LENGTH) or newest.get(M.RESIDUAL_LENGTH_BONY)


def _length_level(child, limb, readings, settings: ClinicSettings):
    """Newest residual length against the sound side's same segment and landmarks; None when either is not known."""
    residual, measure = _newest_residual(limb, readings), level_facts(limb.level).segment_measure
    if residual is None or measure is None:
        return None
    target = _target(child, measure, readings)
    if target is None:
        return None
    percent = length_level_percent(residual.value, target.length_mm)
    band = length_band(limb.level, percent, settings.level_bands)
    return LengthLevel(residual.value, percent, wording.band_words(band), target.estimated)


def _target(child, measure, readings):
    """Length of the sound segment, or estimated from height; None when neither is known at the age."""
    newest = {r.measure: r for r in readings}
    sound, stature = newest.get(SOUND_MEASURE[measure]), newest.get(M.STATURE)
    if sound is None and stature is None:
        return None
    if sound is not None:
        return target_length(sound.value, None, 1.0, 1.0)
    months = age_months(child.birth_date, _day(child, stature))
    tables = [lms_table(part_of(name).table) for name in (measure, "stature")]
    if any(not table.first_months <= months <= table.last_months for table in tables):
        return None
    segment_mm, stature_mm = (float(lms_at(table, child.growth_reference, months)[1]) for table in tables)
    return target_length(None, stature.value, segment_mm, stature_mm)
