"""A muscle recording: sending it, its figures and settings, reading it again, the file as it came."""

from functools import partial

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import FileResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from fitting.forms.level_settings import LevelSettingsForm
from fitting.forms.muscle_recording import ReadingForm, RecordingForm
from fitting.forms.refusals import taken
from fitting.models import MuscleRecording, MuscleSite
from fitting.muscle_inputs import cues_of
from fitting.muscle_panels import channel_panels, recording_words
from fitting.recording_cues import cues_text
from fitting.services.muscle_recordings import read_again, receive_recording
from fitting.services.muscle_sites import current_levels, set_levels
from fitting.views.muscle_sites import limb_of
from patients.access import requires
from patients.roles import Action


@requires(Action.RECORD_MUSCLE)
def muscle_recording_new(request, pk):
    limb, now = limb_of(request, pk), timezone.now()
    today = limb.child.clinic.day_of(now)
    context = {"limb": limb, "child": limb.child}
    if not MuscleSite.objects.current().filter(limb=limb).exists():
        return render(request, "fitting/muscle_recording_new.html", context)
    form = RecordingForm(request.POST or None, request.FILES or None, limb=limb, today=today, initial={"on": today})
    if request.method == "POST" and form.is_valid():
        sent, submission = form.cleaned_data["file"], form.cleaned_data["submission"]
        row = receive_recording(limb, request.user, form.said, sent.read(), sent.name, submission, now)
        return redirect("muscle_recording", row.pk)
    return render(request, "fitting/muscle_recording_new.html", {**context, "form": form})


def _recording(request, pk) -> MuscleRecording:
    rows = MuscleRecording.objects.visible_to(request.user)
    related = ("limb__child__clinic", "site", "second_site", "recorded_by", "superseded_by")
    return get_object_or_404(rows.select_related(*related), pk=pk)


@requires(Action.READ_CASE)
def muscle_recording(request, pk):
    row, now = _recording(request, pk), timezone.now()
    if request.method == "POST" and "try" not in request.POST:
        return _set_levels(request, row, now)
    return _page(request, row, now, _forms(row, request.POST))


def _forms(row, typed):
    """A form for each channel with figures and a site; bound to what was typed for it, to try it before it is set."""
    forms = {}
    for channel in row.result.get("channels", ()):
        number = channel["channel"]
        if row.site_of(number) is None:
            continue
        standing = current_levels(row, number)
        data = typed if f"c{number}-hysteresis_ln" in typed else None
        initial = {"opened": standing.pk if standing else None}
        forms[number] = LevelSettingsForm(
            data, prefix=f"c{number}", initial=initial, unit=row.result["unit"], channel=channel
        )
    return forms


def _set_levels(request, row, now):
    if not request.user.may(Action.RECORD_MUSCLE):
        raise PermissionDenied
    forms, today = _forms(row, request.POST), row.limb.child.clinic.day_of(now)
    for number, form in forms.items():
        if not form.is_bound or not form.is_valid():
            continue
        if taken(form, partial(_store, row, number, form, today, request.user, now)):
            messages.success(request, _("The levels are set: on the fitting sheet and in the file to export."))
            return redirect("muscle_sites", row.limb_id)
        form.reopen(current_levels(row, number))
    return _page(request, row, now, forms)


def _store(row, number, form, today, by, now):
    return set_levels(row, number, by, form.settings(today), form.cleaned_data["opened"], now)


def _page(request, row, now, forms):
    context = {
        "recording": row,
        "limb": row.limb,
        "child": row.limb.child,
        "panels": channel_panels(row, forms),
        **recording_words(row, now),
    }
    return render(request, "fitting/muscle_recording.html", context)


@requires(Action.RECORD_MUSCLE)
def muscle_recording_again(request, pk):
    old, now = _recording(request, pk), timezone.now()
    today = old.limb.child.clinic.day_of(now)
    form = ReadingForm(request.POST or None, limb=old.limb, today=today, initial=_as_said(old))
    stored = []
    if (
        request.method == "POST"
        and form.is_valid()
        and taken(form, lambda: stored.append(_read_again(old, form, request.user, now)))
    ):
        return redirect("muscle_recording", stored[0].pk)
    context = {"recording": old, "limb": old.limb, "child": old.limb.child, "form": form}
    return render(request, "fitting/muscle_recording_again.html", context)


def _read_again(old, form, by, now):
    return read_again(old, by, form.said, form.cleaned_data["submission"], now)


def _as_said(old):
    names = ("site", "second_site", "on", "time_unit", "unit", "mv_per_count", "visual_feedback", "note")
    said = cues_text(cues_of({"cues": old.cues}))
    return {**{name: getattr(old, name) for name in names}, "cues_text": said}


@require_safe
@requires(Action.READ_CASE)
def muscle_recording_file(request, pk):
    row = _recording(request, pk)
    name = f"muscle-{row.limb.child.case_number}-{row.on:%Y-%m-%d}-{row.pk}.csv"
    return FileResponse(row.file.open("rb"), as_attachment=True, filename=name, content_type="text/csv")
