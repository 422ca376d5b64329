from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fitting.managers import ClinicRowQuerySet, LimbRowQuerySet
from fitting.models.visit import VisitKind


class PlanProposal(models.Model):
    """A proposed plan of one clinic: which day for each refit that is due. Nothing is booked until it is accepted."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting for the worker")
        READING = "reading", _("reading who is due")
        PLANNING = "planning", _("trying days")
        DONE = "done", _("done")
        DIED = "died", _("stopped by an error")

    UNFINISHED = frozenset({State.WAITING, State.READING, State.PLANNING})

    clinic = models.ForeignKey(
        "patients.Clinic", on_delete=models.PROTECT, related_name="plan_proposals", verbose_name=_("clinic")
    )
    as_of = models.DateField(_("as of"))
    horizon_days = models.PositiveSmallIntegerField(_("days ahead"), default=90)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    asked_at = models.DateTimeField(editable=False)
    state = models.CharField(_("state"), max_length=10, choices=State, default=State.WAITING)
    touched_at = models.DateTimeField(editable=False)
    cost = models.FloatField(_("cost [child-weeks]"), null=True)
    bound = models.FloatField(_("least cost possible [child-weeks]"), null=True)
    greedy_cost = models.FloatField(_("cost of booking by due date [child-weeks]"), null=True)
    unplaced = models.JSONField(_("without a day"), default=list)
    openings = models.JSONField(_("days to open"), default=list)

    objects = ClinicRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("proposed plan")
        verbose_name_plural = _("proposed plans")
        ordering = ["-asked_at"]

    def __str__(self):
        return f"{self.clinic} {self.as_of:%Y-%m-%d}"


class ProposedBooking(models.Model):
    """One refit of a proposed plan: its day, why that day, and the booking it became once accepted."""

    proposal = models.ForeignKey(PlanProposal, on_delete=models.CASCADE, related_name="bookings")
    limb = models.ForeignKey("patients.Limb", on_delete=models.PROTECT, related_name="proposed_bookings")
    day = models.ForeignKey("fitting.ClinicDay", on_delete=models.SET_NULL, related_name="proposed_bookings", null=True)
    on = models.DateField(_("day"))
    minutes = models.PositiveSmallIntegerField(_("minutes"))
    kind = models.CharField(_("kind of visit"), max_length=16, choices=VisitKind)
    with_staff = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    chance = models.FloatField(_("chance of being outgrown by then"))
    child_weeks = models.FloatField(_("expected weeks worn outgrown"))
    why = models.JSONField(_("why"), default=list)
    instead_of = models.DateField(_("better day that is full"), null=True)
    stands = models.ForeignKey(
        "fitting.Appointment", on_delete=models.SET_NULL, related_name="planned_around", null=True
    )
    accepted = models.OneToOneField(
        "fitting.Appointment", on_delete=models.SET_NULL, related_name="proposed_as", null=True
    )

    objects = LimbRowQuerySet.as_manager()

    class Meta:
        verbose_name = _("proposed booking")
        verbose_name_plural = _("proposed bookings")
        ordering = ["on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(stands__isnull=True) | Q(accepted__isnull=True),
                name="a_booking_that_stands_is_not_accepted",
            )
        ]

    def __str__(self):
        return f"{self.limb} {self.on:%Y-%m-%d}"
