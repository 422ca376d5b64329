"""Form fields both apps use."""

from django import forms


class DayField(forms.DateField):
    """A day, picked or typed with the browser's own control."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
