"""The day it is for the person who asks. Only views ask the clock."""

from datetime import date

from django.utils import timezone

from patients.models import Clinic


def served_today(user, chosen: Clinic | None = None) -> tuple[list[Clinic], date]:
    """The clinics a user serves, and the day it is at the chosen one, or else at the first."""
    clinics = list(Clinic.objects.served_by(user))
    now = timezone.now()
    clinic = chosen or (clinics[0] if clinics else None)
    return clinics, clinic.day_of(now) if clinic else now.date()
