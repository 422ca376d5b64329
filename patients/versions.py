"""A row opened by two people at once: the later save is refused and both versions are laid side by side."""

from dataclasses import dataclass
from datetime import date, time

from django import forms
from django.utils.formats import date_format, time_format
from django.utils.translation import gettext as _


@dataclass(frozen=True)
class Difference:
    """One field in which what was typed differs from what somebody else saved meanwhile."""

    label: str
    typed: str
    saved: str


class VersionedForm(forms.ModelForm):
    """A form that carries the version of its row as it was opened; a new row has none."""

    opened_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if self.instance.pk:
            self.initial.setdefault("opened_version", self.instance.version)
        else:
            del self.fields["opened_version"]

    def values_of(self, row) -> dict:
        """What each field of this form would hold for `row`."""
        return {name: getattr(row, name) for name in self.fields if hasattr(row, name)}

    def reopen_at(self, current) -> list[Difference]:
        """Keep what was typed, carry the version of `current` from now on, and say where the two differ."""
        self.data = self.data.copy()
        self.data[self.add_prefix("opened_version")] = str(current.version)
        return differences(self, self.values_of(current))


def differences(form, saved: dict) -> list[Difference]:
    """Fields of a bound, valid form whose value is not the saved one, as people read them."""
    rows = []
    for name, value in saved.items():
        typed, kept = (shown(form.fields[name], v) for v in (form.cleaned_data.get(name), value))
        if typed != kept:
            rows.append(Difference(str(form.fields[name].label), typed, kept))
    return rows


def shown(field, value) -> str:
    """A field's value in words."""
    if value in (None, ""):
        return _("nothing")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, date):
        return date_format(value)
    if isinstance(value, time):
        return time_format(value)
    if isinstance(field, forms.TypedChoiceField):
        return str(dict(field.choices).get(value, value))
    return str(field.prepare_value(value)) if not hasattr(value, "_meta") else str(value)
