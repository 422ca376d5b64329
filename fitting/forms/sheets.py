"""How a sheet is wanted: paper, language, wearer, the reason to print stale data."""

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from fitting.sheets.wear_plan import Wearer
from patients.models import Clinic, Limb

REASON_MOST = 200


class SheetForm(forms.Form):
    """Fields not given take what is usual for the limb, so a bare address prints too."""

    paper = forms.ChoiceField(label=_("Paper"), choices=Clinic.Paper.choices)

    def __init__(self, limb: Limb, given):
        super().__init__({**self.usual(limb), **given.dict()}, auto_id=f"{type(self).__name__.lower()}_%s")

    def usual(self, limb: Limb) -> dict:
        return {"paper": limb.child.clinic.paper}


class FittingSheetForm(SheetForm):
    reason = forms.CharField(
        label=_("Reason to print all the same"),
        help_text=_("Printed on the sheet."),
        max_length=REASON_MOST,
        required=False,
    )


class CareSheetForm(SheetForm):
    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)
    wearer = forms.ChoiceField(label=_("The child is"), choices=Wearer.choices, widget=forms.RadioSelect)

    def __init__(self, limb: Limb, given, usual_wearer: str):
        self.usual_wearer = usual_wearer
        super().__init__(limb, given)

    def usual(self, limb: Limb) -> dict:
        return super().usual(limb) | {"language": limb.child.language, "wearer": self.usual_wearer}


class MeasuringFormForm(SheetForm):
    """Only the paper is to be chosen."""
