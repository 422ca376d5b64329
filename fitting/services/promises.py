"""Making a promise: every change that bears on a limb ends here."""

from datetime import date, datetime

from django.db import transaction

from fitting.calc.promise import promise
from fitting.inputs import limb_inputs
from fitting.models import CurrentForecast, Forecast
from fitting.promise_rows import row_of
from patients.models import Clinic, Limb, Staff


@transaction.atomic
def repromise(limb: Limb, as_of: date, why: str, now: datetime, by: Staff | None = None) -> Forecast:
    """Forecast a limb anew from its records and make that its current promise; earlier promises stay as they are."""
    inputs = limb_inputs(limb)
    made = promise(inputs.outlooks, inputs.socket, inputs.fit, inputs.facts, inputs.tolerances, as_of)
    forecast = Forecast.objects.create(
        limb=limb,
        socket=inputs.socket_row,
        visit=inputs.newest_visit,
        as_of=as_of,
        why=why,
        made_by=by,
        made_at=now,
        **row_of(made, inputs),
    )
    CurrentForecast.objects.update_or_create(limb=limb, defaults={"forecast": forecast})
    return forecast


def repromise_clinic(clinic: Clinic, as_of: date, why: str, now: datetime, by: Staff | None = None) -> int:
    """Forecast every limb of a clinic's active children anew; returns how many."""
    limbs = Limb.objects.of_active_children().filter(child__clinic=clinic).select_related("child__clinic")
    for limb in limbs:
        repromise(limb, as_of=as_of, why=why, now=now, by=by)
    return len(limbs)
