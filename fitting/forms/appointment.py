"""Booking, moving and closing an appointment. Times are the clinic's own."""

from datetime import UTC, datetime

from django import forms
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from fitting.models import Appointment
from patients.fields import DayField
from patients.models import Staff
from patients.roles import CLINICAL_READERS
from patients.versions import VersionedForm


def clinic_time(day, time, zone):
    """The moment [UTC] of a wall-clock time at a clinic, the earlier of two where a clock goes back; None if never."""
    moment = datetime.combine(day, time, tzinfo=zone).astimezone(UTC)
    shown = moment.astimezone(zone).replace(tzinfo=None)
    return moment if shown == datetime.combine(day, time) else None


class AppointmentForm(VersionedForm):
    """When, where and with whom a child is seen."""

    day = DayField(label=_("Day"))
    time = forms.TimeField(label=_("Time"), widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}))

    class Meta:
        model = Appointment
        fields = ["clinic", "day", "time", "minutes", "kind", "with_staff", "note"]
        widgets = {"minutes": forms.NumberInput(attrs={"inputmode": "numeric", "step": 5})}

    def __init__(self, *args, clinics, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.initial.update(self._wall_clock(self.instance))
        kept = Q(pk=self.instance.with_staff_id)  # whoever it is with stays on offer
        works_here = Q(is_active=True, clinics__in=clinics, roles_held__role__in=CLINICAL_READERS)
        self.fields["clinic"].queryset = clinics
        self.fields["with_staff"].queryset = Staff.objects.filter(kept | works_here).distinct()
        self.fields["with_staff"].empty_label = _("nobody named")

    def _wall_clock(self, row) -> dict:
        local = row.at.astimezone(row.clinic.zone)
        return {"day": local.date(), "time": local.time()}

    def values_of(self, row) -> dict:
        values = super().values_of(row)
        return {**values, **self._wall_clock(row)}

    def clean(self):
        cleaned = super().clean()
        if not {"day", "time", "clinic"} <= cleaned.keys():
            return cleaned
        at = clinic_time(cleaned["day"], cleaned["time"], cleaned["clinic"].zone)
        if at is None:
            self.add_error("time", _("The clock at the clinic skips this time on that day. Choose another."))
        else:
            self.instance.at = at
        return cleaned


class CloseForm(forms.Form):
    """Kept, missed or cancelled, of the version that was opened."""

    opened_version = forms.IntegerField(widget=forms.HiddenInput)
    status = forms.ChoiceField(
        choices=[choice for choice in Appointment.Status.choices if choice[0] != Appointment.Status.BOOKED]
    )
