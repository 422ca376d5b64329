"""The facts of a visit, and how the socket in use fits on that day."""

from uuid import uuid4

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from fitting.alert_words import SENTENCES
from fitting.calc.plausibility import date_alerts
from fitting.calc.present_fit import overgrowth_possible
from fitting.forms.fields import LengthField
from fitting.models import PresentFit, Visit
from fitting.models.visit import VisitKind
from fitting.services.visits import FitIn, VisitIn
from patients.models import Staff
from patients.roles import ROLES_FOR, Action

END_GAP_MOST_MM, BRIM_MOST_MM, HOURS_MOST = 60, 100, 24
MINUTES_MOST = 24 * 60  # a socket that came off longer ago than a day no longer shapes the limb, common practice
AT_FORMAT = "%Y-%m-%dT%H:%M"
NUMERIC = {"inputmode": "numeric", "autocomplete": "off"}


class VisitForm(forms.Form):
    """When and how the child was measured. Date and time are the clinic's own."""

    kind = forms.ChoiceField(label=_("Kind of visit"), choices=VisitKind)
    at = forms.DateTimeField(
        label=_("Date and time"),
        input_formats=[AT_FORMAT, "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
        widget=forms.DateTimeInput(format=AT_FORMAT, attrs={"type": "datetime-local"}),
    )
    observer = forms.ModelChoiceField(label=_("Measured by"), queryset=Staff.objects.none(), empty_label=None)
    covering = forms.ChoiceField(label=_("Measured on"), choices=Visit.Covering)
    posture = forms.ChoiceField(label=_("Posture"), choices=Visit.Posture)
    instrument = forms.ChoiceField(label=_("Instrument"), choices=Visit.Instrument)
    minutes_since_doffing = forms.IntegerField(
        label=_("Minutes since the socket came off"),
        required=False,
        min_value=0,
        max_value=MINUTES_MOST,
        widget=forms.TextInput(attrs=NUMERIC),
    )
    note = forms.CharField(label=_("Note"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))
    submission = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, data, *, child, by, now, kind):
        local_now = now.astimezone(child.clinic.zone).replace(tzinfo=None)
        usual = {"kind": kind, "at": local_now, "submission": uuid4(), "observer": by}
        for name in ("covering", "posture", "instrument"):
            usual[name] = Visit._meta.get_field(name).default
        super().__init__(data, initial=usual)
        self.child, self.now = child, now
        measures = {"is_active": True, "clinics": child.clinic, "roles_held__role__in": ROLES_FOR[Action.RECORD_VISIT]}
        self.fields["observer"].queryset = Staff.objects.filter(**measures).distinct()

    def clean_at(self):
        clinic = self.child.clinic
        at = self.cleaned_data["at"].replace(tzinfo=clinic.zone)
        alerts = date_alerts(clinic.day_of(at), self.child.birth_date, clinic.day_of(self.now))
        code = alerts[0].code if alerts else "in_future" if at > self.now else ""
        if code:
            raise ValidationError(str(SENTENCES[code]))
        return at

    def clean(self):
        """A page that came without its own number gets a fresh one, so that saving again works."""
        cleaned = super().clean()
        taken = Visit.objects.filter(submission=cleaned.get("submission")).exclude(child=self.child)
        if "submission" not in cleaned or taken.exists():
            self.errors.pop("submission", None)
            self.data = {**dict(self.data.items()), "submission": str(uuid4())}
            self.add_error(None, _("This page did not arrive whole. Look through it and save again."))
        return cleaned

    @property
    def visit(self) -> VisitIn:
        return VisitIn(**self.cleaned_data)


class HoursField(forms.FloatField):
    """Hours a day, with a decimal point or comma."""

    def to_python(self, value):
        return super().to_python(value.replace(",", ".") if isinstance(value, str) else value)


