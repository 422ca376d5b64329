"""Setting the levels of one muscle: boundaries, hysteresis, debounce, and what each level does."""

from collections.abc import Mapping

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.calc.muscle.controller import (
    DEBOUNCE_CHOICES_MS,
    DEBOUNCE_MS,
    HYSTERESIS_CHOICES_LN,
    HYSTERESIS_LN,
)
from fitting.models import LevelSettings
from fitting.muscle_inputs import level_names
from fitting.muscle_words import LEVEL_WORDS
from fitting.services.muscle_sites import LevelsIn

SAME_SHARE = 1e-3  # a boundary typed this close to the fitted one is the fitted one, as it was shown
Grip = LevelSettings.Grip
USUAL_GRIPS = {"rest": Grip.STILL, "light": Grip.OPEN, "medium": Grip.POWER, "hard": Grip.TRIPOD}


class LevelSettingsForm(forms.Form):
    """`unit`, `channel`: of the recording and its stored figures; boundaries are in that unit."""

    hysteresis_ln = forms.TypedChoiceField(
        label=gettext_lazy("Hysteresis"),
        coerce=float,
        choices=[(f"{ln:g}", f"± {100 * ln:.0f} %") for ln in HYSTERESIS_CHOICES_LN],
        initial=f"{HYSTERESIS_LN:g}",
        help_text=gettext_lazy("How far past a boundary the signal must go before the level changes."),
    )
    debounce_ms = forms.TypedChoiceField(
        label=gettext_lazy("Debounce"),
        coerce=int,
        choices=[(f"{ms}", f"{ms} ms") for ms in DEBOUNCE_CHOICES_MS],
        initial=f"{DEBOUNCE_MS}",
        help_text=gettext_lazy("How long it must stay there."),
    )
    note = forms.CharField(label=gettext_lazy("Note"), max_length=300, required=False)
    opened = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, unit: str, channel: Mapping, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit, self.channel = unit, channel
        self.levels = level_names(channel)
        fitted = channel["fitted"]
        for number, level in enumerate(self.levels[1:]):
            self.fields[f"boundary_{number}"] = forms.FloatField(
                label=_("%(level)s from") % {"level": LEVEL_WORDS[level]},
                min_value=1e-9,
                max_value=channel["full_scale"],
                initial=float(f"{fitted[number]:.4g}"),
                widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any", "data-boundary": number}),
            )
        for level in self.levels:
            self._add_gesture(level)

    def _add_gesture(self, level):
        """Grip and word of a level; their names are read out, for on the page the table's heads stand for them."""
        does = _("What %(level)s does") % {"level": LEVEL_WORDS[level]}
        word = _("The family's word for %(level)s") % {"level": LEVEL_WORDS[level]}
        self.fields[f"grip_{level}"] = forms.ChoiceField(label=does, choices=Grip, initial=USUAL_GRIPS[level])
        self.fields[f"word_{level}"] = forms.CharField(label=word, max_length=40, required=False)
        for name, label in ((f"grip_{level}", does), (f"word_{level}", word)):
            self.fields[name].widget.attrs["aria-label"] = label

    def clean(self):
        cleaned = super().clean()
        typed = [cleaned.get(f"boundary_{number}") for number in range(len(self.levels) - 1)]
        for number, (lower, upper) in enumerate(zip(typed, typed[1:], strict=False), start=1):
            if lower is not None and upper is not None and lower >= upper:
                self.add_error(f"boundary_{number}", ValidationError(_("This must lie above the boundary before it.")))
        return cleaned

    def reopen(self, standing: LevelSettings | None) -> None:
        """Keep what was typed and carry the settings that stand by now."""
        self.data = self.data.copy()
        self.data[self.add_prefix("opened")] = str(standing.pk) if standing else ""

    @property
    def boundaries(self) -> tuple[float, ...]:
        """Boundaries as typed, exact where they are still the fitted ones."""
        typed = (self.cleaned_data[f"boundary_{number}"] for number in range(len(self.levels) - 1))
        pairs = zip(typed, self.channel["fitted"], strict=True)
        return tuple(fitted if abs(value - fitted) <= SAME_SHARE * fitted else value for value, fitted in pairs)

    def settings(self, on) -> LevelsIn:
        values = self.cleaned_data
        return LevelsIn(
            levels=tuple(self.levels),
            boundaries=self.boundaries,
            unit=self.unit,
            full_scale=self.channel["full_scale"],
            hysteresis_ln=values["hysteresis_ln"],
            debounce_ms=values["debounce_ms"],
            gestures={
                level: {"grip": values[f"grip_{level}"], "word": values[f"word_{level}"]} for level in self.levels
            },
            typed=self.boundaries != tuple(self.channel["fitted"]),
            on=on,
            note=values["note"],
        )

    @property
    def boundary_fields(self):
        return [self[f"boundary_{number}"] for number in range(len(self.levels) - 1)]

    @property
    def gesture_rows(self):
        return [(LEVEL_WORDS[level], self[f"grip_{level}"], self[f"word_{level}"]) for level in self.levels]
