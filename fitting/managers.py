"""The words querysets are asked in, for what is made and when."""

from django.db import models

from patients.models import Child, Limb
from patients.roles import CLINICAL_READERS


class ChildRowQuerySet(models.QuerySet):
    """Rows that belong to a child."""

    def visible_to(self, user):
        return self.filter(child__in=Child.objects.visible_to(user))


class ClinicRowQuerySet(models.QuerySet):
    """Rows that belong to a clinic, for whoever reads clinical pages there."""

    def visible_to(self, user):
        if not user.is_active or not user.holds_any(CLINICAL_READERS):
            return self.none()
        return self.filter(clinic__staff=user)


class LimbRowQuerySet(models.QuerySet):
    """Rows that belong to a limb."""

    def visible_to(self, user):
        return self.filter(limb__in=Limb.objects.visible_to(user))


class StandingLimbRowQuerySet(LimbRowQuerySet):
    """Rows of a limb that later rows supersede."""

    def current(self):
        return self.filter(superseded_by__isnull=True)


class MuscleRecordingQuerySet(StandingLimbRowQuerySet):
    def unfinished(self):
        return self.filter(state__in=self.model.UNFINISHED)


class ReadingQuerySet(models.QuerySet):
    def visible_to(self, user):
        return self.filter(visit__child__in=Child.objects.visible_to(user))

    def current(self):
        """Readings that no correction has superseded."""
        return self.filter(superseded_by__isnull=True)


class SocketQuerySet(LimbRowQuerySet):
    def in_use(self):
        return self.filter(fitted_on__isnull=False, retired_on__isnull=True)


class AppointmentQuerySet(ChildRowQuerySet):
    def on_day(self, day):
        return self.filter(at__date=day)

    def booked(self):
        return self.filter(status=self.model.Status.BOOKED)
