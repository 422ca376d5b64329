from django.db import models
from django.utils.translation import gettext_lazy as _

from fitting.managers import LimbRowQuerySet


class SleeveDesign(models.Model):
    """A design a child can choose."""

    name = models.CharField(_("name"), max_length=40, unique=True)
    magnets = models.PositiveSmallIntegerField(_("magnets"), default=4)

    class Meta:
        verbose_name = _("sleeve design")
        verbose_name_plural = _("sleeve designs")
        ordering = ["name"]

    def __str__(self):
        return self.name


class Sleeve(models.Model):
    """A cosmetic sleeve over a socket: length, girths, the socket versions it fits, its magnets."""

    limb = models.ForeignKey("patients.Limb", on_delete=models.PROTECT, related_name="sleeves", verbose_name=_("limb"))
    design = models.ForeignKey(SleeveDesign, on_delete=models.PROTECT, related_name="sleeves", verbose_name=_("design"))
    sockets = models.ManyToManyField("fitting.Socket", related_name="sleeves", verbose_name=_("fits socket versions"))
    length_mm = models.FloatField(_("length [mm]"))
    girth_proximal_mm = models.FloatField(_("girth at the elbow end [mm]"))
    girth_distal_mm = models.FloatField(_("girth at the wrist end [mm]"))
    magnets = models.PositiveSmallIntegerField(_("magnets counted"))
    made_on = models.DateField(_("made on"))
    retired_on = models.DateField(_("retired on"), null=True, blank=True)

    objects = LimbRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("sleeve")
        verbose_name_plural = _("sleeves")
        ordering = ["limb", "-made_on"]

    def __str__(self):
        return f"{self.design} {self.length_mm:g} mm"
