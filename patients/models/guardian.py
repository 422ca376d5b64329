from django.db import models
from django.utils.translation import gettext_lazy as _


class Guardian(models.Model):
    """Someone who answers for a child."""

    child = models.ForeignKey(
        "patients.Child", on_delete=models.PROTECT, related_name="guardians", verbose_name=_("child")
    )
    name = models.CharField(_("name"), max_length=120)
    relationship = models.CharField(_("relationship"), max_length=40)
    phone = models.CharField(_("phone"), max_length=40)
    has_legal_authority = models.BooleanField(_("has legal authority"), default=True)

    class Meta:
        verbose_name = _("guardian")
        verbose_name_plural = _("guardians")
        ordering = ["pk"]

    def __str__(self):
        return f"{self.name} ({self.relationship})"
