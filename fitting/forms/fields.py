"""Form fields for lengths: typed in any unit, kept in millimetres."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.formats import number_format
from django.utils.translation import gettext_lazy as _

from fitting.quantities import MM, UnreadableQuantity, in_unit, parse_length_mm

ENTRY_DECIMALS = {"mm": 1, "cm": 2, "in": 3}  # a stored length shown for editing comes back as the same tenth of a mm


def entry_text(length_mm: float, unit: str) -> str:
    """A length as it stands in a field, such as "19.65 cm": finer than for reading, so saving does not round it."""
    return f"{number_format(f'{round(in_unit(length_mm, MM, unit), ENTRY_DECIMALS[unit]):g}')} {unit}"


class LengthField(forms.CharField):
    """A length such as "7 1/2 in", "19,0 cm" or a bare number in `unit`; its value is millimetres.

    least_mm, most_mm: what is possible here [mm]; unit: of a bare number, the clinic's unless the form says otherwise.
    """

    def __init__(self, *, least_mm: float, most_mm: float, unit: str | None = None, **kwargs):
        super().__init__(**kwargs)
        self.least_mm, self.most_mm = least_mm, most_mm
        self.own_unit, self.unit = unit, unit or "mm"
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    @staticmethod
    def read_in(form, unit: str) -> None:
        """Read bare numbers of a form's lengths in a unit, and show stored ones in it."""
        for field in form.fields.values():
            if isinstance(field, LengthField):
                field.unit = field.own_unit or unit

    def prepare_value(self, value):
        return entry_text(value, self.unit) if isinstance(value, int | float) else value

    def clean(self, value):
        text = super().clean(value)
        if not text:
            return None
        try:
            length_mm = round(parse_length_mm(text, self.unit), 2)
        except UnreadableQuantity as error:
            raise ValidationError(str(error)) from error
        if not self.least_mm <= length_mm <= self.most_mm:
            limits = {"least": entry_text(self.least_mm, self.unit), "most": entry_text(self.most_mm, self.unit)}
            raise ValidationError(_("This must be from %(least)s to %(most)s. Check the unit."), params=limits)
        return length_mm

    def has_changed(self, initial, data):
        return (self.prepare_value(initial) or "") != (data or "")
