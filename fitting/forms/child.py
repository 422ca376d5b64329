"""A child with the parents' heights, which may be typed in any unit."""

from django.utils.translation import gettext_lazy as _

from fitting.forms.fields import LengthField
from patients.forms import ChildForm

PARENT_MIN_MM, PARENT_MAX_MM = 1200, 2300  # common practice
CLINICAL_FIELDS = ("birth_date", "gestation_weeks", "growth_reference", "implant", "allergies")


class CaseForm(ChildForm):
    mother_stature_mm = LengthField(
        label=_("Mother's height"), least_mm=PARENT_MIN_MM, most_mm=PARENT_MAX_MM, required=False
    )
    father_stature_mm = LengthField(
        label=_("Father's height"), least_mm=PARENT_MIN_MM, most_mm=PARENT_MAX_MM, required=False
    )

    class Meta(ChildForm.Meta):
        fields = [*ChildForm.Meta.fields, "mother_stature_mm", "father_stature_mm"]

    def __init__(self, *args, clinics, clinical: bool = True, **kwargs):
        """clinical: whether the person may change what the forecast and the cautions rest on."""
        super().__init__(*args, clinics=clinics, **kwargs)
        clinic = self.instance.clinic if self.instance.pk else clinics.first()
        LengthField.read_in(self, clinic.length_unit if clinic else "cm")
        for name in () if clinical else CLINICAL_FIELDS:
            self.fields[name].disabled = True
            self.fields[name].help_text = _("A prosthetist changes this.")
