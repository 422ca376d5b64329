"""Changing what a promise rests on: a child's facts, a limb."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from fitting.services.promises import repromise
from fitting.services.steps import StepError
from patients import services
from patients.models import Child, Guardian, Limb, Staff

# What the forecast reads of a child; the clinic brings its settings.
GROWTH_FACTS = frozenset(
    {"clinic", "birth_date", "gestation_weeks", "growth_reference", "mother_stature_mm", "father_stature_mm"}
)


@transaction.atomic
def change_child(child: Child, opened_version: int, guardians: list[Guardian], changed, by: Staff, now: datetime):
    """Store a changed child; when a fact the forecast reads is among the `changed` fields, forecast the limbs anew.

    Raises StaleVersionError when somebody saved the child since `opened_version`.
    """
    services.change_child(child, opened_version, guardians)
    if GROWTH_FACTS.intersection(changed):
        for limb in child.limbs.all():
            repromise(limb, as_of=child.clinic.day_of(now), why="correction", by=by, now=now)
    return child


@transaction.atomic
def enter_limb(limb: Limb, by: Staff, now: datetime) -> Limb:
    """Store a limb and its first promise; raises StepError when the side was entered meanwhile."""
    Child.objects.select_for_update().get(pk=limb.child_id)
    if Limb.objects.filter(child=limb.child, side=limb.side).exists():
        raise StepError(_("This side is entered already."), "side")
    services.add_limb(limb)
    repromise(limb, as_of=limb.child.clinic.day_of(now), why="limb entered", by=by, now=now)
    return limb
