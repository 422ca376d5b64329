"""New limb of a child."""

from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from fitting.services.cases import enter_limb
from fitting.services.steps import StepError
from patients.access import requires
from patients.forms import LimbForm
from patients.models import Child, Limb
from patients.roles import Action


@requires(Action.EDIT_LIMB)
def limb_new(request, case_number):
    child = get_object_or_404(Child.objects.visible_to(request.user).select_related("clinic"), case_number=case_number)
    now = timezone.now()
    form = LimbForm(request.POST or None, child=child, today=child.clinic.day_of(now))
    if request.method == "POST" and form.is_valid():
        try:
            enter_limb(form.save(commit=False), by=request.user, now=now)
            return redirect("case", child.case_number)
        except StepError as refusal:
            form.add_error(refusal.field, str(refusal))
    both_entered = child.limbs.count() == len(Limb.Side.choices)
    return render(
        request, "fitting/limb.html", {"form": form, "forms": [form], "child": child, "both_entered": both_entered}
    )
