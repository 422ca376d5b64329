from django import forms
from django.utils.translation import gettext_lazy as _

from patients.models import Clinic


class CheckFilterForm(forms.Form):
    """Which clinic's promises are looked at. Sent in the address."""

    clinic = forms.ModelChoiceField(Clinic.objects.none(), label=_("Clinic"), required=False, empty_label=_("all"))

    def __init__(self, *args, clinics, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["clinic"].queryset = clinics


class AdoptForm(forms.Form):
    """One estimate to adopt, as it was shown."""

    clinic = forms.ModelChoiceField(Clinic.objects.none())
    setting = forms.CharField()
    shown = forms.FloatField()

    def __init__(self, *args, clinics, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["clinic"].queryset = clinics
