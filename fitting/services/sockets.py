"""Making, fitting and retiring sockets; taking layers out."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from fitting.models import Layer, Sleeve, Socket, SocketStation, Visit
from fitting.services.promises import repromise
from fitting.services.steps import StepError
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


@transaction.atomic
def make_socket(limb: Limb, by: Staff, what: SocketIn, stations, layer_thicknesses_mm, now: datetime) -> Socket:
    """Store the next version of a limb's socket with its stations and removable layers, innermost first."""
    Limb.objects.select_for_update().get(pk=limb.pk)  # the gate: one new version at a time
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
    SocketStation.objects.bulk_create([SocketStation(socket=socket, **vars(station)) for station in stations])
    numbered = enumerate(layer_thicknesses_mm, start=1)
    Layer.objects.bulk_create([Layer(socket=socket, number=number, thickness_mm=mm) for number, mm in numbered])
    return socket


@transaction.atomic
def fit_socket(socket: Socket, by: Staff, on: date, now: datetime, why_worn_retired: str = "") -> Socket:
    """The socket goes into use; the one in use before is retired by the same step and says why.

    Raises StepError when the socket was fitted or retired, or the day does not follow.
    """
    if socket.fitted_on or socket.retired_on:
        raise StepError(_("This socket was fitted or retired already."))
    _check_day(socket, on, now, not_before=socket.made_on, sentence=_("The socket was not made by that day."))
    for worn in Socket.objects.in_use().filter(limb=socket.limb):
        if on < worn.fitted_on:
            raise StepError(_("The socket worn until now was fitted after that day."), "on")
        if not why_worn_retired:
            raise StepError(_("Say why the socket worn until now is retired."), "why_worn_retired")
        _retire(worn, on, why_worn_retired)
    socket.fitted_on = on
    socket.save(update_fields=["fitted_on"])
    _repromise(socket, "fitted", by, now)
    return socket


@transaction.atomic
def retire_socket(socket: Socket, by: Staff, on: date, why: str, now: datetime) -> Socket:
    """Take a socket out of use, or give up one that was never fitted; raises StepError when the day does not follow."""
    if socket.retired_on:
        raise StepError(_("This socket was retired already."))
    layers_out = [layer.out_on for layer in socket.layers.all() if layer.out_on]
    latest = max([socket.fitted_on or socket.made_on, *layers_out])
    _check_day(socket, on, now, not_before=latest, sentence=_("The socket's record has a later step than that day."))
    _retire(socket, on, why)
    _repromise(socket, "retired", by, now)
    return socket


@transaction.atomic
def take_layer_out(layer: Layer, by: Staff, on: date, end_gap_mm: float, now: datetime) -> Layer:
    """Take a layer out; the limb sinks, so the end gap is read anew. Raises StepError when the step does not follow."""
    socket = layer.socket
    if layer.out_on:
        raise StepError(_("This layer is out already."))
    if not socket.fitted_on or socket.retired_on:
        raise StepError(_("Layers are taken out of the socket in use only."))
    inner = socket.layers.filter(number__lt=layer.number)
    if inner.filter(out_on__isnull=True).exists():
        raise StepError(_("A layer further in is still there: that one comes out first."))
    earliest = max([socket.fitted_on, *(other.out_on for other in inner)])
    _check_day(socket, on, now, not_before=earliest, sentence=_("The socket's record has a later step than that day."))
    layer.out_on, layer.end_gap_after_mm, layer.out_by = on, end_gap_mm, by
    layer.save(update_fields=["out_on", "end_gap_after_mm", "out_by"])
    _repromise(socket, "layer out", by, now)
    return layer


def _check_day(socket, on, now, not_before, sentence):
    if on < not_before:
        raise StepError(sentence, "on")
    if on > socket.limb.child.clinic.day_of(now):
        raise StepError(_("This day is in the future."), "on")


def _retire(socket, on, why):
    socket.retired_on, socket.why_retired = on, why
    socket.save(update_fields=["retired_on", "why_retired"])


@transaction.atomic
def make_sleeve(sleeve: Sleeve, sockets) -> Sleeve:
    """Store a sleeve; raises StepError when its magnets do not add up, for one that is loose can be swallowed."""
    if sleeve.magnets != sleeve.design.magnets:
        raise StepError(
            _("%(design)s has %(count)d magnets. Count again; if one is loose or missing, do not hand the sleeve out.")
            % {"design": sleeve.design, "count": sleeve.design.magnets},
            "magnets",
        )
    sleeve.save()
    sleeve.sockets.set(sockets)
    return sleeve


def _repromise(socket: Socket, why: str, by: Staff, now: datetime):
    repromise(socket.limb, as_of=socket.limb.child.clinic.day_of(now), why=why, by=by, now=now)
