"""Form fields both apps use."""

from django import forms
from django.utils.translation import gettext_lazy as _


class DayField(forms.DateField):
    """A day, picked or typed with the browser's own control."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})


class CaseNumberField(forms.ModelChoiceField):
    """A child named by its case number, typed with or without the dash."""

    widget = forms.TextInput(attrs={"autocomplete": "off"})
    default_error_messages = {"invalid_choice": _("No child you may see has this case number.")}

    def __init__(self, queryset, **kwargs):
        super().__init__(queryset, to_field_name="case_number", **kwargs)

    def to_python(self, value):
        return super().to_python(value.replace("-", "").replace(" ", "").upper() if isinstance(value, str) else value)

    def prepare_value(self, value):
        child = self.queryset.filter(pk=value).first() if isinstance(value, int) else value
        return getattr(child, "shown_case_number", child)
