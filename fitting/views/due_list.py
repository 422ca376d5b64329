from dataclasses import dataclass
from datetime import date

from django.core.paginator import Paginator
from django.shortcuts import render
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from fitting import wording
from fitting.due import FILTERS, DueState, counts
from fitting.forms.due_filter import DueFilterForm
from fitting.views.days import served_today
from fitting.views.parts import wants_rows_only
from patients.access import requires
from patients.models import Limb
from patients.roles import Action

PAGE_SIZE = 40


@dataclass(frozen=True)
class DueRow:
    """One limb of the due list: where it stands, why and what next."""

    limb: Limb
    as_of: date
    state: DueState
    why: str
    next_step: str

    @property
    def forecast(self):
        return self.limb.current_forecast.forecast if hasattr(self.limb, "current_forecast") else None


def row_of(limb: Limb, as_of: date) -> DueRow:
    """The row of a limb from `due_limbs`; no query, no arithmetic."""
    state, forecast = DueState(limb.due_state), getattr(limb, "current_forecast", None)
    if forecast is None:
        return DueRow(limb, as_of, state, str(wording.NEVER_MEASURED), str(wording.MEASURE_FIRST))
    promised = forecast.forecast
    unit = limb.child.clinic.length_unit
    return DueRow(limb, as_of, state, wording.why(promised, unit, as_of), wording.next_step(promised, as_of))


@require_safe
@requires(Action.READ_CASE)
@vary_on_headers("HX-Request")
def due_list(request):
    """Limbs in the order in which something must happen, narrowed by what the address asks."""
    form = DueFilterForm(request.GET, user=request.user)
    form.is_valid()
    clinics, as_of = served_today(request.user, form.cleaned_data.get("clinic"))
    narrowed = form.narrowed(as_of)
    page = Paginator(form.limbs(narrowed, as_of), PAGE_SIZE).get_page(request.GET.get("page"))
    found = counts(narrowed, as_of)
    context = {
        "form": form,
        "as_of": as_of,
        "clinics": clinics,
        "page": page,
        "rows": [row_of(limb, as_of) for limb in page],
        "states": [(state, found[state]) for state in FILTERS],
        "state": form.cleaned_data.get("state"),
        "asked": any(form.cleaned_data.values()),
        "caution": wording.CAUTION,
    }
    context["rows_only"] = wants_rows_only(request)
    return render(request, "fitting/_due_rows.html" if context["rows_only"] else "fitting/due_list.html", context)
