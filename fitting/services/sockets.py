"""Making, fitting and retiring sockets; taking layers out."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from fitting.models import Layer, Sleeve, Socket, SocketStation, Visit
from fitting.services.promises import repromise
from patients.models import Limb, Staff


@dataclass(frozen=True)
class StationIn:
    landmark: str
    station_mm: float
    girth_at_cast_mm: float
    design_girth_mm: float


@dataclass(frozen=True)
class SocketIn:
    visit: Visit
    allowance_mm: float
    end_gap_mm: float
    forearm_length_mm: float | None
    made_on: date
    trim_note: str = ""


class SocketStepError(Exception):
    """A step that does not follow from the socket's present state; the text says what to do."""


@transaction.atomic
def make_socket(limb: Limb, by: Staff, what: SocketIn, stations, layer_thicknesses_mm, now: datetime) -> Socket:
    """Store the next version of a limb's socket with its stations and removable layers, innermost first."""
    last = Socket.objects.filter(limb=limb).aggregate(last=Max("version"))["last"] or 0
    socket = Socket.objects.create(
        limb=limb,
        version=last + 1,
        visit=what.visit,
        allowance_mm=what.allowance_mm,
        end_gap_mm=what.end_gap_mm,
        forearm_length_mm=what.forearm_length_mm,
        made_on=what.made_on,
        trim_note=what.trim_note,
        recorded_by=by,
        recorded_at=now,
    )
    for station in stations:
        SocketStation.objects.create(socket=socket, **vars(station))
    for number, thickness_mm in enumerate(layer_thicknesses_mm, start=1):
        Layer.objects.create(socket=socket, number=number, thickness_mm=thickness_mm)
    return socket


@transaction.atomic
def fit_socket(socket: Socket, by: Staff, on: date, now: datetime) -> Socket:
    """The socket goes into use; the one in use before is retired by the same step as a change of design unless done."""
    if socket.fitted_on or socket.retired_on:
        raise SocketStepError(_("This socket was fitted or retired already."))
    for worn in Socket.objects.in_use().filter(limb=socket.limb):
        worn.retired_on, worn.why_retired = on, worn.why_retired or Socket.WhyRetired.CHANGED_DESIGN
        worn.save(update_fields=["retired_on", "why_retired"])
    socket.fitted_on = on
    socket.save(update_fields=["fitted_on"])
    _repromise(socket, "fitted", by, now)
    return socket


@transaction.atomic
def retire_socket(socket: Socket, by: Staff, on: date, why: str, now: datetime) -> Socket:
    if socket.retired_on:
        raise SocketStepError(_("This socket was retired already."))
    socket.retired_on, socket.why_retired = on, why
    socket.save(update_fields=["retired_on", "why_retired"])
    _repromise(socket, "retired", by, now)
    return socket


@transaction.atomic
def take_layer_out(layer: Layer, by: Staff, on: date, end_gap_mm: float, now: datetime) -> Layer:
    """Take a layer out; the limb sinks, so the new end gap is part of the step."""
    if layer.out_on:
        raise SocketStepError(_("This layer is out already."))
    layer.out_on, layer.end_gap_after_mm, layer.out_by = on, end_gap_mm, by
    layer.save(update_fields=["out_on", "end_gap_after_mm", "out_by"])
    _repromise(layer.socket, "layer out", by, now)
    return layer


@transaction.atomic
def make_sleeve(sleeve: Sleeve, sockets) -> Sleeve:
    sleeve.save()
    sleeve.sockets.set(sockets)
    return sleeve


def _repromise(socket: Socket, why: str, by: Staff, now: datetime):
    repromise(socket.limb, as_of=socket.limb.child.clinic.day_of(now), why=why, by=by, now=now)
