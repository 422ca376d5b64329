"""A visit of a child: present fit first, then every place measured, checked row by row while it is typed."""

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from fitting.forms.visit_sheet import VisitSheet
from fitting.models import Visit
from fitting.services.visits import record_visit
from fitting.wording import STOP_AND_CALL
from patients.access import requires
from patients.models import Child
from patients.roles import Action


@requires(Action.RECORD_VISIT)
def measure(request, case_number):
    child = get_object_or_404(Child.objects.visible_to(request.user).select_related("clinic"), case_number=case_number)
    now, data = timezone.now(), request.POST if request.method == "POST" else None
    sheet = VisitSheet(data, child, request.user, now, first_limb=request.GET.get("first", ""))
    if data is None:
        return _page(request, sheet)
    if "check" in data and request.htmx:
        return _checked(request, sheet)
    if "add-station" in data or "lay-out" in data:
        return _page(request, sheet)
    return _save(request, sheet, now)


def _save(request, sheet, now):
    if _already_saved(request, sheet):
        messages.info(request, _("This visit was saved already."))
        return redirect("case", sheet.child.case_number)
    if sheet.troubles:
        return _page(request, sheet, saving=True)
    record_visit(sheet.child, request.user, sheet.visit_form.visit, sheet.readings, sheet.fit_findings, now, sheet.kept)
    messages.success(request, _("The visit is saved, and the forecast is made anew."))
    return redirect("case", sheet.child.case_number)


def _already_saved(request, sheet):
    submission = sheet.visit_form.cleaned_data.get("submission")
    return submission and Visit.objects.filter(child=sheet.child, submission=submission).exists()


def _checked(request, sheet):
    """What stands beside the rows that changed, and the drawings; the fields themselves stay as they are."""
    changed = [row for row in sheet.rows if row.shown != request.POST.get(f"{row.key}-shown")]
    return render(request, "fitting/_measure_checked.html", {"rows": changed, "blocks": sheet.blocks, "sheet": sheet})


def _page(request, sheet, saving=False):
    context = {"sheet": sheet, "child": sheet.child, "saving": saving, "stop_and_call": STOP_AND_CALL}
    return render(request, "fitting/measure.html", context)
