from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from fitting.managers import LimbRowQuerySet


class Forecast(models.Model):
    """A promise: what was forecast for a limb, from what, and what to do next. Never edited."""

    class State(models.TextChoices):
        FIT_PROBLEM = "fit_problem", _("fit problem now")
        NO_SOCKET = "no_socket", _("no socket")
        MATURING = "maturing", _("maturing")
        NO_REFERENCE = "no_reference", _("no growth reference at this age")
        DATED = "dated", _("dated")
        MAY_NOT_OUTGROW = "may_not_outgrow", _("may not outgrow")

    class NextAction(models.TextChoices):
        FIT_PROBLEM = "fit_problem", _("see the child about the fit now")
        SURGEON = "surgeon", _("show the limb to the surgeon this week")
        REMEASURE = "remeasure", _("remeasure")
        LAYER_OUT = "layer_out", _("take a layer out")
        START_REFIT = "start_refit", _("start the refit: measure and order")
        LENGTHEN = "lengthen", _("longer sleeve or extension")
        MAKE_SOCKET = "make_socket", _("make a socket")

    limb = models.ForeignKey(
        "patients.Limb", on_delete=models.PROTECT, related_name="forecasts", verbose_name=_("limb")
    )
    socket = models.ForeignKey(
        "fitting.Socket", on_delete=models.PROTECT, related_name="forecasts", null=True, blank=True
    )
    visit = models.ForeignKey(
        "fitting.Visit", on_delete=models.PROTECT, related_name="forecasts", null=True, blank=True
    )
    as_of = models.DateField(_("as of"))
    why = models.CharField(_("why made"), max_length=200)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    made_at = models.DateTimeField(_("made at"))
    method = models.CharField(_("method"), max_length=60)
    basis = models.CharField(_("method and settings"), max_length=12, blank=True, db_index=True)
    references = models.JSONField(_("references"), default=list)
    inputs = models.JSONField(_("inputs"), default=dict)

    state = models.CharField(_("state"), max_length=16, choices=State)
    early = models.DateField(_("early"), null=True, blank=True)
    likely = models.DateField(_("likely"), null=True, blank=True)
    late = models.DateField(_("late"), null=True, blank=True)
    limiting = models.CharField(_("limiting measure"), max_length=40, blank=True)
    layer_on = models.DateField(_("layer out by"), null=True, blank=True)
    length_on = models.DateField(_("longer sleeve by"), null=True, blank=True)
    fitted_by = models.DateField(_("fitted by"), null=True, blank=True)
    start_refit_by = models.DateField(_("start the refit by"), null=True, blank=True)
    check_on = models.DateField(_("check on"), null=True, blank=True)
    remeasure_by = models.DateField(_("remeasure by"), null=True, blank=True)
    next_action = models.CharField(_("next action"), max_length=16, choices=NextAction)
    act_on = models.DateField(_("act on"))
    room = models.JSONField(_("room left"), default=list)
    fan = models.JSONField(_("forecast fan"), default=dict)
    notes = models.JSONField(_("notes"), default=list)
    bands = models.JSONField(_("what later readings are expected to be"), default=list)
    drivers = models.JSONField(_("what drove it"), default=dict)
    sharper = models.JSONField(_("what would sharpen it"), default=dict)

    objects = LimbRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("forecast")
        verbose_name_plural = _("forecasts")
        ordering = ["-made_at"]

    def __str__(self):
        return f"{self.limb} {self.as_of}"


class CurrentForecast(models.Model):
    """Points from a limb to its newest promise: `limb.current_forecast.forecast`."""

    limb = models.OneToOneField("patients.Limb", on_delete=models.CASCADE, related_name="current_forecast")
    forecast = models.OneToOneField(Forecast, on_delete=models.PROTECT, related_name="current_for")

    class Meta:
        verbose_name = _("current forecast")
        verbose_name_plural = _("current forecasts")

    def __str__(self):
        return str(self.forecast)
