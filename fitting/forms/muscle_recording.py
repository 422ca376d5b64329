"""Sending a recording, and reading a kept one again under other assumptions."""

import uuid

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from fitting.models import MuscleRecording, MuscleSite
from fitting.quantities import format_length
from fitting.recording_cues import CueTextError, parse_cues
from fitting.recording_files import MOST_BYTES
from fitting.services.muscle_recordings import RecordingIn
from fitting.wording import day_words
from patients.fields import DayField


class _SiteChoice(forms.ModelChoiceField):
    """Sites told apart by their distance where one muscle has two."""

    def label_from_instance(self, site):
        words = {"muscle": site, "distance": format_length(site.distance_mm, "mm"), "day": day_words(site.on)}
        return _("%(muscle)s, %(distance)s, of %(day)s") % words


class ReadingForm(forms.Form):
    """What is said about a recording's file."""

    site = _SiteChoice(label=_("Muscle of the first channel"), queryset=MuscleSite.objects.none(), empty_label=None)
    second_site = _SiteChoice(
        label=_("Muscle of the second channel"),
        queryset=MuscleSite.objects.none(),
        required=False,
        empty_label=_("there is none"),
    )
    on = DayField(label=_("Recorded on"))
    time_unit = forms.ChoiceField(label=_("Time is in"), choices=MuscleRecording.TimeUnit)
    unit = forms.ChoiceField(label=_("The signal is in"), choices=MuscleRecording.Unit, initial=MuscleRecording.Unit.MV)
    mv_per_count = forms.FloatField(
        label=_("Millivolts a converter step"),
        min_value=1e-9,
        max_value=1000,
        required=False,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
        help_text=_("Only for converter steps. Without it, levels stay in steps."),
    )
    cues_text = forms.CharField(
        label=_("Cues"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 6, "spellcheck": "false", "autocapitalize": "off"}),
        help_text=_(
            "One a line, in the seconds of the time column: rest 0-10, light 10-13, medium 16-19, hard 22-25. A 2 "
            "after the level is for the second muscle: hard 2 30-33. Leave it empty when the file has a cue column."
        ),
    )
    visual_feedback = forms.BooleanField(label=_("The child saw the signal while flexing"), required=False)
    note = forms.CharField(label=_("Note"), max_length=300, required=False)
    submission = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args, limb, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.today = today
        self.initial.setdefault("submission", uuid.uuid4())
        for name in ("site", "second_site"):
            self.fields[name].queryset = MuscleSite.objects.current().filter(limb=limb)

    def clean_on(self):
        if self.cleaned_data["on"] > self.today:
            raise ValidationError(_("This day is in the future."))
        return self.cleaned_data["on"]

    def clean_cues_text(self):
        try:
            self.cues = parse_cues(self.cleaned_data["cues_text"])
        except CueTextError as error:
            raise ValidationError(str(error)) from error
        return self.cleaned_data["cues_text"]

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("second_site") and cleaned["second_site"] == cleaned.get("site"):
            self.add_error("second_site", _("Both channels cannot be on the same site."))
        return cleaned

    @property
    def said(self) -> RecordingIn:
        names = ("site", "second_site", "on", "time_unit", "unit", "mv_per_count", "visual_feedback", "note")
        return RecordingIn(**{name: self.cleaned_data[name] for name in names}, cues=self.cues)


class RecordingForm(ReadingForm):
    """The file itself and what is said about it."""

    file = forms.FileField(
        label=_("File of the recording"),
        help_text=_("Text (CSV): time, then one or two channels, then perhaps cues. Up to 10 minutes and 64 MB."),
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,text/csv,text/plain"}),
    )
    field_order = ["file"]

    def clean_file(self):
        if self.cleaned_data["file"].size > MOST_BYTES:
            raise ValidationError(_("The file is larger than %(most)d MB."), params={"most": MOST_BYTES // 2**20})
        return self.cleaned_data["file"]
