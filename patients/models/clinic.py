import zoneinfo
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

from patients.managers import ClinicQuerySet


def validate_time_zone(name: str) -> None:
    if name not in zoneinfo.available_timezones():
        raise ValidationError(_("%(name)s is not a time zone name such as Europe/Madrid."), params={"name": name})


class Clinic(models.Model):
    """A place where children are seen."""

    class LengthUnit(models.TextChoices):
        MM = "mm", _("millimetres")
        CM = "cm", _("centimetres")
        IN = "in", _("inches")

    class WeightUnit(models.TextChoices):
        KG = "kg", _("kilograms")
        LB = "lb", _("pounds")

    class Paper(models.TextChoices):
        A4 = "A4", _("A4")
        LETTER = "Letter", _("Letter")

    name = models.CharField(_("name"), max_length=80, unique=True)
    time_zone = models.CharField(_("time zone"), max_length=50, default="UTC", validators=[validate_time_zone])
    length_unit = models.CharField(_("lengths shown in"), max_length=2, choices=LengthUnit, default=LengthUnit.MM)
    weight_unit = models.CharField(_("weights shown in"), max_length=2, choices=WeightUnit, default=WeightUnit.KG)
    paper = models.CharField(_("paper"), max_length=6, choices=Paper, default=Paper.A4)
    phone = models.CharField(_("phone"), max_length=40, help_text=_("Printed on every sheet."))
    out_of_hours_phone = models.CharField(
        _("out-of-hours phone"), max_length=40, help_text=_("Printed on every sheet, for nights and weekends.")
    )

    objects = ClinicQuerySet.as_manager()

    class Meta:
        verbose_name = _("clinic")
        verbose_name_plural = _("clinics")
        ordering = ["name"]

    def __str__(self):
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)

    def day_of(self, moment: datetime) -> date:
        """The day it is at the clinic at `moment`."""
        return moment.astimezone(self.zone).date()
