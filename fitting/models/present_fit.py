from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from fitting.managers import LimbRowQuerySet

PAIN_SCALE_MAX = 10  # numeric rating scale 0 to 10, common practice


class PresentFit(models.Model):
    """How the socket in use fits on the day of a visit. Comes before any date."""

    class Donning(models.TextChoices):
        FULL = "full", _("goes on fully")
        NOT_FULL = "not_full", _("does not go on fully")

    class Marks(models.TextChoices):
        NONE = "none", _("no marks")
        CLEAR = "clear", _("marks that clear")
        STAY = "stay", _("marks that stay")

    class Hold(models.TextChoices):
        GOOD = "good", _("holds well")
        TIGHT = "tight", _("tight")
        LOOSE = "loose", _("loose")
        SLIPPING = "slipping", _("slips off on a pull")

    visit = models.ForeignKey(
        "fitting.Visit", on_delete=models.PROTECT, related_name="present_fits", verbose_name=_("visit")
    )
    limb = models.ForeignKey(
        "patients.Limb", on_delete=models.PROTECT, related_name="present_fits", verbose_name=_("limb")
    )
    socket = models.ForeignKey(
        "fitting.Socket", on_delete=models.PROTECT, related_name="present_fits", verbose_name=_("socket")
    )
    donning = models.CharField(_("donning"), max_length=8, choices=Donning, default=Donning.FULL)
    marks = models.CharField(_("marks on the skin"), max_length=5, choices=Marks, default=Marks.NONE)
    minutes_to_clear = models.PositiveSmallIntegerField(_("minutes until marks clear"), null=True, blank=True)
    open_skin = models.BooleanField(_("open skin or blister"), default=False)
    numb_or_cold = models.BooleanField(_("numb, cold or blue"), default=False)
    pain = models.PositiveSmallIntegerField(
        _("pain, 0 to 10"), default=0, validators=[MaxValueValidator(PAIN_SCALE_MAX)]
    )
    hold = models.CharField(_("hold"), max_length=8, choices=Hold, default=Hold.GOOD)
    end_contact = models.BooleanField(_("the end of the limb touches the socket"), default=False)
    end_gap_mm = models.FloatField(_("end gap [mm]"), null=True, blank=True)
    brim_moved_mm = models.FloatField(_("brim landmark has moved by [mm]"), null=True, blank=True)
    wear_hours_per_day = models.FloatField(_("hours worn a day"), null=True, blank=True)
    overgrowth_signs = models.BooleanField(_("pointed end, thin shiny skin, or a tender bony tip"), default=False)
    supersedes = models.OneToOneField(
        "self", on_delete=models.PROTECT, related_name="superseded_by", null=True, blank=True, editable=False
    )
    why = models.CharField(_("why corrected"), max_length=300, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(editable=False)

    objects = LimbRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("present fit")
        verbose_name_plural = _("present fits")
        ordering = ["-visit__at"]

    def __str__(self):
        return f"{self.limb}: {self.get_hold_display()}"
