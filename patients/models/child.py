from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from patients.managers import ChildQuerySet

LIVEBORN_WEEKS_MIN, TERM_WEEKS = (
    22,
    37,
)  # gestation that counts as early: 22 to 36 completed weeks (WHO wording, from memory)


class Child(models.Model):
    """A child of the program."""

    class GrowthReference(models.TextChoices):
        GIRLS = "F", _("girls")
        BOYS = "M", _("boys")

    class Status(models.TextChoices):
        ACTIVE = "active", _("active")
        PAUSED = "paused", _("paused")
        HANDED_OVER = "handed_over", _("handed over")

    class Implant(models.TextChoices):
        UNKNOWN = "unknown", _("not asked yet")
        NONE = "none", _("none")
        CHILD = "child", _("child")
        HOUSEHOLD = "household", _("someone in the household")
        BOTH = "both", _("child and someone in the household")

    case_serial = models.PositiveIntegerField(unique=True, editable=False)
    case_number = models.CharField(_("case number"), max_length=12, unique=True, editable=False)
    clinic = models.ForeignKey(
        "patients.Clinic", on_delete=models.PROTECT, related_name="children", verbose_name=_("clinic")
    )
    given_name = models.CharField(_("given name"), max_length=80)
    family_name = models.CharField(_("family name"), max_length=80)
    birth_date = models.DateField(_("birth date"))
    gestation_weeks = models.PositiveSmallIntegerField(
        _("weeks of gestation, if born early"),
        null=True,
        blank=True,
        validators=[MinValueValidator(LIVEBORN_WEEKS_MIN), MaxValueValidator(TERM_WEEKS - 1)],
        help_text=_("Only when below 37 weeks: growth is then read at the corrected age until 24 months."),
    )
    growth_reference = models.CharField(_("growth reference"), max_length=1, choices=GrowthReference)
    language = models.CharField(
        _("family's language"), max_length=10, choices=[("en", _("English")), ("es", _("Spanish"))], default="en"
    )
    travel_minutes = models.PositiveSmallIntegerField(
        _("way to the clinic and back [minutes]"), null=True, blank=True, validators=[MaxValueValidator(1440)]
    )
    sibling_of = models.ForeignKey(
        "self", on_delete=models.SET_NULL, related_name="siblings", null=True, blank=True, verbose_name=_("sibling of")
    )
    mother_stature_mm = models.FloatField(_("mother's height"), null=True, blank=True)
    father_stature_mm = models.FloatField(_("father's height"), null=True, blank=True)
    implant = models.CharField(
        _("implant (pacemaker, cochlear implant, shunt, pump)"), max_length=10, choices=Implant, default=Implant.UNKNOWN
    )
    allergies = models.TextField(_("allergies"), blank=True)
    status = models.CharField(_("status"), max_length=12, choices=Status, default=Status.ACTIVE)
    version = models.PositiveIntegerField(default=1, editable=False)

    objects = ChildQuerySet.as_manager()

    class Meta:
        verbose_name = _("child")
        verbose_name_plural = _("children")
        ordering = ["family_name", "given_name"]
        indexes = [models.Index(fields=["clinic", "status"], name="child_clinic_status")]

    def __str__(self):
        return f"{self.given_name} {self.family_name}"

    @property
    def household(self) -> int:
        """The same for siblings: the key of the one they are entered as siblings of."""
        return self.sibling_of_id or self.pk

    @property
    def shown_case_number(self) -> str:
        return f"{self.case_number[:-1]}-{self.case_number[-1]}"
