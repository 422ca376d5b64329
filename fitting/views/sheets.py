"""Sheets: choose one, print it."""

from csp.decorators import csp_exempt
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from fitting.forms.sheets import CareSheetForm, FittingSheetForm, MeasuringFormForm
from fitting.sheets.care_sheet import print_care_sheet, usual_wearer
from fitting.sheets.fitting_sheet import NotPrintableError, print_fitting_sheet, staleness
from fitting.sheets.measuring_form import print_measuring_form
from patients.access import requires
from patients.models import Limb
from patients.roles import Action

UNPROCESSABLE = 422


@requires(Action.PRINT_SHEET)
def sheets(request, pk):
    return _choose(request, _limb(request, pk))


@csp_exempt()
@requires(Action.PRINT_SHEET)
def sheet_fitting(request, pk):
    """POST brings the reason to print stale data, which then stays out of addresses and their logs."""
    limb = _limb(request, pk)
    form = FittingSheetForm(limb, request.POST if request.method == "POST" else request.GET)
    if form.is_valid():
        try:
            return _pdf(limb, "fitting-sheet", print_fitting_sheet(limb, _today(limb), **form.cleaned_data))
        except NotPrintableError as refusal:
            form.add_error("reason", str(refusal))
    return _choose(request, limb, fitting=form)


@csp_exempt()
@requires(Action.PRINT_SHEET)
def sheet_care(request, pk):
    limb = _limb(request, pk)
    form = CareSheetForm(limb, request.GET, usual_wearer(limb, _today(limb)))
    if form.is_valid():
        return _pdf(limb, "care-sheet", print_care_sheet(limb, timezone.now(), **form.cleaned_data))
    return _choose(request, limb, care=form)


@csp_exempt()
@requires(Action.PRINT_SHEET)
def sheet_form(request, pk):
    limb = _limb(request, pk)
    form = MeasuringFormForm(limb, request.GET)
    if form.is_valid():
        return _pdf(limb, "measuring-form", print_measuring_form(limb, _today(limb), **form.cleaned_data))
    return _choose(request, limb, measuring=form)


def _limb(request, pk) -> Limb:
    return get_object_or_404(Limb.objects.visible_to(request.user).select_related("child__clinic"), pk=pk)


def _today(limb):
    return limb.child.clinic.day_of(timezone.now())


def _choose(request, limb, **refused):
    """The page to choose from; a form that was refused stands on it as typed."""
    nothing = QueryDict()
    forms = {
        "fitting": FittingSheetForm(limb, nothing),
        "care": CareSheetForm(limb, nothing, usual_wearer(limb, _today(limb))),
        "measuring": MeasuringFormForm(limb, nothing),
    }
    context = {"limb": limb, "stale": staleness(limb, _today(limb)), **forms, **refused}
    return render(request, "fitting/sheets.html", context, status=UNPROCESSABLE if refused else None)


def _pdf(limb, kind, pdf) -> HttpResponse:
    name = f"{kind}-{limb.child.shown_case_number}-{limb.side}.pdf"
    headers = {"Content-Disposition": f'inline; filename="{name}"', "Cache-Control": "private, no-store"}
    return HttpResponse(pdf, content_type="application/pdf", headers=headers)
