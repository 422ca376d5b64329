"""Correcting a reading: the old value stays and says what replaced it and why."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from fitting.forms.correction import Correction
from fitting.models import Reading
from fitting.services.visits import AlreadyCorrectedError, correct_reading
from fitting.visit_record import reading_words, written
from patients.access import requires
from patients.roles import Action


@requires(Action.CORRECT_READING)
def reading_correct(request, pk):
    readings = Reading.objects.visible_to(request.user).select_related(
        "visit__child__clinic", "visit__observer", "limb", "recorded_by", "superseded_by__recorded_by"
    )
    old = get_object_or_404(readings, pk=pk)
    if old.limb:
        old.limb.child = old.visit.child
    correction = Correction(request.POST if request.method == "POST" else None, old)
    if request.method != "POST":
        return _page(request, correction)
    if "check" in request.POST and request.htmx:
        return render(request, "fitting/_measure_checked.html", {"rows": correction.rows})
    return _save(request, correction)


def _save(request, correction):
    old, now = correction.old, timezone.now()
    if _newer(old) or not correction.ready:
        return _page(request, correction, saving=True)
    new = correction.reading
    try:
        correct_reading(old, request.user, new.takes, new.typed, correction.why, now, alerts=new.alerts)
    except AlreadyCorrectedError:
        return _page(request, correction, saving=True)
    messages.success(
        request, _("The reading is corrected, and the forecast is made anew. The old value stays below it.")
    )
    return redirect("visit", old.visit_id)


def _newer(old) -> Reading | None:
    """The correction that stands already."""
    return Reading.objects.filter(supersedes=old).select_related("recorded_by").first()


def _page(request, correction, saving=False):
    old, clinic = correction.old, correction.old.visit.child.clinic
    newer = _newer(old)
    context = {
        "correction": correction,
        "old": written(old, clinic),
        "words": reading_words(old, clinic.length_unit),
        "newer": newer and written(newer, clinic),
        "visit": old.visit,
        "at": old.visit.at.astimezone(clinic.zone),
        "child": old.visit.child,
        "saving": saving,
    }
    return render(request, "fitting/reading_correct.html", context)
