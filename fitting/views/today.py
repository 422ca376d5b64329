from datetime import datetime, time, timedelta

from django.db.models import Prefetch, Q
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fitting import wording
from fitting.due import DueState, conditions, due_limbs
from fitting.models import Appointment
from fitting.views.days import served_today
from fitting.views.due_list import row_of
from patients.access import requires
from patients.models import Limb
from patients.roles import Action

MOST_PRESSING = 12  # rows shown; the due list has the rest


def appointments_of_day(user, clinics):
    """This day's appointments at each clinic, the day being the clinic's own."""
    days = Q(pk__in=[])
    for clinic in clinics:
        start = datetime.combine(clinic.day_of(timezone.now()), time(), tzinfo=clinic.zone)
        days |= Q(clinic=clinic, at__gte=start, at__lt=start + timedelta(days=1))
    limbs = Limb.objects.select_related("current_forecast__forecast").order_by("side")
    return (
        Appointment.objects.visible_to(user)
        .filter(days)
        .exclude(status=Appointment.Status.CANCELLED)
        .select_related("child__clinic", "clinic", "with_staff")
        .prefetch_related(Prefetch("child__limbs", limbs))
        .order_by("clinic__name", "at", "pk")
    )


@require_safe
@requires(Action.READ_CASE)
def today(request):
    """This day's appointments at the clinics served, and what cannot wait."""
    clinics, as_of = served_today(request.user)
    met = conditions(as_of)
    pressing = due_limbs(request.user, as_of).filter(met[DueState.FIT_PROBLEM] | met[DueState.OVERDUE])
    first = list(pressing[: MOST_PRESSING + 1])
    context = {
        "as_of": as_of,
        "clinics": clinics,
        "appointments": appointments_of_day(request.user, clinics),
        "rows": [row_of(limb, as_of) for limb in first[:MOST_PRESSING]],
        "more": len(first) > MOST_PRESSING,
        "caution": wording.CAUTION,
    }
    return render(request, "fitting/today.html", context)
