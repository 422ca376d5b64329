"""A visit as it was recorded: who, when, what was measured, how the socket fitted, and every correction."""

from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from fitting.models import Visit
from fitting.visit_record import fit_words, measured_groups
from patients.access import requires
from patients.roles import Action


@require_safe
@requires(Action.READ_CASE)
def visit(request, pk):
    visits = Visit.objects.visible_to(request.user).select_related("child__clinic", "observer")
    row = get_object_or_404(visits, pk=pk)
    clinic = row.child.clinic
    fits = row.present_fits.select_related("limb", "socket", "recorded_by").order_by("limb__side", "-pk")
    context = {
        "visit": row,
        "child": row.child,
        "at": row.at.astimezone(clinic.zone),
        "groups": measured_groups(row, clinic),
        "fits": [(fit, fit_words(fit, clinic.length_unit)) for fit in fits],
    }
    return render(request, "fitting/visit.html", context)
