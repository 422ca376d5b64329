from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fitting.managers import SocketQuerySet


class Socket(models.Model):
    """One version of a limb's socket, made from one visit's measurements."""

    class WhyRetired(models.TextChoices):
        OUTGROWN_GIRTH = "outgrown_girth", _("outgrown in girth")
        OUTGROWN_LENGTH = "outgrown_length", _("outgrown in length")
        SKIN = "skin", _("skin or pain")
        LOOSE = "loose", _("too loose")
        BROKEN = "broken", _("broken")
        CHANGED_DESIGN = "changed_design", _("change of design")
        NOT_WORN = "not_worn", _("no longer worn")

    limb = models.ForeignKey("patients.Limb", on_delete=models.PROTECT, related_name="sockets", verbose_name=_("limb"))
    version = models.PositiveSmallIntegerField(_("version"))
    visit = models.ForeignKey(
        "fitting.Visit", on_delete=models.PROTECT, related_name="sockets", verbose_name=_("made from the visit of")
    )
    allowance_mm = models.FloatField(_("girth allowance [mm]"), validators=[MinValueValidator(0)])
    end_gap_mm = models.FloatField(_("end gap [mm]"), validators=[MinValueValidator(0)])
    forearm_length_mm = models.FloatField(_("forearm length, elbow to wrist [mm]"), null=True, blank=True)
    trim_note = models.CharField(_("trim lines"), max_length=200, blank=True)
    made_on = models.DateField(_("made on"))
    fitted_on = models.DateField(_("fitted on"), null=True, blank=True)
    retired_on = models.DateField(_("retired on"), null=True, blank=True)
    why_retired = models.CharField(_("why retired"), max_length=16, choices=WhyRetired, blank=True)
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField(editable=False)

    objects = SocketQuerySet.as_manager()

    class Meta:
        verbose_name = _("socket")
        verbose_name_plural = _("sockets")
        ordering = ["limb", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["limb", "version"], name="socket_version_once"),
            models.CheckConstraint(condition=Q(retired_on__isnull=True) | ~Q(why_retired=""), name="retired_says_why"),
        ]

    def __str__(self):
        return f"{self.limb} v{self.version}"


class SocketStation(models.Model):
    """The socket's inner girth at one station with every layer in, and the limb's girth it was made from."""

    socket = models.ForeignKey(Socket, on_delete=models.PROTECT, related_name="stations", verbose_name=_("socket"))
    landmark = models.CharField(_("from"), max_length=30)
    station_mm = models.FloatField(_("distance from the landmark [mm]"))
    girth_at_cast_mm = models.FloatField(_("girth of the limb at cast [mm]"))
    design_girth_mm = models.FloatField(_("design girth [mm]"))

    class Meta:
        verbose_name = _("socket station")
        verbose_name_plural = _("socket stations")
        ordering = ["socket", "station_mm"]
        constraints = [models.UniqueConstraint(fields=["socket", "landmark", "station_mm"], name="socket_station_once")]

    def __str__(self):
        return f"{self.station_mm:g} mm"


class Layer(models.Model):
    """A removable inner layer. Taking it out makes room; the limb then sinks, so the end gap is read again."""

    socket = models.ForeignKey(Socket, on_delete=models.PROTECT, related_name="layers", verbose_name=_("socket"))
    number = models.PositiveSmallIntegerField(_("number, innermost first"))
    thickness_mm = models.FloatField(_("thickness [mm]"), validators=[MinValueValidator(0.1)])
    out_on = models.DateField(_("taken out on"), null=True, blank=True)
    end_gap_after_mm = models.FloatField(_("end gap after [mm]"), null=True, blank=True)
    out_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        verbose_name = _("removable layer")
        verbose_name_plural = _("removable layers")
        ordering = ["socket", "number"]
        constraints = [
            models.UniqueConstraint(fields=["socket", "number"], name="layer_number_once"),
            models.CheckConstraint(
                condition=Q(out_on__isnull=True) | Q(end_gap_after_mm__isnull=False), name="layer_out_says_end_gap"
            ),
        ]

    def __str__(self):
        return f"{self.number}: {self.thickness_mm:g} mm"
