"""The steps of a socket's life: fitted, a layer out, retired; and a sleeve made for it."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from fitting.forms.fields import LengthField
from fitting.forms.refusals import taken
from fitting.forms.socket import END_GAP_MAX_MM, GIRTH_MAX_MM, GIRTH_MIN_MM
from fitting.models import Layer, Sleeve, Socket
from fitting.services import sockets
from patients.fields import DayField

SLEEVE_MIN_MM, SLEEVE_MAX_MM = 40, 600  # common practice
WHY_RETIRED = [("", _("Choose")), *Socket.WhyRetired.choices]


class StepForm(forms.Form):
    """A step on a socket's page; `take` runs it, and a refusal goes to the field it is about."""

    def __init__(self, data, *, name, socket, today):
        super().__init__(data, prefix=name, initial={"on": today})
        self.socket = socket
        LengthField.read_in(self, socket.limb.child.clinic.length_unit)

    def take(self, by, now) -> bool:
        return self.is_valid() and taken(self, lambda: self.run(self.cleaned_data, by, now))


class LayerOutForm(StepForm):
    """The innermost layer still in comes out; the limb sinks, so the end gap is read again."""

    layer = forms.ModelChoiceField(queryset=Layer.objects.none(), widget=forms.HiddenInput)
    on = DayField(label=_("Taken out on"))
    end_gap_mm = LengthField(label=_("End gap now"), least_mm=0, most_mm=END_GAP_MAX_MM)
    done = _("The layer is out, and the forecast is made anew.")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["layer"].queryset = Layer.objects.filter(socket=self.socket).select_related("socket__limb")
        self.next_layer = next(layer for layer in self.socket.layers.all() if layer.out_on is None)
        self.initial["layer"] = self.next_layer.pk

    def run(self, typed, by, now):
        sockets.take_layer_out(typed["layer"], by, typed["on"], typed["end_gap_mm"], now)


class FitForm(StepForm):
    """The socket goes into use; where another is worn, it says why that one is retired."""

    on = DayField(label=_("Fitted on"))
    why_worn_retired = forms.ChoiceField(label=_("Why the socket worn until now is retired"), choices=WHY_RETIRED)
    done = _("The socket is in use, and the forecast is made anew.")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        if not Socket.objects.in_use().filter(limb=self.socket.limb).exists():
            del self.fields["why_worn_retired"]

    def run(self, typed, by, now):
        sockets.fit_socket(self.socket, by, typed["on"], now, typed.get("why_worn_retired", ""))


class RetireForm(StepForm):
    on = DayField(label=_("Retired on"))
    why = forms.ChoiceField(label=_("Why"), choices=WHY_RETIRED)
    done = _("The socket is retired, and the forecast is made anew.")

    def run(self, typed, by, now):
        sockets.retire_socket(self.socket, by, typed["on"], typed["why"], now)


class SleeveForm(forms.ModelForm):
    """A sleeve of a limb, and the socket versions it fits."""

    length_mm = LengthField(label=_("Length"), least_mm=SLEEVE_MIN_MM, most_mm=SLEEVE_MAX_MM)
    girth_proximal_mm = LengthField(label=_("Girth at the elbow end"), least_mm=GIRTH_MIN_MM, most_mm=GIRTH_MAX_MM)
    girth_distal_mm = LengthField(label=_("Girth at the wrist end"), least_mm=GIRTH_MIN_MM, most_mm=GIRTH_MAX_MM)
    made_on = DayField(label=_("Made on"))
    done = _("The sleeve is entered.")

    class Meta:
        model = Sleeve
        fields = ["design", "made_on", "length_mm", "girth_proximal_mm", "girth_distal_mm", "magnets", "sockets"]
        widgets = {
            "sockets": forms.CheckboxSelectMultiple,
            "magnets": forms.NumberInput(attrs={"inputmode": "numeric"}),
        }
        help_texts = {"magnets": _("Count them with a finger on each. A loose magnet can be swallowed.")}

    def __init__(self, data, *, name, socket, today):
        super().__init__(data, prefix=name, initial={"made_on": today, "sockets": [socket.pk]})
        self.instance.limb, self.today = socket.limb, today
        self.fields["sockets"].queryset = Socket.objects.filter(limb=socket.limb, retired_on__isnull=True)
        self.fields["sockets"].label_from_instance = lambda row: _("version %(number)d") % {"number": row.version}
        LengthField.read_in(self, socket.limb.child.clinic.length_unit)

    def clean_made_on(self):
        day = self.cleaned_data["made_on"]
        if day > self.today:
            raise ValidationError(_("This day is in the future."))
        return day

    def take(self, by, now) -> bool:
        return self.is_valid() and taken(
            self, lambda: sockets.make_sleeve(self.save(commit=False), self.cleaned_data["sockets"])
        )


def possible_steps(socket) -> dict:
    """Names and forms of the steps that follow from how a socket stands."""
    if socket.retired_on:
        return {}
    if not socket.fitted_on:
        return {"fit": FitForm, "sleeve": SleeveForm, "retire": RetireForm}
    layers_in = any(layer.out_on is None for layer in socket.layers.all())
    return {**({"layer_out": LayerOutForm} if layers_in else {}), "sleeve": SleeveForm, "retire": RetireForm}
