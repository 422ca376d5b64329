from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fitting import wording
from fitting.record import child_record
from patients.access import requires
from patients.models import Child
from patients.roles import Action


@require_safe
@requires(Action.READ_CASE)
def case(request, case_number):
    """One child's record: who, each limb with its present fit and forecast, growth, visits and appointments."""
    children = Child.objects.visible_to(request.user).select_related("clinic").prefetch_related("guardians")
    child = get_object_or_404(children, case_number=case_number)
    record = child_record(child, child.clinic.day_of(timezone.now()))
    context = {"record": record, "caution": wording.CAUTION, "stop_and_call": wording.STOP_AND_CALL}
    return render(request, "fitting/case.html", context)
