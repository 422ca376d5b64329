"""Places of one invented child as typed at a visit, without a database."""

from datetime import date

from fitting.calc.tolerances import Tolerances
from fitting.models import Reading, Visit
from fitting.visit_alerts import read_entries
from fitting.visit_entry import Occasion
from fitting.visit_places import History, Place
from patients.models import Child, Clinic, Limb
from tests.factories import noon

M = Reading.Measure
TODAY, LAST_DAY = date(2026, 5, 4), date(2026, 1, 12)
CLINIC = Clinic(pk=1, length_unit="mm", weight_unit="kg", time_zone="UTC")
CHILD = Child(pk=1, clinic=CLINIC, birth_date=date(2018, 3, 14), growth_reference="F")
LIMB = Limb(pk=7, child=CHILD, side="left", level="transradial", cause="transverse")
STATION = Place(M.GIRTH, LIMB, "cubital_fold", 25.0)
LENGTH = Place(M.RESIDUAL_LENGTH, LIMB, "medial_epicondyle")
SOUND = Place(M.SOUND_FOREARM_LENGTH, LIMB)
STATURE, WEIGHT = Place(M.STATURE), Place(M.WEIGHT)


def past(place, value, on=LAST_DAY, **visit):
    facts = {"at": noon(on), "covering": "bare", "instrument": "tape_1mm", **visit}
    return Reading(
        measure=place.measure,
        limb=place.limb,
        landmark=place.landmark,
        station_mm=place.station_mm,
        value=value,
        visit=Visit(**facts),
    )


def occasion(*readings, covering="bare", instrument="tape_1mm", clinic=CLINIC, at=TODAY):
    CHILD.clinic = clinic
    return Occasion(CHILD, noon(at), covering, instrument, Tolerances(), History(readings, noon(at)))


def data_of(place, *takes, **more):
    return {**{f"{place.key}-take{number}": text for number, text in enumerate(takes, start=1)}, **more}


def entry_of(place, *takes, readings=(), others=(), **facts):
    """One entry, with the others' data typed too."""
    data = data_of(place, *takes)
    for other, texts in others:
        data |= data_of(other, *texts)
    return read_entries([place, *(other for other, _ in others)], data, occasion(*readings, **facts))[place.key]


def codes(entry):
    return [question.code for question in entry.questions]
