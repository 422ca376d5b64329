from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from fitting.managers import ReadingQuerySet


class Reading(models.Model):
    """One measured value: evidence with an error. A correction is a new row that supersedes this one and says why."""

    class Measure(models.TextChoices):
        STATURE = "stature", _("height, standing")
        SITTING_HEIGHT = "sitting_height", _("sitting height")
        WEIGHT = "weight", _("weight")
        GIRTH = "girth", _("girth of the residual limb")
        RESIDUAL_LENGTH = "residual_length", _("residual length, to the soft-tissue end")
        RESIDUAL_LENGTH_BONY = "residual_length_bony", _("residual length, to the bony end")
        WIDTH_ML = "width_ml", _("width, side to side")
        WIDTH_AP = "width_ap", _("depth, front to back")
        SOUND_GIRTH = "sound_girth", _("girth of the sound side")
        SOUND_FOREARM_LENGTH = "sound_forearm_length", _("sound forearm length, elbow to wrist")
        SOUND_UPPER_ARM_LENGTH = "sound_upper_arm_length", _("sound upper-arm length, shoulder to elbow")
        SOUND_ELBOW_THUMB_LENGTH = "sound_elbow_thumb_length", _("sound elbow to thumb tip")
        SOUND_HAND_LENGTH = "sound_hand_length", _("sound hand length")
        SOUND_FOREARM_GIRTH = "sound_forearm_girth", _("sound forearm girth, largest")
        SOUND_UPPER_ARM_GIRTH = "sound_upper_arm_girth", _("sound mid-upper-arm girth")
        SOUND_WRIST_GIRTH = "sound_wrist_girth", _("sound wrist girth")

    BODY_MEASURES = frozenset({Measure.STATURE, Measure.SITTING_HEIGHT, Measure.WEIGHT})
    STATION_MEASURES = frozenset({Measure.GIRTH, Measure.SOUND_GIRTH})
    GIRTH_MEASURES = frozenset(
        {
            Measure.GIRTH,
            Measure.SOUND_GIRTH,
            Measure.SOUND_FOREARM_GIRTH,
            Measure.SOUND_UPPER_ARM_GIRTH,
            Measure.SOUND_WRIST_GIRTH,
        }
    )

    visit = models.ForeignKey(
        "fitting.Visit", on_delete=models.PROTECT, related_name="readings", verbose_name=_("visit")
    )
    limb = models.ForeignKey(
        "patients.Limb",
        on_delete=models.PROTECT,
        related_name="readings",
        null=True,
        blank=True,
        verbose_name=_("limb"),
    )
    measure = models.CharField(_("measure"), max_length=26, choices=Measure)
    landmark = models.CharField(_("from"), max_length=30, blank=True)
    station_mm = models.FloatField(_("distance from the landmark [mm]"), null=True, blank=True)
    value = models.FloatField(_("value [mm or kg]"))
    takes = models.JSONField(_("takes [mm or kg]"), default=list)
    typed = models.JSONField(_("as typed"), default=list)
    alerts = models.JSONField(_("alerts answered"), default=list)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="superseded_by", null=True, blank=True, editable=False
    )
    why = models.CharField(_("why corrected"), max_length=300, blank=True)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", verbose_name=_("recorded by")
    )
    recorded_at = models.DateTimeField(_("recorded at"), editable=False)

    objects = ReadingQuerySet.as_manager()

    class Meta:
        verbose_name = _("reading")
        verbose_name_plural = _("readings")
        ordering = ["visit", "measure", "station_mm"]
        constraints = [
            models.CheckConstraint(condition=Q(value__gt=0), name="reading_is_positive"),
            models.CheckConstraint(condition=Q(supersedes__isnull=True) | ~Q(why=""), name="correction_says_why"),
            models.UniqueConstraint(
                "visit",
                Coalesce("limb", 0),
                "measure",
                "landmark",
                Coalesce("station_mm", -1.0),
                condition=Q(supersedes__isnull=True),
                name="one_first_reading_a_place",
            ),
        ]

    def __str__(self):
        return f"{self.get_measure_display()} {self.value:g}"

    @property
    def is_girth(self) -> bool:
        return self.measure in self.GIRTH_MEASURES
