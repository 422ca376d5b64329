"""Rows for tests, each with plain defaults; name only what the test is about. Through the services where one exists."""

from datetime import UTC, date, datetime, time, timedelta
from itertools import count
from uuid import uuid4

from fitting.models import (
    Appointment,
    ClinicDay,
    CurrentForecast,
    Forecast,
    Layer,
    MuscleRecording,
    MuscleSite,
    PlanProposal,
    PresentFit,
    Reading,
    Socket,
    SocketStation,
    Visit,
)
from patients.models import Child, Clinic, Guardian, Limb, Staff
from patients.roles import Role
from patients.services import accept_child

TODAY = date(2026, 5, 4)
_serial = count(1)


def noon(day: date) -> datetime:
    return datetime.combine(day, time(12), tzinfo=UTC)


def make_clinic(name: str = "", **fields) -> Clinic:
    defaults = {"phone": "555 0100", "out_of_hours_phone": "555 0199"}
    return Clinic.objects.create(name=name or f"Clinic {next(_serial)}", **{**defaults, **fields})


def make_staff(*roles: Role, clinics=(), username: str = "", **fields) -> Staff:
    """Staff with roles (prosthetist when none is named) serving clinics; the password is "password"."""
    name = username or f"staff{next(_serial)}"
    staff = Staff.objects.create_user(name, password="password", **fields)
    for role in roles or (Role.PROSTHETIST,):
        staff.roles_held.create(role=role)
    staff.clinics.set(clinics)
    return staff


def make_child(clinic: Clinic | None = None, guardians=(), **fields) -> Child:
    defaults = {
        "given_name": "Ada",
        "family_name": f"Quill{next(_serial)}",
        "birth_date": date(2018, 3, 14),
        "growth_reference": Child.GrowthReference.GIRLS,
    }
    child = Child(clinic=clinic or make_clinic(), **{**defaults, **fields})
    return accept_child(child, list(guardians))


def make_guardian(**fields) -> Guardian:
    """An unsaved guardian, to hand to make_child."""
    return Guardian(**{"name": "Bo Quill", "relationship": "father", "phone": "555 0142", **fields})


def make_limb(child: Child | None = None, **fields) -> Limb:
    defaults = {"side": Limb.Side.LEFT, "level": Limb.Level.TRANSRADIAL, "cause": Limb.Cause.TRANSVERSE}
    return Limb.objects.create(child=child or make_child(), **{**defaults, **fields})


def make_visit(child: Child, observer: Staff | None = None, on: date = TODAY, **fields) -> Visit:
    observer = observer or make_staff(clinics=[child.clinic])
    defaults = {"at": noon(on), "recorded_at": noon(on), "submission": uuid4()}
    return Visit.objects.create(child=child, observer=observer, **{**defaults, **fields})


def make_reading(visit: Visit, measure: str, value: float, limb: Limb | None = None, **fields) -> Reading:
    defaults = {"takes": [value], "typed": [f"{value:g}"], "recorded_by": visit.observer, "recorded_at": visit.at}
    return Reading.objects.create(visit=visit, limb=limb, measure=measure, value=value, **{**defaults, **fields})


def make_girths(visit: Visit, limb: Limb, girths_mm: dict[float, float]) -> list[Reading]:
    """Girths by distance from the level's own landmark [mm]."""
    return [
        make_reading(visit, Reading.Measure.GIRTH, girth_mm, limb, station_mm=station_mm)
        for station_mm, girth_mm in girths_mm.items()
    ]


def make_present_fit(visit: Visit, socket: Socket, **findings) -> PresentFit:
    return PresentFit.objects.create(
        visit=visit, limb=socket.limb, socket=socket, recorded_by=visit.observer, recorded_at=visit.at, **findings
    )


