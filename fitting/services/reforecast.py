"""A whole registry promised anew after a change of method or settings, a chunk at a time."""

from collections.abc import Iterator
from datetime import datetime

from django.db import transaction

from fitting.inputs import basis_of, settings_of
from fitting.services.promises import repromise
from patients.models import Clinic, Limb

WHY = "reforecast"


def behind(clinic: Clinic):
    """Limbs of a clinic's active children whose newest promise rests on another method or other settings."""
    limbs = Limb.objects.of_active_children().filter(child__clinic=clinic)
    return limbs.exclude(current_forecast__forecast__basis=basis_of(settings_of(clinic))).order_by("pk")


def reforecast(clinic: Clinic, now: datetime, chunk: int) -> Iterator[int]:
    """Promise every limb that is behind anew, each chunk in one transaction; yields how many a chunk held.

    What a broken-off run had finished is no longer behind, so the next run goes on where it stopped. Earlier promises
    stay as they are.
    """
    while True:
        with transaction.atomic():
            limbs = list(behind(clinic).select_related("child__clinic")[:chunk])
            for limb in limbs:
                repromise(limb, as_of=clinic.day_of(now), why=WHY, now=now)
        if not limbs:
            return
        yield len(limbs)
