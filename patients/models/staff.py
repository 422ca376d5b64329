from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from patients.managers import StaffManager
from patients.roles import ROLES_FOR, Action, Role


class Staff(AbstractUser):
    """A member of staff: the user model. What one may do follows from the roles held and the clinics served."""

    clinics = models.ManyToManyField(
        "patients.Clinic", related_name="staff", blank=True, verbose_name=_("clinics served")
    )

    objects = StaffManager()

    class Meta:
        verbose_name = _("staff member")
        verbose_name_plural = _("staff")
        ordering = ["last_name", "first_name"]

    def __str__(self):
        return self.get_full_name() or self.username

    @cached_property
    def roles(self) -> frozenset[str]:
        return frozenset(self.roles_held.values_list("role", flat=True))

    def holds_any(self, roles) -> bool:
        return not self.roles.isdisjoint(roles)

    def may(self, action: Action) -> bool:
        return self.is_active and self.holds_any(ROLES_FOR[action])


class RoleHeld(models.Model):
    staff = models.ForeignKey(
        Staff, on_delete=models.CASCADE, related_name="roles_held", verbose_name=_("staff member")
    )
    role = models.CharField(_("role"), max_length=20, choices=Role)

    class Meta:
        verbose_name = _("role held")
        verbose_name_plural = _("roles held")
        constraints = [models.UniqueConstraint(fields=["staff", "role"], name="role_held_once")]

    def __str__(self):
        return f"{self.staff}: {self.get_role_display()}"
