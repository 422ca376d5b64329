"""The words querysets are asked in. Every page starts at `visible_to(user)`."""

from django.contrib.auth.models import UserManager
from django.db import models
from django.db.models import Q, Value
from django.db.models.functions import Concat

from patients.roles import CLINICAL_READERS, Role


class ClinicQuerySet(models.QuerySet):
    def served_by(self, user):
        return self.filter(staff=user)


class ChildQuerySet(models.QuerySet):
    def visible_to(self, user):
        """Children of the clinics `user` serves, if one of the roles `user` holds reads clinical pages."""
        if not user.is_active or not user.holds_any(CLINICAL_READERS):
            return self.none()
        return self.filter(clinic__staff=user)

    def active(self):
        return self.filter(status=self.model.Status.ACTIVE)

    def matching(self, text):
        """Children whose names or case number hold `text`."""
        text = text.strip()
        if not text:
            return self
        bare_number = text.replace("-", "").replace(" ", "")
        return self.annotate(full_name=Concat("given_name", Value(" "), "family_name")).filter(
            Q(full_name__icontains=text) | Q(case_number__istartswith=bare_number)
        )


class LimbQuerySet(models.QuerySet):
    def visible_to(self, user):
        if not user.is_active or not user.holds_any(CLINICAL_READERS):
            return self.none()
        return self.filter(child__clinic__staff=user)

    def of_active_children(self):
        return self.filter(child__status="active")


class StaffManager(UserManager):
    """Sign-in names are not e-mail addresses, so names alone make a staff member."""

    def create_superuser(self, username, email=None, password=None, **fields):
        """The first member of staff, made at the command line: an administrator, who then enters the others."""
        staff = super().create_superuser(username, email, password, **fields)
        staff.roles_held.create(role=Role.ADMINISTRATOR)
        return staff
