"""Muscle sites: what a limb has, a site entered or found again, its photo, the settings as JSON."""

from django.contrib import messages
from django.http import FileResponse, Http404, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from fitting.forms.muscle_site import MuscleSiteForm, as_entered
from fitting.forms.refusals import taken
from fitting.models import MuscleSite
from fitting.muscle_drawing import site_drawing
from fitting.muscle_export import settings_document
from fitting.muscle_record import current_settings, newest_length_mm, recording_rows, site_rows
from fitting.services.muscle_sites import move_site, record_site
from fitting.sheets.muscle_card import muscle_cards
from patients.access import requires
from patients.models import Limb
from patients.roles import Action


def limb_of(request, pk) -> Limb:
    """A limb the person may see, with its child and clinic."""
    return get_object_or_404(Limb.objects.visible_to(request.user).select_related("child__clinic"), pk=pk)


@require_safe
@requires(Action.READ_CASE)
def muscle_sites(request, pk):
    limb = limb_of(request, pk)
    sites = site_rows(limb)
    context = {
        "limb": limb,
        "child": limb.child,
        "unit": limb.child.clinic.length_unit,
        "sites": sites,
        "drawing": site_drawing(limb, sites),
        "recordings": recording_rows(limb),
        "cards": muscle_cards(limb),
    }
    return render(request, "fitting/muscle_sites.html", context)


@requires(Action.RECORD_MUSCLE)
def muscle_site_new(request, pk):
    return _enter(request, limb_of(request, pk), None)


@requires(Action.RECORD_MUSCLE)
def muscle_site_replace(request, pk):
    sites = MuscleSite.objects.visible_to(request.user).select_related("limb__child__clinic", "superseded_by")
    site = get_object_or_404(sites, pk=pk)
    if hasattr(site, "superseded_by"):
        messages.warning(request, _("This site was entered anew already. The newer entry stands below."))
        return redirect("muscle_sites", site.limb_id)
    return _enter(request, site.limb, site)


def _enter(request, limb, old):
    now = timezone.now()
    today = limb.child.clinic.day_of(now)
    initial = {"on": today, "residual_length_mm": newest_length_mm(limb), **(as_entered(old) if old else {})}
    form = MuscleSiteForm(
        request.POST or None, request.FILES or None, limb=limb, today=today, replaces=old, initial=initial
    )
    if request.method == "POST" and form.is_valid() and taken(form, lambda: _store(form, limb, old, request.user, now)):
        messages.success(request, _("The site is entered."))
        return redirect("muscle_sites", limb.pk)
    return render(request, "fitting/muscle_site.html", {"limb": limb, "child": limb.child, "form": form, "old": old})


def _store(form, limb, old, by, now):
    photo, submission = form.cleaned_data["photo"], form.cleaned_data["submission"]
    if old is None:
        return record_site(limb, by, form.site, photo, submission, now)
    return move_site(old, by, form.site, photo, form.cleaned_data["why"], submission, now)


@require_safe
@requires(Action.READ_CASE)
def muscle_site_photo(request, pk):
    site = get_object_or_404(MuscleSite.objects.visible_to(request.user), pk=pk)
    if not site.photo:
        raise Http404
    return FileResponse(
        site.photo.open("rb"), content_type="image/jpeg", headers={"Cache-Control": "private, no-store"}
    )


@require_safe
@requires(Action.READ_CASE)
def muscle_settings(request, pk):
    limb = limb_of(request, pk)
    document = settings_document(limb, current_settings(limb))
    name = f"levels-{limb.child.case_number}-{limb.side}.json"
    return JsonResponse(document, headers={"Content-Disposition": f'attachment; filename="{name}"'})
