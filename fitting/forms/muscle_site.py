"""Entering a muscle site, new or found again."""

import uuid

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _
from PIL import Image

from fitting.forms.fields import LengthField
from fitting.models import MuscleSite, Visit
from fitting.services.muscle_sites import SiteIn
from patients.fields import DayField

# Outside these a typed length is a slip of unit or place; common practice.
MOST_DISTANCE_MM, LEAST_LENGTH_MM, MOST_LENGTH_MM = 500, 10, 450
LEAST_SPACING_MM, MOST_SPACING_MM = 5, 40
MOST_PHOTO_MB, MOST_PHOTO_PIXELS = 15, 60_000_000
FACTS = ("muscle", "landmark", "orientation", "electrode", "gain", "posture", "skin_preparation", "on", "note")


class MuscleSiteForm(forms.Form):
    """Where the electrode sits. limb: whose; today: the clinic's day; replaces: the site before."""

    muscle = forms.ChoiceField(label=_("Muscle"), choices=MuscleSite.Muscle)
    landmark = forms.ChoiceField(label=_("Measured from"), choices=MuscleSite.Landmark)
    distance_mm = LengthField(
        label=_("Distance from there"),
        least_mm=0,
        most_mm=MOST_DISTANCE_MM,
        help_text=_("To the middle of the electrode, along the skin."),
    )
    residual_length_mm = LengthField(
        label=_("Residual length today"),
        least_mm=LEAST_LENGTH_MM,
        most_mm=MOST_LENGTH_MM,
        required=False,
        help_text=_("Without it the place cannot be suggested again when the limb has grown."),
    )
    clock_hour = forms.FloatField(
        label=_("Clock position"),
        min_value=0.5,
        max_value=12,
        required=False,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "0.5"}),
        help_text=_(
            "Looking from the body to the end of the limb. 12 is the ridge of the ulna; above the elbow, the front."
        ),
    )
    spacing_mm = LengthField(
        label=_("Spacing of the electrode, centre to centre"),
        least_mm=LEAST_SPACING_MM,
        most_mm=MOST_SPACING_MM,
        unit="mm",
        help_text=_("20 mm as a rule; a child's forearm often needs 10 to 15 mm."),
    )
    orientation = forms.ChoiceField(label=_("Orientation"), choices=MuscleSite.Orientation)
    electrode = forms.CharField(label=_("Electrode, type and number"), max_length=80)
    gain = forms.CharField(label=_("Gain setting"), max_length=40, required=False)
    posture = forms.ChoiceField(label=_("Posture"), choices=Visit.Posture)
    skin_preparation = forms.ChoiceField(
        label=_("Skin preparation"), choices=MuscleSite.SkinPreparation, initial=MuscleSite.SkinPreparation.ALCOHOL
    )
    on = DayField(label=_("Date"))
    photo = forms.ImageField(
        label=_("Photo with the marks"), required=False, help_text=_("The limb only, never the face. Up to 15 MB.")
    )
    photo_agreed = forms.BooleanField(label=_("The family, and the child, agreed to this photo"), required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    why = forms.CharField(label=_("Why it changed"), max_length=300)
    submission = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args, limb, today, replaces=None, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        self.initial.setdefault("submission", uuid.uuid4())
        if replaces is None:
            del self.fields["why"]
        LengthField.read_in(self, limb.child.clinic.length_unit)

    def clean_on(self):
        if self.cleaned_data["on"] > self.today:
            raise ValidationError(_("This day is in the future."))
        return self.cleaned_data["on"]

    def clean_photo(self):
        photo = self.cleaned_data["photo"]
        if not photo:
            return None
        if photo.size > MOST_PHOTO_MB * 2**20:
            raise ValidationError(_("The photo is larger than %(most)d MB."), params={"most": MOST_PHOTO_MB})
        if photo.image.width * photo.image.height > MOST_PHOTO_PIXELS:
            raise ValidationError(_("The photo has too many pixels. Take it at a lower setting."))
        photo.seek(0)
        return Image.open(photo)

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("photo") and not cleaned.get("photo_agreed"):
            self.add_error(
                "photo_agreed", _("A photo is kept only if the family and the child agreed. Choose it again.")
            )
        distance_mm, length_mm = cleaned.get("distance_mm"), cleaned.get("residual_length_mm")
        if distance_mm and length_mm and distance_mm > 2 * length_mm:
            self.add_error("distance_mm", _("This is more than twice the residual length. Check the unit."))
        return cleaned

    @property
    def site(self) -> SiteIn:
        lengths = ("distance_mm", "residual_length_mm", "clock_hour", "spacing_mm")
        return SiteIn(**{name: self.cleaned_data[name] for name in (*FACTS, *lengths)})


def as_entered(site: MuscleSite) -> dict:
    """A site's facts as the start of a new entry; the day, photo and length are taken anew."""
    names = ("muscle", "landmark", "distance_mm", "clock_hour", "spacing_mm", "orientation")
    kept = ("electrode", "gain", "posture", "skin_preparation", "note")
    return {name: getattr(site, name) for name in (*names, *kept)}
