import uuid

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fitting.managers import ChildRowQuerySet


class VisitKind(models.TextChoices):
    ASSESSMENT = "assessment", _("assessment")
    FIRST_FITTING = "first_fitting", _("first fitting")
    REFIT = "refit", _("refit")
    FOLLOW_UP = "follow_up", _("follow-up")
    REMEASURE = "remeasure", _("remeasure")
    SLEEVE_CHANGE = "sleeve_change", _("sleeve change")
    REPAIR = "repair", _("repair")
    TRAINING = "training", _("training")


class Visit(models.Model):
    """One occasion on which a child was measured and looked at."""

    class Covering(models.TextChoices):
        BARE = "bare", _("bare skin")
        SOCK = "sock", _("over a sock")

    class Posture(models.TextChoices):
        SEATED_ELBOW_90 = "seated_elbow_90", _("seated, shoulder relaxed, elbow at 90°")
        SEATED_ARM_HANGING = "seated_arm_hanging", _("seated, arm hanging")
        STANDING = "standing", _("standing")
        LYING = "lying", _("lying")

    class Instrument(models.TextChoices):
        TAPE_1MM = "tape_1mm", _("tape, 1 mm marks")
        TAPE_5MM = "tape_5mm", _("tape, 5 mm marks")
        CALIPER = "caliper", _("sliding caliper")
        SCAN = "scan", _("surface scan")

    child = models.ForeignKey(
        "patients.Child", on_delete=models.PROTECT, related_name="visits", verbose_name=_("child")
    )
    at = models.DateTimeField(_("date and time"))
    kind = models.CharField(_("kind of visit"), max_length=16, choices=VisitKind, default=VisitKind.REMEASURE)
    covering = models.CharField(_("measured on"), max_length=4, choices=Covering, default=Covering.BARE)
    minutes_since_doffing = models.PositiveSmallIntegerField(
        _("minutes since the socket came off"), null=True, blank=True
    )
    posture = models.CharField(_("posture"), max_length=20, choices=Posture, default=Posture.SEATED_ELBOW_90)
    instrument = models.CharField(_("instrument"), max_length=10, choices=Instrument, default=Instrument.TAPE_1MM)
    observer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="visits_observed", verbose_name=_("observer")
    )
    note = models.TextField(_("note"), blank=True)
    alerts = models.JSONField(default=list, editable=False)
    submission = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    recorded_at = models.DateTimeField(editable=False)

    objects = ChildRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("visit")
        verbose_name_plural = _("visits")
        ordering = ["-at"]
        indexes = [models.Index(fields=["child", "at"], name="visit_child_at")]

    def __str__(self):
        return f"{self.child.shown_case_number} {self.at:%Y-%m-%d}"
