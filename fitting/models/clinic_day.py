from datetime import time

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from fitting.managers import ClinicRowQuerySet
from fitting.models.visit import VisitKind

# How long a visit takes where the clinic has not said otherwise [min]; common practice.
USUAL_MINUTES = {
    VisitKind.ASSESSMENT: 60,
    VisitKind.FIRST_FITTING: 90,
    VisitKind.REFIT: 60,
    VisitKind.FOLLOW_UP: 30,
    VisitKind.REMEASURE: 45,
    VisitKind.SLEEVE_CHANGE: 30,
    VisitKind.REPAIR: 30,
    VisitKind.TRAINING: 60,
}


class ClinicDay(models.Model):
    """A day on which a clinic sees children. A day without a row is closed."""

    clinic = models.ForeignKey(
        "patients.Clinic", on_delete=models.PROTECT, related_name="clinic_days", verbose_name=_("clinic")
    )
    on = models.DateField(_("day"))
    opens_at = models.TimeField(_("opens at"), default=time(9))
    minutes = models.PositiveSmallIntegerField(
        _("minutes open"), default=360, validators=[MinValueValidator(15), MaxValueValidator(720)]
    )
    rooms = models.PositiveSmallIntegerField(
        _("rooms"), default=1, validators=[MinValueValidator(1), MaxValueValidator(20)]
    )
    staff = models.ManyToManyField(
        settings.AUTH_USER_MODEL, related_name="clinic_days", blank=True, verbose_name=_("who works")
    )
    interpreter = models.CharField(_("interpreter for"), max_length=10, choices=settings.LANGUAGES, blank=True)
    version = models.PositiveIntegerField(default=1, editable=False)

    objects = ClinicRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("clinic day")
        verbose_name_plural = _("clinic days")
        ordering = ["on", "clinic"]
        constraints = [models.UniqueConstraint(fields=["clinic", "on"], name="one_clinic_day_a_date")]

    def __str__(self):
        return f"{self.clinic} {self.on:%Y-%m-%d}"


class Absence(models.Model):
    """Days on which a member of staff is away, the last one included."""

    staff = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="absences", verbose_name=_("staff member")
    )
    first_on = models.DateField(_("first day away"))
    last_on = models.DateField(_("last day away"))

    class Meta:
        verbose_name = _("absence")
        verbose_name_plural = _("absences")
        ordering = ["first_on"]
        constraints = [
            models.CheckConstraint(condition=Q(last_on__gte=F("first_on")), name="absence_ends_after_it_begins")
        ]

    def __str__(self):
        return f"{self.staff} {self.first_on:%Y-%m-%d} – {self.last_on:%Y-%m-%d}"


class VisitLength(models.Model):
    """How long a kind of visit takes at a clinic; without a row it takes the usual minutes."""

    clinic = models.ForeignKey(
        "patients.Clinic", on_delete=models.CASCADE, related_name="visit_lengths", verbose_name=_("clinic")
    )
    kind = models.CharField(_("kind of visit"), max_length=16, choices=VisitKind)
    minutes = models.PositiveSmallIntegerField(_("minutes"), validators=[MinValueValidator(5), MaxValueValidator(480)])

    class Meta:
        verbose_name = _("length of a visit")
        verbose_name_plural = _("lengths of visits")
        ordering = ["clinic", "kind"]
        constraints = [models.UniqueConstraint(fields=["clinic", "kind"], name="one_length_a_kind")]

    def __str__(self):
        return f"{self.get_kind_display()}: {self.minutes}"


def usual_minutes(clinic, kind: str) -> int:
    """Minutes a kind of visit takes at a clinic."""
    set_here = VisitLength.objects.filter(clinic=clinic, kind=kind).values_list("minutes", flat=True).first()
    return set_here or USUAL_MINUTES[kind]
