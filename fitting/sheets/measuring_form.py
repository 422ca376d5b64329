"""The blank measuring form, drawn for one limb: what to measure, three empty boxes each, last values, the fit today."""

from dataclasses import dataclass
from datetime import date

from django.db import models
from django.utils.translation import gettext as _

from fitting.calc.limb import level_facts
from fitting.calc.present_fit import overgrowth_possible
from fitting.calc.takes import THIRD_TAKE_GIRTH_MM, THIRD_TAKE_LENGTH_MM, THIRD_TAKE_WEIGHT_KG
from fitting.drawings import LimbDrawing
from fitting.inputs import SOUND_MEASURE
from fitting.models import PresentFit, Reading, Visit
from fitting.models.present_fit import PAIN_SCALE_MAX
from fitting.sheets.fitting_sheet import drawing_of
from fitting.sheets.readings import M, Place, Records, place_words, records_of, show_for
from fitting.sheets.render import sheet_pdf
from fitting.templatetags.days import short_day
from fitting.wording import landmark_words
from patients.models import Limb

TEMPLATE = "fitting/sheets/measuring_form.html"

ROWS_WITH_ROOM = 18  # on Letter, the shorter paper, with the questions about the fit
BLANK_STATIONS = 6  # lines for a limb without stations yet

SOUND_GIRTH = {
    "forearm_girth": M.SOUND_FOREARM_GIRTH,
    "upper_arm_girth": M.SOUND_UPPER_ARM_GIRTH,
    "wrist_girth": M.SOUND_WRIST_GIRTH,
}


@dataclass(frozen=True)
class FormRow:
    """One place to measure: its words, the difference that asks for a third take, the last value.

    last_day: empty when never measured or measured on the form's `measured_on`
    """

    place: str
    third_take_above: str
    last: str = ""
    last_day: str = ""


@dataclass(frozen=True)
class FormGroup:
    """Rows under one heading."""

    heading: str
    rows: tuple[FormRow, ...]


@dataclass(frozen=True)
class Question:
    """A thing to tick, or to write when there are no answers to choose from."""

    text: str
    answers: tuple[str, ...] = ()


@dataclass(frozen=True)
class MeasuringForm:
    """What stands on a blank measuring form."""

    limb: Limb
    printed_on: date
    unit: str
    measured_on: date | None
    drawing: LimbDrawing
    groups: tuple[FormGroup, ...]
    conditions: tuple[Question, ...]
    fit: tuple[Question, ...]

    @property
    def has_room(self) -> bool:
        """Whether the boxes can be taller and the form still be one page."""
        return sum(len(group.rows) for group in self.groups) <= ROWS_WITH_ROOM


def print_measuring_form(limb: Limb, as_of: date, paper: str) -> bytes:
    """PDF of the blank measuring form of a limb in the active language."""
    return sheet_pdf(TEMPLATE, measuring_form(limb, as_of), paper)


def measuring_form(limb: Limb, as_of: date) -> MeasuringForm:
    """What stands on the measuring form of a limb, in the active language."""
    records = records_of(limb)
    return MeasuringForm(
        limb=limb,
        printed_on=as_of,
        unit=str(limb.child.clinic.get_length_unit_display()),
        measured_on=records.measured_on,
        drawing=drawing_of(records),
        groups=tuple(group for group in _groups(records) if group.rows),
        conditions=_conditions(),
        fit=_fit_questions(limb) if records.socket else (),
    )


def _groups(records):
    limb = records.limb
    yield FormGroup(_("The limb"), (*_station_rows(records), *_rows(records, _limb_measures(limb))))
    yield FormGroup(_("The sound side"), _rows(records, _sound_measures(limb)))
    yield FormGroup(_("The body"), _rows(records, (M.STATURE, M.SITTING_HEIGHT, M.WEIGHT)))


def _station_rows(records) -> tuple[FormRow, ...]:
    """The stations of the newest visit that has any; blank lines when there is none."""
    if level_facts(records.limb.level).girth_measure is None:
        return ()
    newest = max((place.now.visit.at for place in records.stations), default=None)
    if newest is None:
        words = _("________ from the %(landmark)s") % {"landmark": landmark_words(records.limb.level)}
        return (FormRow(words, _third_take_limit(M.GIRTH, records)),) * BLANK_STATIONS
    return tuple(_row(place, records) for place in records.stations if place.now.visit.at == newest)


def _limb_measures(limb) -> tuple[str, ...]:
    facts = level_facts(limb.level)
    lengths = (M.RESIDUAL_LENGTH, M.RESIDUAL_LENGTH_BONY) if facts.segment_measure else ()
    return lengths + ((M.WIDTH_ML, M.WIDTH_AP) if facts.girth_measure else ())


def _sound_measures(limb) -> tuple[str, ...]:
    """Measures of the sound side; none for a child with both limbs affected."""
    if limb.child.limbs.count() > 1:
        return ()
    facts = level_facts(limb.level)
    segment = (SOUND_MEASURE[facts.segment_measure],) if facts.segment_measure else ()
    girth = (SOUND_GIRTH[facts.girth_measure],) if facts.girth_measure else ()
    lengths = (*segment, M.SOUND_FOREARM_LENGTH, M.SOUND_ELBOW_THUMB_LENGTH, M.SOUND_HAND_LENGTH)
    return tuple(dict.fromkeys((*lengths, *girth)))


def _rows(records, measures) -> tuple[FormRow, ...]:
    newest = {place.measure: place for place in records.places}
    return tuple(_row(newest.get(measure) or Place(measure, "", None), records) for measure in measures)


def _row(place: Place, records: Records) -> FormRow:
    words, limit = place_words(place, records), _third_take_limit(place.measure, records)
    if place.now is None:
        return FormRow(words, limit)
    value, day = show_for(place.measure, records)(place.now.value), records.day_of(place.now.visit)
    return FormRow(words, limit, value, "" if day == records.measured_on else short_day(day))


def _third_take_limit(measure, records) -> str:
    if measure == M.WEIGHT:
        return show_for(measure, records)(THIRD_TAKE_WEIGHT_KG)
    girth = measure in Reading.GIRTH_MEASURES
    return show_for(measure, records)(THIRD_TAKE_GIRTH_MM if girth else THIRD_TAKE_LENGTH_MM)


def _conditions() -> tuple[Question, ...]:
    field = Visit._meta.get_field
    return (
        Question(_("Date and time")),
        Question(_("Observer (the same as last time if you can)")),
        _choice(field("covering")),
        Question(_("Minutes since the socket came off")),
        _choice(field("posture")),
        _choice(field("instrument")),
    )


def _fit_questions(limb) -> tuple[Question, ...]:
    """The fields of the present fit as questions; bony overgrowth only at the levels where it happens."""
    names = ["donning", "marks", "minutes_to_clear", "hold", "open_skin", "numb_or_cold", "end_contact", "pain"]
    names += ["end_gap_mm", "brim_moved_mm", "wear_hours_per_day"]
    names += ["overgrowth_signs"] if overgrowth_possible(limb.level) else []
    return tuple(_choice(PresentFit._meta.get_field(name)) for name in names)


def _choice(field: models.Field) -> Question:
    text = str(field.verbose_name).capitalize()
    if field.name == "pain":
        return Question(text, tuple(str(number) for number in range(PAIN_SCALE_MAX + 1)))
    if isinstance(field, models.BooleanField):
        return Question(text, (_("no"), _("yes")))
    return Question(text, tuple(str(label) for _value, label in field.choices or ()))
