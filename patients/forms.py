"""Entering and changing a child, the family and a limb."""

from datetime import date

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from patients.fields import CaseNumberField, DayField
from patients.look_alikes import look_alikes
from patients.models import Child, Guardian, Limb
from patients.versions import Difference, VersionedForm

ADULT_AT = 21  # years; the oldest a child of the program is, common practice
MOST_GUARDIANS = 6


def years_before(day: date, years: int) -> date:
    """The same day of the calendar some years earlier; 1 March stands in for a 29 February that is missing."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return date(day.year - years, 3, 1)


class ChildForm(VersionedForm):
    """A child. `different_child` answers the question whether a child of similar name is another one."""

    birth_date = DayField(label=_("Birth date"))
    sibling_of = CaseNumberField(
        Child.objects.none(),
        label=_("Case number of a brother or sister"),
        required=False,
        help_text=_("Siblings are planned onto one day."),
    )
    different_child = forms.BooleanField(label=_("This is a different child"), required=False)

    class Meta:
        model = Child
        fields = [
            "clinic",
            "given_name",
            "family_name",
            "birth_date",
            "gestation_weeks",
            "growth_reference",
            "language",
            "travel_minutes",
            "sibling_of",
            "implant",
            "allergies",
            "status",
        ]
        widgets = {
            "growth_reference": forms.RadioSelect,
            "gestation_weeks": forms.NumberInput(attrs={"inputmode": "numeric"}),
            "allergies": forms.Textarea(attrs={"rows": 2}),
            "travel_minutes": forms.NumberInput(attrs={"inputmode": "numeric"}),
        }
        help_texts = {
            "growth_reference": _("Whose growth tables the forecast reads for this child."),
            "implant": _("Magnets can disturb an implant: ask about the child and everyone at home."),
        }

    def __init__(self, *args, clinics, now, first_record_on=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.now, self.first_record_on, self.look_alikes = now, first_record_on, []
        self.fields["clinic"].queryset = clinics
        self.fields["sibling_of"].queryset = Child.objects.filter(clinic__in=clinics)
        self.fields["growth_reference"].choices = Child.GrowthReference.choices
        if not self.instance.pk:
            del self.fields["status"]
            if len(clinics) == 1:
                self.initial.setdefault("clinic", clinics[0].pk)

    def clean(self):
        cleaned = super().clean()
        clinic, birth_date = cleaned.get("clinic"), cleaned.get("birth_date")
        if clinic and birth_date:
            self._check_birth_date(birth_date, clinic.day_of(self.now))
            self._check_look_alikes(clinic, birth_date)
        return cleaned

    def clean_sibling_of(self):
        """The child a household is named by: siblings of siblings lead to the same one."""
        named = self.cleaned_data["sibling_of"]
        sibling = named and (named.sibling_of or named)
        if sibling and sibling.pk == self.instance.pk:
            raise ValidationError(_("This is the child itself, or one entered as its sibling already."))
        if sibling and self.instance.pk and self.instance.siblings.exists():
            raise ValidationError(_("Other children are entered as siblings of this one: enter it there instead."))
        return sibling

    def _check_birth_date(self, birth_date, today):
        if birth_date > today:
            self.add_error("birth_date", _("The birth date is in the future."))
        elif birth_date <= years_before(today, ADULT_AT):
            self.add_error("birth_date", _("This is a record for children: the birth date must be under 21 years ago."))
        elif self.first_record_on and birth_date > self.first_record_on:
            self.add_error("birth_date", _("The record has entries from before this birth date."))

    def _check_look_alikes(self, clinic, birth_date):
        if self.instance.pk:
            return
        name = f"{self.cleaned_data.get('given_name', '')} {self.cleaned_data.get('family_name', '')}"
        self.look_alikes = look_alikes(clinic, birth_date, name)
        if self.look_alikes and not self.cleaned_data.get("different_child"):
            self.add_error("different_child", _("Open the record above, or say that this is a different child."))


class GuardianForm(forms.ModelForm):
    guardian = forms.IntegerField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Guardian
        fields = ["name", "relationship", "phone", "has_legal_authority"]
        widgets = {"phone": forms.TextInput(attrs={"type": "tel", "inputmode": "tel"})}
        help_texts = {"relationship": _("Such as mother, grandfather, foster parent.")}


class FamilyFormSet(forms.BaseFormSet):
    default_error_messages = {"too_few_forms": _("A child needs at least one guardian.")}

    def add_fields(self, form, index):
        super().add_fields(form, index)
        if self.can_delete:
            form.fields["DELETE"].label = _("Remove this guardian")


def guardian_formset(data=None, guardians=()):
    """Rows for a family: those known, then one empty row; the first is required."""
    factory = forms.formset_factory(
        GuardianForm,
        formset=FamilyFormSet,
        min_num=1,
        validate_min=True,
        max_num=MOST_GUARDIANS,
        extra=1,
        can_delete=bool(guardians),
    )
    initial = [{"guardian": g.pk, **{name: getattr(g, name) for name in GuardianForm.Meta.fields}} for g in guardians]
    return factory(data, prefix="guardians", initial=initial)


def guardians_in(formset) -> list[Guardian]:
    """The guardians of a valid formset, without removed and empty rows, each with the key it was opened with."""
    kept = [form for form in formset.forms if form.has_changed() or form.initial]
    kept = [form for form in kept if form.cleaned_data and not form.cleaned_data.get("DELETE")]
    for form in kept:
        form.instance.pk = form.cleaned_data["guardian"]
    return [form.instance for form in kept]


def guardian_differences(formset, family) -> list[Difference]:
    """Where the family as typed differs from the family as it is stored, one line a guardian."""
    stored = {guardian.pk: _in_words(guardian) for guardian in family}
    pairs = [(_in_words(guardian), stored.pop(guardian.pk, "")) for guardian in guardians_in(formset)]
    pairs += [("", words) for words in stored.values()]
    nothing = gettext("nothing")
    return [Difference(gettext("Guardian"), a or nothing, b or nothing) for a, b in pairs if a != b]


def _in_words(guardian) -> str:
    authority = gettext("with legal authority") if guardian.has_legal_authority else gettext("no legal authority")
    return f"{guardian.name}, {guardian.relationship}, {guardian.phone}, {authority}"


class LimbForm(forms.ModelForm):
    """A limb of a child; only the sides not entered yet are offered."""

    acquired_on = DayField(label=_("Acquired on"), required=False, help_text=_("Only for an acquired difference."))

    class Meta:
        model = Limb
        fields = [
            "side",
            "level",
            "cause",
            "cause_note",
            "acquired_on",
            "proximal_plate_lost",
            "distal_plate_lost",
            "bulbous_end",
        ]
        widgets = {"side": forms.RadioSelect, "cause": forms.RadioSelect}
        help_texts = {
            "proximal_plate_lost": _("The growth plate nearer the shoulder."),
            "distal_plate_lost": _("The growth plate nearer the hand; an amputation through the bone takes it away."),
        }

    def __init__(self, *args, child, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.child, self.today = child, today
        taken = set(child.limbs.values_list("side", flat=True))
        self.fields["side"].choices = [choice for choice in Limb.Side.choices if choice[0] not in taken]
        self.fields["cause"].choices = Limb.Cause.choices
        self.instance.child = child

    def clean_acquired_on(self):
        day = self.cleaned_data["acquired_on"]
        if day and day < self.child.birth_date:
            raise ValidationError(_("This is before the child was born."))
        if day and day > self.today:
            raise ValidationError(_("This is in the future."))
        return day

    def clean(self):
        cleaned = super().clean()
        acquired = cleaned.get("cause") == Limb.Cause.ACQUIRED
        if acquired and not cleaned.get("acquired_on") and "acquired_on" not in self.errors:
            self.add_error("acquired_on", _("Say when it was acquired."))
        if cleaned.get("cause") and not acquired and cleaned.get("acquired_on"):
            self.add_error(
                "acquired_on", _("A difference present at birth has no date. Empty this, or choose “acquired”.")
            )
        return cleaned
