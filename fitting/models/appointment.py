from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from fitting.managers import AppointmentQuerySet
from fitting.models.visit import VisitKind


class Appointment(models.Model):
    """A booked time at a clinic."""

    class Status(models.TextChoices):
        BOOKED = "booked", _("booked")
        FULFILLED = "fulfilled", _("kept")
        CANCELLED = "cancelled", _("cancelled")
        NOSHOW = "noshow", _("missed")

    child = models.ForeignKey(
        "patients.Child", on_delete=models.PROTECT, related_name="appointments", verbose_name=_("child")
    )
    clinic = models.ForeignKey(
        "patients.Clinic", on_delete=models.PROTECT, related_name="appointments", verbose_name=_("clinic")
    )
    at = models.DateTimeField(_("date and time"))
    minutes = models.PositiveSmallIntegerField(
        _("minutes"), default=45, validators=[MinValueValidator(5), MaxValueValidator(480)]
    )
    kind = models.CharField(_("kind of visit"), max_length=16, choices=VisitKind, default=VisitKind.REMEASURE)
    with_staff = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        related_name="appointments",
        null=True,
        blank=True,
        verbose_name=_("with"),
    )
    status = models.CharField(_("status"), max_length=10, choices=Status, default=Status.BOOKED)
    note = models.CharField(_("note"), max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    objects = AppointmentQuerySet.as_manager()

    class Meta:
        verbose_name = _("appointment")
        verbose_name_plural = _("appointments")
        ordering = ["at"]
        indexes = [models.Index(fields=["clinic", "at"], name="appointment_clinic_at")]

    def __str__(self):
        return f"{self.child.shown_case_number} {self.at:%Y-%m-%d %H:%M}"
