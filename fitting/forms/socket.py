"""Making a socket from one visit."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from fitting.forms.fields import LengthField
from fitting.models import Reading, Visit
from fitting.services.sockets import StationIn
from fitting.wording import day_words
from patients.fields import DayField

# Outside these a typed size is a slip of unit or place. Hard stops of trade practice; common practice.
GIRTH_MIN_MM, GIRTH_MAX_MM = 60, 450
FOREARM_MIN_MM, FOREARM_MAX_MM = 60, 400
ALLOWANCE_MAX_MM, END_GAP_MAX_MM = 50, 60
LAYER_MIN_MM, LAYER_MAX_MM = 0.1, 10
MOST_LAYERS = 4
DESIGN_OFF_SHARE = 0.2  # a design girth further than this from the limb's is a slip


def measured_visits(limb):
    """Visits at which girths of a limb were read, newest first."""
    girths = Reading.objects.current().filter(limb=limb, measure=Reading.Measure.GIRTH)
    return Visit.objects.filter(pk__in=girths.values("visit")).select_related("observer").order_by("-at")


class _VisitChoice(forms.ModelChoiceField):
    """Visits named by their day at the clinic, what was measured over, and who measured."""

    def label_from_instance(self, visit):
        return f"{day_words(self.clinic.day_of(visit.at))}, {visit.get_covering_display()}, {visit.observer}"


class MadeFromForm(forms.Form):
    """What a socket is made from: one visit, and how much wider than the limb."""

    visit = _VisitChoice(label=_("Measurements of"), queryset=Visit.objects.none(), empty_label=None)
    allowance_mm = LengthField(
        label=_("Girth allowance"),
        least_mm=0,
        most_mm=ALLOWANCE_MAX_MM,
        help_text=_("Added to the girth of the limb at each station."),
    )

    def __init__(self, *args, limb, visits, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["visit"].queryset = visits
        self.fields["visit"].clinic = limb.child.clinic
        LengthField.read_in(self, limb.child.clinic.length_unit)


class SocketForm(forms.Form):
    """A socket made from a visit: a design girth for each of its stations, and the rest of the design."""

    end_gap_mm = LengthField(label=_("End gap"), least_mm=0, most_mm=END_GAP_MAX_MM)
    forearm_length_mm = LengthField(
        label=_("Forearm length, elbow to wrist"),
        least_mm=FOREARM_MIN_MM,
        most_mm=FOREARM_MAX_MM,
        required=False,
        help_text=_("From the same landmarks as on the sound side."),
    )
    trim_note = forms.CharField(label=_("Trim lines"), max_length=200, required=False)
    made_on = DayField(label=_("Made on"))

    def __init__(self, *args, limb, visit, girths, allowance_mm, today, **kwargs):
        super().__init__(*args, **kwargs)
        self.clinic, self.visit, self.girths, self.today = limb.child.clinic, visit, girths, today
        for number in range(1, MOST_LAYERS + 1):
            self.fields[f"layer_{number}_mm"] = LengthField(
                label=_("Layer %(number)d") % {"number": number},
                least_mm=LAYER_MIN_MM,
                most_mm=LAYER_MAX_MM,
                unit="mm",
                required=False,
            )
        for reading in girths:
            self.fields[f"design_{reading.pk}_mm"] = LengthField(
                label=_("Design girth"),
                least_mm=GIRTH_MIN_MM,
                most_mm=GIRTH_MAX_MM,
                initial=reading.value + allowance_mm,
            )
        LengthField.read_in(self, self.clinic.length_unit)

    @property
    def station_rows(self):
        return [(reading, self[f"design_{reading.pk}_mm"]) for reading in self.girths]

    @property
    def layer_fields(self):
        return [self[f"layer_{number}_mm"] for number in range(1, MOST_LAYERS + 1)]

    def clean_made_on(self):
        day = self.cleaned_data["made_on"]
        if day > self.today:
            raise ValidationError(_("This day is in the future."))
        if day < self.clinic.day_of(self.visit.at):
            raise ValidationError(_("The socket cannot be made before the visit it is made from."))
        return day

    def clean(self):
        cleaned = super().clean()
        for reading in self.girths:
            design_mm = cleaned.get(f"design_{reading.pk}_mm")
            if design_mm and abs(design_mm - reading.value) > DESIGN_OFF_SHARE * reading.value:
                self.add_error(
                    f"design_{reading.pk}_mm", _("This is more than a fifth off the girth of the limb. Check the unit.")
                )
        self._check_layers(cleaned)
        return cleaned

    def _check_layers(self, cleaned):
        thicknesses = [cleaned.get(f"layer_{number}_mm") for number in range(1, MOST_LAYERS + 1)]
        for number, (inner, outer) in enumerate(zip(thicknesses, thicknesses[1:], strict=False), start=1):
            if outer and not inner and f"layer_{number}_mm" not in self.errors:
                self.add_error(f"layer_{number}_mm", _("Layers count from the innermost: fill this one first."))

    @property
    def stations(self) -> list[StationIn]:
        return [
            StationIn(r.landmark, r.station_mm, r.value, self.cleaned_data[f"design_{r.pk}_mm"]) for r in self.girths
        ]

    @property
    def layer_thicknesses_mm(self) -> list[float]:
        every = (self.cleaned_data[f"layer_{number}_mm"] for number in range(1, MOST_LAYERS + 1))
        return [thickness_mm for thickness_mm in every if thickness_mm]