def make_socket(visit: Visit, limb: Limb, design_mm: dict[float, float], layers_mm=(), **fields) -> Socket:
    """A socket in use from the day of its visit: design girth by station [mm], thickness of its layers [mm]."""
    day = visit.at.date()
    defaults = {
        "version": limb.sockets.count() + 1,
        "allowance_mm": 6,
        "end_gap_mm": 8,
        "made_on": day,
        "fitted_on": day,
        "recorded_by": visit.observer,
        "recorded_at": visit.at,
    }
    socket = Socket.objects.create(limb=limb, visit=visit, **{**defaults, **fields})
    for station_mm, girth_mm in design_mm.items():
        SocketStation.objects.create(
            socket=socket,
            station_mm=station_mm,
            girth_at_cast_mm=girth_mm - socket.allowance_mm,
            design_girth_mm=girth_mm,
        )
    for number, thickness_mm in enumerate(layers_mm, start=1):
        Layer.objects.create(socket=socket, number=number, thickness_mm=thickness_mm)
    return socket


def make_forecast(limb: Limb, as_of: date = TODAY, **fields) -> Forecast:
    """A stored promise that is the limb's current one; dated a year ahead unless told otherwise."""
    early = fields.get("early", as_of + timedelta(days=300))
    dated = early is not None
    defaults = {
        "why": "visit",
        "made_at": noon(as_of),
        "method": "outgrowth 1",
        "references": ["forearm_girth_us1977"],
        "state": Forecast.State.DATED,
        "early": early,
        "likely": early + timedelta(days=120) if dated else None,
        "late": early + timedelta(days=260) if dated else None,
        "limiting": "girth:60" if dated else "",
        "fitted_by": early - timedelta(days=7) if dated else None,
        "start_refit_by": early - timedelta(days=35) if dated else None,
        "check_on": early - timedelta(days=49) if dated else None,
        "remeasure_by": as_of + timedelta(days=180),
        "next_action": Forecast.NextAction.REMEASURE,
        "act_on": as_of + timedelta(days=180),
        "notes": ["borrowed_shapes"],
    }
    forecast = Forecast.objects.create(limb=limb, as_of=as_of, **{**defaults, **fields})
    CurrentForecast.objects.update_or_create(limb=limb, defaults={"forecast": forecast})
    return forecast


def make_muscle_site(limb: Limb, observer: Staff | None = None, on: date = TODAY, **fields) -> MuscleSite:
    """A site on the wrist extensors, 40 mm along a residual length of 100 mm."""
    defaults = {
        "muscle": MuscleSite.Muscle.WRIST_EXTENSORS,
        "landmark": MuscleSite.Landmark.LATERAL_EPICONDYLE,
        "distance_mm": 40,
        "residual_length_mm": 100,
        "spacing_mm": 15,
        "electrode": "dry pair 1",
        "recorded_at": noon(on),
    }
    observer = observer or make_staff(clinics=[limb.child.clinic])
    return MuscleSite.objects.create(limb=limb, observer=observer, on=on, **{**defaults, **fields})


def make_muscle_recording(site: MuscleSite, file, on: date = TODAY, **fields) -> MuscleRecording:
    """A recording of a site that is still waiting for the worker."""
    defaults = {"sha256": "0" * 64, "size_bytes": file.size, "file_name": file.name, "recorded_by": site.observer}
    times = {"touched_at": noon(on), "recorded_at": noon(on)}
    return MuscleRecording.objects.create(
        limb=site.limb, site=site, file=file, on=on, **{**defaults, **times, **fields}
    )


def make_appointment(child: Child, at: datetime, **fields) -> Appointment:
    return Appointment.objects.create(child=child, at=at, **{"clinic": child.clinic, **fields})


def make_clinic_day(clinic: Clinic, on: date, staff=(), **fields) -> ClinicDay:
    """A day open from nine for six hours in one room, unless told otherwise."""
    day = ClinicDay.objects.create(clinic=clinic, on=on, **fields)
    day.staff.set(staff)
    return day


def make_proposal(clinic: Clinic, by: Staff, on: date = TODAY, **fields) -> PlanProposal:
    """A finished plan with nothing in it."""
    figures = {"state": PlanProposal.State.DONE, "cost": 0, "bound": 0, "greedy_cost": 0}
    times = {"as_of": on, "asked_at": noon(on), "touched_at": noon(on)}
    return PlanProposal.objects.create(clinic=clinic, asked_by=by, **{**figures, **times, **fields})