class PresentFitForm(forms.Form):
    """How the socket in use fits today. Nothing is taken for granted: what is not seen is not recorded."""

    socket = forms.IntegerField(widget=forms.HiddenInput)
    not_here = forms.BooleanField(label=_("The socket is not here today: its fit was not looked at"), required=False)
    donning = forms.ChoiceField(label=_("Donning"), choices=PresentFit.Donning, widget=forms.RadioSelect)
    hold = forms.ChoiceField(label=_("Hold"), choices=PresentFit.Hold, widget=forms.RadioSelect)
    marks = forms.ChoiceField(label=_("Marks on the skin"), choices=PresentFit.Marks, widget=forms.RadioSelect)
    minutes_to_clear = forms.IntegerField(
        label=_("Minutes until marks clear"),
        required=False,
        min_value=0,
        max_value=MINUTES_MOST,
        widget=forms.TextInput(attrs=NUMERIC),
    )
    pain = forms.TypedChoiceField(
        label=_("Pain, 0 none to 10 worst"),
        choices=[(str(number), str(number)) for number in range(11)],
        coerce=int,
        widget=forms.RadioSelect,
    )
    open_skin = forms.BooleanField(label=_("Open skin or blister"), required=False)
    numb_or_cold = forms.BooleanField(label=_("Numb, cold or blue"), required=False)
    end_contact = forms.BooleanField(label=_("The end of the limb touches the socket"), required=False)
    overgrowth_signs = forms.BooleanField(label=_("Pointed end, thin shiny skin, or a tender bony tip"), required=False)
    end_gap_mm = LengthField(label=_("End gap"), least_mm=0, most_mm=END_GAP_MOST_MM, required=False)
    brim_moved_mm = LengthField(label=_("Brim landmark has moved by"), least_mm=0, most_mm=BRIM_MOST_MM, required=False)
    wear_hours_per_day = HoursField(
        label=_("Hours worn a day"),
        required=False,
        min_value=0,
        max_value=HOURS_MOST,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )

    SEEN = ("donning", "hold", "marks", "pain")

    def __init__(self, data, *, socket):
        super().__init__(data, prefix=f"fit-{socket.limb_id}", initial={"socket": socket.pk})
        self.row = socket
        if not overgrowth_possible(socket.limb.level):
            del self.fields["overgrowth_signs"]
        for name in self.SEEN:
            self.fields[name].error_messages["required"] = _("Say this, or say that the socket is not here today.")
        LengthField.read_in(self, socket.limb.child.clinic.length_unit)

    def clean(self):
        cleaned = super().clean()
        if self._other_socket():
            self.data = {**dict(self.data.items()), self.add_prefix("socket"): str(self.row.pk)}
            self.add_error(
                None,
                _(
                    "The socket in use changed after you opened this page: it is now version %(version)s. "
                    "Look at that one, then save."
                )
                % {"version": self.row.version},
            )
        elif cleaned.get("not_here"):
            self._nothing_seen(cleaned)
        elif self.row.retired_on:
            self.add_error(
                "not_here", _("This socket was retired after you opened this page. Tick this to save without its fit.")
            )
        return cleaned

    def _other_socket(self):
        return self.cleaned_data.get("socket") not in (None, self.row.pk)

    def _nothing_seen(self, cleaned):
        for name in self.SEEN:
            self.errors.pop(name, None)
        seen = [
            name
            for name in self.fields
            if name not in ("socket", "not_here") and cleaned.get(name) not in (None, "", False)
        ]
        if seen:
            self.add_error("not_here", _("Findings stand below. Take this tick away, or clear them."))

    @property
    def ticks(self):
        """What is there or not."""
        return [field for field in self if isinstance(field.field, forms.BooleanField) and field.name != "not_here"]

    @property
    def choices(self):
        """What is one of several."""
        return [self[name] for name in self.SEEN]

    @property
    def figures(self):
        """What is counted or measured."""
        return [self[name] for name in ("minutes_to_clear", "wear_hours_per_day", "end_gap_mm", "brim_moved_mm")]

    @property
    def fit(self) -> FitIn | None:
        """What was seen, None when the socket was not here."""
        if self.cleaned_data["not_here"]:
            return None
        findings = {name: value for name, value in self.cleaned_data.items() if name not in ("socket", "not_here")}
        return FitIn(self.row.limb, self.row, findings)
