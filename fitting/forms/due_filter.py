from django import forms
from django.utils.translation import gettext_lazy as _

from fitting.due import FILTERS, due_limbs, in_state
from patients.models import Child, Clinic, Staff
from patients.roles import Role


class DueFilterForm(forms.Form):
    """What the due list is narrowed to. Sent in the address, so that it can be kept."""

    q = forms.CharField(
        label=_("Name or case number"), required=False, widget=forms.SearchInput(attrs={"autocomplete": "off"})
    )
    clinic = forms.ModelChoiceField(Clinic.objects.none(), label=_("Clinic"), required=False, empty_label=_("all"))
    prosthetist = forms.ModelChoiceField(
        Staff.objects.none(), label=_("Prosthetist (last seen by)"), required=False, empty_label=_("anyone")
    )
    state = forms.ChoiceField(
        choices=[("", ""), *((state.value, state.label) for state in FILTERS)], required=False, widget=forms.HiddenInput
    )

    def __init__(self, *args, user, **kwargs):
        super().__init__(*args, **kwargs)
        self.user = user
        self.fields["clinic"].queryset = Clinic.objects.served_by(user)
        self.fields["prosthetist"].queryset = (
            Staff.objects.filter(roles_held__role=Role.PROSTHETIST, visits_observed__child__clinic__staff=user)
            .distinct()
            .order_by("last_name")
        )

    def narrowed(self, as_of):
        """Limbs by everything asked but the state."""
        asked = self.cleaned_data
        limbs = due_limbs(self.user, as_of)
        if asked.get("clinic"):
            limbs = limbs.filter(child__clinic=asked["clinic"])
        if asked.get("prosthetist"):
            limbs = limbs.filter(observer_id=asked["prosthetist"].pk)
        return limbs.filter(child__in=Child.objects.matching(asked["q"])) if asked.get("q") else limbs

    def limbs(self, narrowed, as_of):
        state = self.cleaned_data.get("state")
        return in_state(narrowed, state, as_of) if state else narrowed
