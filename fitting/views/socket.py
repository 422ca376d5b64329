"""A new socket from one visit, and a socket's page with the steps of its life."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from fitting.forms.fields import entry_text
from fitting.forms.socket import MadeFromForm, SocketForm, measured_visits
from fitting.forms.socket_steps import possible_steps
from fitting.inputs import settings_of, station_capacities
from fitting.models import Reading, Socket
from fitting.quantities import format_length
from fitting.services.sockets import SocketIn, make_socket
from fitting.wording import CAUTION, day_words, landmark_words
from patients.access import requires
from patients.models import Limb
from patients.roles import Action


@requires(Action.MAKE_SOCKET)
def socket_new(request, pk):
    limb = get_object_or_404(Limb.objects.visible_to(request.user).select_related("child__clinic"), pk=pk)
    visits = measured_visits(limb)
    context = {"limb": limb, "child": limb.child, "visits": visits, "landmark": landmark_words(limb.level)}
    if not visits:
        return render(request, "fitting/socket_new.html", context)
    usual = {"visit": visits[0], "allowance_mm": settings_of(limb.child.clinic).allowance_mm}
    source = MadeFromForm(request.POST or request.GET or None, limb=limb, visits=visits, initial=usual)
    made_from = source.cleaned_data if source.is_bound and source.is_valid() else usual
    now = timezone.now()
    form = _socket_form(request.POST or None, limb, limb.child.clinic.day_of(now), **{**usual, **made_from})
    if request.method == "POST" and source.is_valid() and form.is_valid():
        made = _make(limb, request.user, made_from, form, now)
        messages.success(request, _("The socket is entered. Record here the day it is fitted."))
        return redirect("socket", made.pk)
    rows = [(_place(reading, limb), _length(reading.value, limb), field) for reading, field in form.station_rows]
    return render(
        request,
        "fitting/socket_new.html",
        {**context, "source": source, "form": form, "forms": [source, form], "rows": rows},
    )


def _socket_form(data, limb, today, visit, allowance_mm):
    readings = Reading.objects.current().filter(visit=visit)
    girths = readings.filter(limb=limb, measure=Reading.Measure.GIRTH).order_by("station_mm")
    sound = readings.filter(measure=Reading.Measure.SOUND_FOREARM_LENGTH).first()
    initial = {"made_on": today, "forearm_length_mm": sound.value if sound else None}
    return SocketForm(
        data, limb=limb, visit=visit, girths=girths, allowance_mm=allowance_mm, today=today, initial=initial
    )


def _make(limb, by, made_from, form, now):
    typed = ("end_gap_mm", "forearm_length_mm", "trim_note", "made_on")
    what = SocketIn(**made_from, **{name: form.cleaned_data[name] for name in typed})
    return make_socket(limb, by, what, form.stations, form.layer_thicknesses_mm, now)


def _length(length_mm, limb):
    return format_length(length_mm, limb.child.clinic.length_unit)


def _place(row, limb):
    """A station's distance; its landmark only where that is not the level's own, which heads the table."""
    distance, landmark = _length(row.station_mm, limb), landmark_words(limb.level, row.landmark)
    if landmark == landmark_words(limb.level):
        return distance
    return _("%(distance)s from the %(landmark)s") % {"distance": distance, "landmark": landmark}


@requires(Action.READ_CASE)
def socket(request, pk):
    sockets = Socket.objects.visible_to(request.user).select_related("limb__child__clinic", "visit", "recorded_by")
    row = get_object_or_404(sockets.prefetch_related("stations", "layers__out_by", "sleeves__design"), pk=pk)
    if request.method == "POST" and not request.user.may(Action.MAKE_SOCKET):
        raise PermissionDenied
    now = timezone.now()
    today, posted = row.limb.child.clinic.day_of(now), request.POST.get("step")
    forms = {
        name: kind(request.POST if name == posted else None, name=name, socket=row, today=today)
        for name, kind in possible_steps(row).items()
    }
    if posted and posted not in forms:
        messages.warning(request, _("That step does not follow from how the socket stands now."))
        return redirect("socket", pk)
    if posted and forms[posted].take(request.user, now):
        messages.success(request, forms[posted].done)
        return redirect("socket", pk)
    refused = [forms[posted]] if posted else []
    return render(request, "fitting/socket.html", {**_shown(row), **forms, "forms": refused})


def _shown(row):
    limb = row.limb
    lengths = {name: _length(getattr(row, name), limb) for name in ("allowance_mm", "end_gap_mm")}
    forearm = "" if row.forearm_length_mm is None else _length(row.forearm_length_mm, limb)
    sizes = [(s, (s.girth_at_cast_mm, s.design_girth_mm, now, full)) for s, now, full in station_capacities(row)]
    days = {name: getattr(row, name) for name in ("made_on", "fitted_on", "retired_on")}
    days["visit_day"] = limb.child.clinic.day_of(row.visit.at)
    others = limb.sleeves.filter(retired_on__isnull=True).exclude(sockets=row).select_related("design")
    return {
        **{name: day and day_words(day) for name, day in days.items()},
        "socket": row,
        "limb": limb,
        "child": limb.child,
        "landmark": landmark_words(limb.level),
        "caution": CAUTION,
        "lengths": {**lengths, "forearm_length_mm": forearm},
        "stations": [(_place(s, limb), [_length(size, limb) for size in every]) for s, every in sizes],
        "layers": [_layer_words(layer, limb) for layer in row.layers.all()],
        "sleeves": [_sleeve_words(sleeve, limb) for sleeve in row.sleeves.all()],
        "other_sleeves": others,
    }


def _layer_words(layer, limb):
    thickness = entry_text(layer.thickness_mm, "mm")
    if layer.out_on is None:
        return _("%(thickness)s, in") % {"thickness": thickness}
    words = {"thickness": thickness, "day": day_words(layer.out_on), "gap": _length(layer.end_gap_after_mm, limb)}
    return _("%(thickness)s, out on %(day)s, end gap then %(gap)s") % words


def _sleeve_words(sleeve, limb):
    words = {"design": sleeve.design, "length": _length(sleeve.length_mm, limb), "magnets": sleeve.magnets}
    return _("%(design)s, %(length)s long, %(magnets)d magnets") % words
