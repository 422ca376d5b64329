from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _


def positive(default: float, label, maximum: float = 1000):
    return models.FloatField(label, default=default, validators=[MinValueValidator(0), MaxValueValidator(maximum)])


def days(default: int, label):
    return models.PositiveSmallIntegerField(label, default=default, validators=[MaxValueValidator(3650)])


class ClinicSettings(models.Model):
    """The numbers a clinic may adjust, with the defaults of `fitting.calc`; common practice unless said there."""

    class Bands(models.TextChoices):
        CLASSIC = "classic", _("classic (very short, short, long)")
        TEACHING = "teaching", _("teaching notes (short, medium, long)")

    clinic = models.OneToOneField(
        "patients.Clinic", on_delete=models.CASCADE, related_name="settings", verbose_name=_("clinic")
    )
    girth_tolerance_percent = positive(3, _("girth tolerance beyond capacity [%]"), 20)
    girth_tolerance_mm = positive(4, _("girth tolerance beyond capacity [mm]"), 50)
    end_gap_min_mm = positive(2, _("smallest end gap [mm]"), 30)
    brim_moved_mm = positive(10, _("brim landmark moved [mm]"), 50)
    length_excess_mm = positive(10, _("sound forearm beyond the prosthesis [mm]"), 100)
    length_excess_percent = positive(5, _("sound forearm beyond the prosthesis [%]"), 50)
    buffer_days = days(7, _("buffer before the early date [days]"))
    lead_time_days = days(28, _("lead time from measuring to fitting [days]"))
    check_lead_days = days(14, _("check before the start of a refit [days]"))
    remeasure_days_young = days(90, _("remeasure after, under five and in the spurt [days]"))
    remeasure_days = days(180, _("remeasure after, otherwise [days]"))
    maturing_months = models.PositiveSmallIntegerField(_("acquired limb is maturing for [months]"), default=18)
    mark_limit_minutes = models.PositiveSmallIntegerField(_("marks must clear within [minutes]"), default=20)
    tem_stature_mm = positive(5, _("TEM of height [mm]"), 100)
    tem_girth_mm = positive(2, _("TEM of girths [mm]"), 100)
    tem_length_mm = positive(3, _("TEM of lengths [mm]"), 100)
    tem_weight_kg = positive(0.2, _("TEM of weight [kg]"), 20)
    lambda_stature = positive(1.15, _("wander of height, multiple"), 5)
    lambda_length = positive(1.15, _("wander of lengths, multiple"), 5)
    lambda_girth = positive(1.0, _("wander of girths, multiple"), 5)
    allowance_mm = positive(6, _("usual girth allowance of a new socket [mm]"), 50)
    level_bands = models.CharField(_("names of length levels"), max_length=8, choices=Bands, default=Bands.CLASSIC)

    class Meta:
        verbose_name = _("clinic settings")
        verbose_name_plural = _("clinic settings")

    def __str__(self):
        return str(self.clinic)
