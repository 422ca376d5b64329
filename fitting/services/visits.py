"""Recording a visit and correcting a reading. Nothing is overwritten."""

from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db import transaction

from fitting.calc.takes import closest_two_mean
from fitting.models import Appointment, PresentFit, Reading, Socket, Visit
from fitting.services.appointments import close
from fitting.services.promises import repromise
from patients.models import Child, Limb, Staff


@dataclass(frozen=True)
class ReadingIn:
    """One place measured: its takes [mm or kg], as typed, and the alerts answered."""

    measure: str
    takes: tuple[float, ...]
    typed: tuple[str, ...]
    limb: Limb | None = None
    landmark: str = ""
    station_mm: float | None = None
    alerts: tuple[dict, ...] = ()


@dataclass(frozen=True)
class FitIn:
    """How the socket in use fits today; `findings` are the fields of PresentFit."""

    limb: Limb
    socket: Socket
    findings: dict = field(default_factory=dict)


@dataclass(frozen=True)
class VisitIn:
    """The facts of a visit; observer: who measured, None where that is whoever records it."""

    at: datetime
    kind: str
    submission: UUID
    observer: Staff | None = None
    covering: str = Visit.Covering.BARE
    posture: str = Visit.Posture.SEATED_ELBOW_90
    instrument: str = Visit.Instrument.TAPE_1MM
    minutes_since_doffing: int | None = None
    note: str = ""
    alerts: tuple[dict, ...] = ()


@transaction.atomic
def record_visit(child: Child, by: Staff, what: VisitIn, readings, fits, now: datetime, kept=()) -> Visit:
    """Store a visit, its readings and present fits, and forecast every limb; a second submit gets the first one.

    kept: keys of the child's appointments this visit keeps; one that is not booked any more stays as it is
    """
    visit, created = Visit.objects.get_or_create(
        submission=what.submission,
        defaults={
            "child": child,
            "at": what.at,
            "kind": what.kind,
            "covering": what.covering,
            "posture": what.posture,
            "instrument": what.instrument,
            "minutes_since_doffing": what.minutes_since_doffing,
            "note": what.note,
            "alerts": list(what.alerts),
            "observer": what.observer or by,
            "recorded_at": now,
        },
    )
    if not created:
        return visit
    Reading.objects.bulk_create([_row(visit, reading, by, now) for reading in readings])
    for fit in fits:
        PresentFit.objects.create(
            visit=visit, limb=fit.limb, socket=fit.socket, recorded_by=by, recorded_at=now, **fit.findings
        )
    for appointment in child.appointments.booked().select_for_update().filter(pk__in=kept).select_related("clinic"):
        close(appointment, appointment.version, Appointment.Status.FULFILLED, now)
    for limb in child.limbs.all():
        repromise(limb, as_of=child.clinic.day_of(now), why="visit", by=by, now=now)
    return visit


def _row(visit: Visit, reading: ReadingIn, by: Staff, now: datetime) -> Reading:
    return Reading(
        visit=visit,
        limb=reading.limb,
        measure=reading.measure,
        landmark=reading.landmark,
        station_mm=reading.station_mm,
        value=closest_two_mean(reading.takes),
        takes=list(reading.takes),
        typed=list(reading.typed),
        alerts=list(reading.alerts),
        recorded_by=by,
        recorded_at=now,
    )


@transaction.atomic
def correct_reading(old: Reading, by: Staff, takes, typed, why: str, now: datetime, alerts=()) -> Reading:
    """Supersede a reading by a new one that says why, and forecast the limbs it bears on anew.

    Raises AlreadyCorrectedError when a correction stands already.
    """
    if Reading.objects.filter(supersedes=old).exists():
        raise AlreadyCorrectedError
    new = Reading.objects.create(
        visit=old.visit,
        limb=old.limb,
        measure=old.measure,
        landmark=old.landmark,
        station_mm=old.station_mm,
        value=closest_two_mean(takes),
        takes=list(takes),
        typed=list(typed),
        alerts=list(alerts),
        supersedes=old,
        why=why,
        recorded_by=by,
        recorded_at=now,
    )
    child = old.visit.child
    for limb in [old.limb] if old.limb else child.limbs.all():
        repromise(limb, as_of=child.clinic.day_of(now), why="correction", by=by, now=now)
    return new


class AlreadyCorrectedError(Exception):
    """Somebody corrected this reading first."""
