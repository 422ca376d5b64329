"""What happens when a child or a limb is entered or changed."""

from django.db import transaction
from django.db.models import Max

from patients.case_numbers import case_number_of
from patients.models import Child, Clinic, Guardian, Limb

GUARDIAN_FACTS = ("name", "relationship", "phone", "has_legal_authority")


class StaleVersionError(Exception):
    """Somebody saved this row after it was opened; `current` is what it holds now."""

    def __init__(self, current):
        super().__init__("Somebody else changed this record after you opened it.")
        self.current = current


@transaction.atomic
def accept_child(child: Child, guardians: list[Guardian]) -> Child:
    """Give an unsaved child its case number and store it with its guardians."""
    Clinic.objects.select_for_update().order_by("pk").first()  # the gate: one acceptance at a time draws a number
    last = Child.objects.aggregate(last=Max("case_serial"))["last"] or 0
    child.case_serial = last + 1
    child.case_number = case_number_of(child.case_serial)
    child.save()
    for guardian in guardians:
        guardian.child = child
        guardian.save()
    return child


@transaction.atomic
def save_versioned(row, opened_version: int):
    """Store `row` unless somebody saved it since `opened_version`; raises StaleVersionError with the row as it is."""
    current = type(row).objects.select_for_update().get(pk=row.pk)
    if current.version != opened_version:
        raise StaleVersionError(current)
    row.version = opened_version + 1
    row.save()
    return row


@transaction.atomic
def change_child(child: Child, opened_version: int, guardians: list[Guardian]) -> Child:
    """Store a changed child with the family as it now is; raises StaleVersionError like `save_versioned`.

    guardians: those known carry their key; a key that is not one of the child's makes a new one; those left out go.
    """
    save_versioned(child, opened_version)
    known = {guardian.pk: guardian for guardian in child.guardians.all()}
    for guardian in guardians:
        row = known.pop(guardian.pk, None) or Guardian(child=child)
        for name in GUARDIAN_FACTS:
            setattr(row, name, getattr(guardian, name))
        row.save()
    for removed in known.values():
        removed.delete()
    return child


def add_limb(limb: Limb) -> Limb:
    limb.save()
    return limb
