from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from fitting import wording
from fitting.calc.calibration import NEEDED
from fitting.calc.own_error import NEEDED_DIFFERENCES
from fitting.forecast_check import forecast_check as check_of
from fitting.forms.forecast_check import AdoptForm, CheckFilterForm
from fitting.services.clinic_settings import adopt
from fitting.services.steps import StepError
from fitting.views.days import served_today
from patients.access import requires
from patients.models import Clinic
from patients.roles import Action


@require_http_methods(["GET", "HEAD", "POST"])
@requires(Action.READ_CHECK)
def forecast_check(request):
    """Stored promises held against what happened, for the clinics one serves; no child is named."""
    served = Clinic.objects.served_by(request.user)
    if request.method == "POST" and (answer := _adopted(request, served)):
        return answer
    form = CheckFilterForm(request.GET, clinics=served)
    form.is_valid()
    chosen = form.cleaned_data.get("clinic")
    clinics, as_of = served_today(request.user, chosen)
    looked_at = [chosen] if chosen else clinics
    context = {
        "form": form,
        "clinics": clinics,
        "one": looked_at[0] if len(looked_at) == 1 else None,
        "as_of": as_of,
        "check": check_of(looked_at, as_of),
        "needed": NEEDED,
        "needed_differences": NEEDED_DIFFERENCES,
        "caution": wording.CAUTION,
    }
    return render(request, "fitting/forecast_check.html", context)


def _adopted(request, served):
    """Adopt one estimate and say what became of it; None when nothing that is on the page was sent."""
    if not request.user.may(Action.CHANGE_SETTINGS):
        raise PermissionDenied
    form = AdoptForm(request.POST, clinics=served)
    if not form.is_valid():
        messages.error(request, _("Choose a clinic and one of its estimates."))
        return None
    what = form.cleaned_data
    try:
        adopt(what["clinic"], what["setting"], what["shown"], by=request.user, now=timezone.now())
    except StepError as refused:
        messages.error(request, str(refused))
    else:
        messages.success(
            request, _("Adopted. Every limb of %(clinic)s was forecast anew.") % {"clinic": what["clinic"]}
        )
    return redirect(f"{reverse('forecast_check')}?clinic={what['clinic'].pk}")
