"""Adopting what a clinic's own record says of its error and wander. New numbers make new promises."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from fitting.check_rows import check_rows
from fitting.models import ClinicSettings
from fitting.proposals import proposals
from fitting.services.promises import repromise_clinic
from fitting.services.steps import StepError
from patients.models import Clinic, Staff


@transaction.atomic
def adopt(clinic: Clinic, setting: str, shown: float, by: Staff, now: datetime) -> ClinicSettings:
    """Set a clinic's lambda or TEM to its own estimate and forecast its limbs anew.

    shown: the estimate the person saw. Raises StepError when it is not on offer, or is another by now.
    """
    ClinicSettings.objects.get_or_create(clinic=clinic)
    settings = ClinicSettings.objects.select_for_update().get(clinic=clinic)
    offered = {p.setting: p.value for p in proposals(check_rows([clinic]), settings) if p.why_not is None}
    if offered.get(setting) != shown:
        raise StepError(_("The estimate has changed since this page was opened. Look again before adopting it."))
    setattr(settings, setting, shown)
    settings.full_clean()
    settings.save(update_fields=[setting])
    repromise_clinic(clinic, as_of=clinic.day_of(now), why="forecast check", by=by, now=now)
    return settings
