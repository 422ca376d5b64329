"""Opening and changing a clinic day; asking for a plan."""

from django import forms
from django.utils.translation import gettext_lazy as _

from fitting.models import ClinicDay
from patients.fields import DayField
from patients.models import Clinic, Staff
from patients.roles import ROLES_FOR, Action
from patients.versions import VersionedForm

LONGEST_HORIZON_DAYS = 365
SEES_CHILDREN = ROLES_FOR[Action.RECORD_VISIT]


class ClinicDayForm(VersionedForm):
    """A day of one clinic: how long, in how many rooms, who works, which interpreter comes."""

    on = DayField(label=_("Day"))

    class Meta:
        model = ClinicDay
        fields = ["on", "opens_at", "minutes", "rooms", "staff", "interpreter"]
        widgets = {
            "opens_at": forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
            "minutes": forms.NumberInput(attrs={"inputmode": "numeric", "step": 15}),
            "rooms": forms.NumberInput(attrs={"inputmode": "numeric"}),
            "staff": forms.CheckboxSelectMultiple,
        }
        help_texts = {"staff": _("Where nobody is named, the rooms alone say how much fits.")}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        works_here = Staff.objects.filter(clinics=self.instance.clinic, is_active=True)
        self.fields["staff"].queryset = works_here.filter(roles_held__role__in=SEES_CHILDREN).distinct()
        self.fields["interpreter"].choices = [("", _("nobody")), *self.fields["interpreter"].choices[1:]]
        if self.instance.pk:
            del self.fields["on"]  # a day is not moved: another is opened

    def values_of(self, row) -> dict:
        return {name: value for name, value in super().values_of(row).items() if name != "staff"}


class PlanForm(forms.Form):
    """Which clinic, and how far ahead."""

    clinic = forms.ModelChoiceField(Clinic.objects.none(), label=_("Clinic"), empty_label=None)
    horizon_days = forms.IntegerField(
        label=_("Refits that start within so many days"),
        min_value=7,
        max_value=LONGEST_HORIZON_DAYS,
        initial=90,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )

    def __init__(self, *args, clinics, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["clinic"].queryset = clinics
