"""What the forms for a child, a family and a limb refuse, and with which sentence."""

from datetime import UTC, date, datetime

import pytest

from patients.forms import ChildForm, LimbForm, guardian_formset, guardians_in, years_before
from patients.models import Clinic, Limb
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 5, 4, 12, tzinfo=UTC)
TODAY = NOW.date()


def child_form(served, instance=None, first_record_on=None, **typed):
    typed = {
        "clinic": served.pk,
        "given_name": "Ada",
        "family_name": "Quill",
        "birth_date": "2018-03-14",
        "growth_reference": "F",
        "language": "en",
        "implant": "none",
        "status": "active",
        "opened_version": 1,
        **typed,
    }
    return ChildForm(
        typed, clinics=Clinic.objects.filter(pk=served.pk), now=NOW, instance=instance, first_record_on=first_record_on
    )


def test_a_child_with_the_least_there_is_to_say():
    form = child_form(make.make_clinic())
    assert form.is_valid(), form.errors
    assert form.look_alikes == []


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"birth_date": "2026-05-05"}, "birth_date", "The birth date is in the future."),
        (
            {"birth_date": "2005-05-04"},
            "birth_date",
            "This is a record for children: the birth date must be under 21 years ago.",
        ),
        ({"birth_date": "soon"}, "birth_date", "Enter a valid date."),
        ({"gestation_weeks": "37"}, "gestation_weeks", "Ensure this value is less than or equal to 36."),
        ({"gestation_weeks": "21"}, "gestation_weeks", "Ensure this value is greater than or equal to 22."),
        ({"growth_reference": ""}, "growth_reference", "This field is required."),
    ],
)
def test_refused_at_its_field(typed, field, sentence):
    form = child_form(make.make_clinic(), **typed)
    assert form.errors == {field: [sentence]}
    assert form[field].value() == typed[field]


@pytest.mark.parametrize("birth_date", ["2005-05-05", "2026-05-04"])
def test_the_youngest_and_the_oldest_are_children(birth_date):
    assert child_form(make.make_clinic(), birth_date=birth_date).is_valid()


def test_the_future_begins_at_the_clinics_midnight():
    east = make.make_clinic(time_zone="Pacific/Auckland")  # already 5 May there
    assert child_form(east, birth_date="2026-05-05").is_valid()


def test_a_birth_date_after_an_entry_of_the_record_is_refused():
    child = make.make_child()
    form = child_form(child.clinic, instance=child, first_record_on=date(2018, 3, 13))
    assert form.errors == {"birth_date": ["The record has entries from before this birth date."]}


def test_a_clinic_one_does_not_serve_is_refused():
    form = child_form(make.make_clinic(), clinic=make.make_clinic().pk)
    assert "clinic" in form.errors


def test_a_look_alike_needs_an_answer():
    known = make.make_child(given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 14))
    form = child_form(known.clinic)
    assert form.errors == {"different_child": ["Open the record above, or say that this is a different child."]}
    assert form.look_alikes == [known]
    assert child_form(known.clinic, different_child="on").is_valid()


def test_changing_a_child_does_not_ask_about_look_alikes():
    known = make.make_child(given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 14))
    assert child_form(known.clinic, instance=known).is_valid()


@pytest.mark.parametrize(
    ("day", "earlier"), [(date(2026, 5, 4), date(2005, 5, 4)), (date(2024, 2, 29), date(2003, 3, 1))]
)
def test_years_before(day, earlier):
    assert years_before(day, 21) == earlier


def family(rows, guardians=(), initial=0):
    data = {"guardians-TOTAL_FORMS": len(rows), "guardians-INITIAL_FORMS": initial}
    for number, row in enumerate(rows):
        data |= {f"guardians-{number}-{name}": value for name, value in row.items()}
    return guardian_formset(data, guardians)


MOTHER = {"name": "Bo Quill", "relationship": "mother", "phone": "555 0142", "has_legal_authority": "on"}
EMPTY = {"name": "", "relationship": "", "phone": "", "has_legal_authority": "on"}


def test_one_guardian_and_an_empty_row():
    formset = family([MOTHER, EMPTY])
    assert formset.is_valid(), formset.errors
    assert [g.name for g in guardians_in(formset)] == ["Bo Quill"]


def test_a_child_without_a_guardian_is_refused():
    formset = family([EMPTY, EMPTY])
    assert not formset.is_valid()
    assert formset.errors[0]["name"] == ["This field is required."]


def test_the_last_guardian_cannot_be_removed():
    child = make.make_child(guardians=[make.make_guardian()])
    known = list(child.guardians.all())
    formset = family([{**MOTHER, "guardian": known[0].pk, "DELETE": "on"}, EMPTY], known, initial=1)
    assert formset.non_form_errors() == ["A child needs at least one guardian."]


def test_a_removed_guardian_is_left_out_and_the_others_keep_their_key():
    child = make.make_child(guardians=[make.make_guardian(), make.make_guardian(name="Cy Quill")])
    known = list(child.guardians.all())
    rows = [{**MOTHER, "guardian": known[0].pk, "DELETE": "on"}, {**MOTHER, "guardian": known[1].pk}, EMPTY]
    formset = family(rows, known, initial=2)
    assert formset.is_valid(), formset.errors
    assert [g.pk for g in guardians_in(formset)] == [known[1].pk]


def limb_form(child, **typed):
    typed = {"side": "left", "level": "transradial", "cause": "transverse", **typed}
    return LimbForm(typed, child=child, today=TODAY)


@pytest.mark.parametrize(
    ("typed", "field", "sentence"),
    [
        ({"cause": "acquired"}, "acquired_on", "Say when it was acquired."),
        ({"cause": "acquired", "acquired_on": "2018-03-13"}, "acquired_on", "This is before the child was born."),
        ({"cause": "acquired", "acquired_on": "2026-05-05"}, "acquired_on", "This is in the future."),
        (
            {"acquired_on": "2020-01-01"},
            "acquired_on",
            "A difference present at birth has no date. Empty this, or choose “acquired”.",
        ),
        ({"side": ""}, "side", "This field is required."),
        ({"level": ""}, "level", "This field is required."),
    ],
)
def test_a_limb_refused_at_its_field(typed, field, sentence):
    form = limb_form(make.make_child(birth_date=date(2018, 3, 14)), **typed)
    assert form.errors == {field: [sentence]}


@pytest.mark.parametrize("day", ["2018-03-14", "2026-05-04"])
def test_acquired_between_birth_and_today(day):
    form = limb_form(make.make_child(birth_date=date(2018, 3, 14)), cause="acquired", acquired_on=day)
    assert form.is_valid(), form.errors


def test_a_side_entered_already_is_not_offered():
    limb = make.make_limb(side=Limb.Side.LEFT)
    form = limb_form(limb.child)
    assert form.fields["side"].choices == [("right", "right")]
    assert "side" in form.errors
    assert limb_form(limb.child, side="right").is_valid()
