from django.db import models
from django.db.models import Q
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from patients.managers import LimbQuerySet


class Limb(models.Model):
    """A limb with a difference: the child's own side, the level in the words of ISO 8549-4, the cause."""

    class Side(models.TextChoices):
        RIGHT = "right", _("right")
        LEFT = "left", _("left")

    class Level(models.TextChoices):
        PARTIAL_HAND = "partial_hand", _("partial hand")
        WRIST_DISARTICULATION = "wrist_disarticulation", _("wrist disarticulation")
        TRANSRADIAL = "transradial", _("transradial")
        ELBOW_DISARTICULATION = "elbow_disarticulation", _("elbow disarticulation")
        TRANSHUMERAL = "transhumeral", _("transhumeral")
        SHOULDER_DISARTICULATION = "shoulder_disarticulation", _("shoulder disarticulation")
        SCAPULOTHORACIC = "scapulothoracic", _("scapulothoracic")

    class Cause(models.TextChoices):
        TRANSVERSE = "transverse", _("present at birth, transverse")
        LONGITUDINAL = "longitudinal", _("present at birth, longitudinal")
        ACQUIRED = "acquired", _("acquired")

    child = models.ForeignKey("patients.Child", on_delete=models.PROTECT, related_name="limbs", verbose_name=_("child"))
    side = models.CharField(_("side (the child's own)"), max_length=5, choices=Side)
    level = models.CharField(_("level"), max_length=30, choices=Level)
    cause = models.CharField(_("cause"), max_length=12, choices=Cause)
    cause_note = models.CharField(
        _("where it ends, or which bones"),
        max_length=200,
        blank=True,
        help_text=_(
            "Transverse: the segment and third where the limb ends. Longitudinal: bones affected, total or partial."
        ),
    )
    acquired_on = models.DateField(_("acquired on"), null=True, blank=True)
    proximal_plate_lost = models.BooleanField(_("proximal growth plate of the last bone is gone"), default=False)
    distal_plate_lost = models.BooleanField(_("distal growth plate of the last bone is gone"), default=False)
    bulbous_end = models.BooleanField(_("bulbous end"), default=False)

    objects = LimbQuerySet.as_manager()

    class Meta:
        verbose_name = _("limb")
        verbose_name_plural = _("limbs")
        ordering = ["child", "side"]
        constraints = [
            models.UniqueConstraint(fields=["child", "side"], name="one_limb_a_side"),
            models.CheckConstraint(
                condition=~Q(cause="acquired") | Q(acquired_on__isnull=False), name="acquired_limb_has_a_date"
            ),
        ]

    def __str__(self):
        return gettext("%(side)s %(level)s") % {"side": self.get_side_display(), "level": self.get_level_display()}
