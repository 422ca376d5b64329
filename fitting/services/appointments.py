"""Booking, moving and closing appointments."""

from django.db import transaction

from fitting.models import Appointment
from patients.services import save_versioned


@transaction.atomic
def book(appointment: Appointment) -> Appointment:
    appointment.save()
    return appointment


def change(appointment: Appointment, opened_version: int) -> Appointment:
    """Store a moved or closed appointment unless somebody changed it since it was opened."""
    return save_versioned(appointment, opened_version)
