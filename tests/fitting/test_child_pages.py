"""New child, change a child, new limb: through the pages."""

from datetime import date

import pytest
import time_machine
from auditlog.models import LogEntry
from django.urls import reverse

from fitting.models import Forecast
from patients.case_numbers import is_case_number
from patients.models import Child, Guardian, Limb
from patients.roles import Role
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
FAMILY = {
    "guardians-TOTAL_FORMS": 2,
    "guardians-INITIAL_FORMS": 0,
    "guardians-0-name": "Bo Quill",
    "guardians-0-relationship": "father",
    "guardians-0-phone": "555 0142",
    "guardians-0-has_legal_authority": "on",
    "guardians-1-has_legal_authority": "on",
}


@pytest.fixture
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


@pytest.fixture
def clinic():
    return make.make_clinic("Tern Island", length_unit="in")


@pytest.fixture
def staff(client, clinic):
    staff = make.make_staff(clinics=[clinic])
    client.force_login(staff)
    return staff


def typed(clinic, **changed):
    return {
        "clinic": clinic.pk,
        "given_name": "Ada",
        "family_name": "Quill",
        "birth_date": "2018-03-14",
        "growth_reference": "F",
        "language": "es",
        "implant": "none",
        "mother_stature_mm": "5 ft 5 in",
        "father_stature_mm": "180 cm",
        **FAMILY,
        **changed,
    }


def test_a_new_child_lands_on_the_case_page(client, staff, clinic):
    response = client.post(reverse("child_new"), typed(clinic))
    child = Child.objects.get()
    assert response.url == reverse("case", args=[child.case_number])
    assert is_case_number(child.case_number)
    assert child.mother_stature_mm == pytest.approx(65 * 25.4)
    assert child.father_stature_mm == pytest.approx(1800)
    assert [str(guardian) for guardian in child.guardians.all()] == ["Bo Quill (father)"]


def test_a_bare_height_is_in_the_clinics_unit(client, staff, clinic):
    client.post(reverse("child_new"), typed(clinic, mother_stature_mm="65 1/2"))
    assert Child.objects.get().mother_stature_mm == pytest.approx(65.5 * 25.4)


@pytest.mark.parametrize(
    ("height", "sentence"),
    [
        ("165", "This must be from 47.244 in to 90.551 in. Check the unit."),
        ("165 kg", "“kg” is not a unit of length."),
        ("tall", "This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm."),
    ],
)
def test_a_height_that_cannot_be_is_refused_and_kept(client, staff, clinic, height, sentence):
    response = client.post(reverse("child_new"), typed(clinic, mother_stature_mm=height))
    form = response.context["form"]
    assert form.errors == {"mother_stature_mm": [sentence]}
    assert form["mother_stature_mm"].value() == height
    assert form["family_name"].value() == "Quill"
    assert not Child.objects.exists()


def test_a_child_without_a_guardian_is_not_entered(client, staff, clinic):
    response = client.post(reverse("child_new"), typed(clinic, **{"guardians-0-name": ""}))
    assert response.context["guardians"].errors[0] == {"name": ["This field is required."]}
    assert not Child.objects.exists()


def test_a_look_alike_is_shown_and_answered(client, staff, clinic):
    known = make.make_child(clinic, given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 14))
    response = client.post(reverse("child_new"), typed(clinic, given_name="Aida"))
    page = response.content.decode()
    assert "Is this child entered already?" in page
    assert reverse("case", args=[known.case_number]) in page
    assert Child.objects.count() == 1
    client.post(reverse("child_new"), typed(clinic, given_name="Aida", different_child="on"))
    assert Child.objects.count() == 2


def edit(child, **changed):
    guardians = list(child.guardians.all())
    rows = {f"guardians-{n}-guardian": guardian.pk for n, guardian in enumerate(guardians)}
    counts = {"guardians-TOTAL_FORMS": len(guardians) + 1, "guardians-INITIAL_FORMS": len(guardians)}
    return typed(child.clinic, **counts, **rows, status="active", opened_version=child.version) | changed


@pytest.fixture
def child(clinic):
    return make.make_child(clinic, [make.make_guardian()], birth_date=date(2018, 3, 14), mother_stature_mm=1650)


def test_the_page_opens_with_what_is_stored(client, staff, child):
    page = client.get(reverse("child_edit", args=[child.case_number])).content.decode()
    assert 'value="64.961 in"' in page
    assert 'value="Bo Quill"' in page


def test_a_change_is_stored_with_who_and_when(client, staff, child):
    url = reverse("child_edit", args=[child.case_number])
    client.post(url, edit(child, allergies="latex", **{"guardians-0-phone": "555 0177"}))
    child.refresh_from_db()
    assert (child.allergies, child.version) == ("latex", 2)
    assert child.guardians.get().phone == "555 0177"
    entry = LogEntry.objects.get_for_object(child).get(action=LogEntry.Action.UPDATE)
    assert entry.actor == staff
    assert entry.changes_dict["allergies"][1] == "latex"
    phone = LogEntry.objects.get_for_object(child.guardians.get()).get(action=LogEntry.Action.UPDATE)
    assert phone.changes_dict == {"phone": ["555 0142", "555 0177"]}


def test_guardians_come_and_go(client, staff, child):
    first = child.guardians.get()
    added = {f"guardians-1-{name}": "x" for name in ("name", "relationship", "phone")}
    client.post(reverse("child_edit", args=[child.case_number]), edit(child, **added, **{"guardians-0-DELETE": "on"}))
    assert [guardian.name for guardian in child.guardians.all()] == ["x"]
    assert LogEntry.objects.filter(object_pk=first.pk, action=LogEntry.Action.DELETE).exists()


def test_a_stale_copy_is_refused_with_both_versions_and_nothing_lost(client, staff, child):
    url = reverse("child_edit", args=[child.case_number])
    mine = edit(child, allergies="latex", implant="child", **{"guardians-0-phone": "555 0001"})
    theirs = edit(child, allergies="nuts", **{"guardians-0-phone": "555 0002"})
    assert client.post(url, theirs).status_code == 302
    response = client.post(url, mine)
    assert response.status_code == 200
    rows = {(row.label, row.typed, row.saved) for row in response.context["differences"]}
    assert rows == {
        ("Allergies", "latex", "nuts"),
        ("Implant (pacemaker, cochlear implant, shunt, pump)", "child", "none"),
        (
            "Guardian",
            "Bo Quill, father, 555 0001, with legal authority",
            "Bo Quill, father, 555 0002, with legal authority",
        ),
    }
    child.refresh_from_db()
    assert (child.allergies, child.version) == ("nuts", 2)
    page = response.content.decode()
    assert "Not saved: somebody changed this record after you opened it" in page
    assert 'value="555 0001"' in page
    assert 'name="opened_version" value="2"' in page
    assert client.post(url, {**mine, "opened_version": 2}).status_code == 302
    child.refresh_from_db()
    assert (child.allergies, child.version, child.guardians.get().phone) == ("latex", 3, "555 0001")


def test_a_guardian_added_meanwhile_is_shown_and_removed_only_knowingly(client, staff, child):
    Guardian.objects.create(child=child, name="Cy Quill", relationship="aunt", phone="555 0003")
    Child.objects.filter(pk=child.pk).update(version=2)
    mine = edit(child, opened_version=1)
    mine = {k: v for k, v in mine.items() if not k.startswith("guardians-1")} | {
        "guardians-TOTAL_FORMS": 1,
        "guardians-INITIAL_FORMS": 1,
    }
    response = client.post(reverse("child_edit", args=[child.case_number]), mine)
    assert ("nothing", "Cy Quill, aunt, 555 0003, with legal authority") in {
        (row.typed, row.saved) for row in response.context["differences"]
    }
    assert child.guardians.count() == 2


def test_a_corrected_birth_date_makes_a_new_promise_and_other_changes_do_not(client, staff, child):
    make.make_limb(child)
    url = reverse("child_edit", args=[child.case_number])
    heights = {"mother_stature_mm": "64.961 in", "father_stature_mm": ""}
    client.post(url, edit(child, allergies="latex", **heights))
    assert not Forecast.objects.exists()
    child.refresh_from_db()
    client.post(url, edit(child, birth_date="2018-03-15", **heights))
    assert Forecast.objects.get().why == "correction"


def test_a_birth_date_after_the_first_visit_is_refused(client, staff, child):
    make.make_visit(child, on=date(2018, 6, 1))
    response = client.post(reverse("child_edit", args=[child.case_number]), edit(child, birth_date="2018-06-02"))
    assert response.context["form"].errors == {
        "birth_date": ["The record has entries from before this birth date."],
    }


def test_a_new_limb_lands_on_the_case_page_with_a_promise(client, staff, child):
    url = reverse("limb_new", args=[child.case_number])
    assert "Side means the child&#x27;s own side" in client.get(url).content.decode().replace("'", "&#x27;")
    response = client.post(
        url, {"side": "left", "level": "transradial", "cause": "acquired", "acquired_on": "2024-02-01"}
    )
    assert response.url == reverse("case", args=[child.case_number])
    limb = Limb.objects.get()
    assert (limb.child, limb.acquired_on) == (child, date(2024, 2, 1))
    assert limb.current_forecast.forecast.state == "no_socket"


def test_a_third_limb_is_not_offered(client, staff, child):
    url = reverse("limb_new", args=[child.case_number])
    for side in ("left", "right"):
        assert client.post(url, {"side": side, "level": "transradial", "cause": "transverse"}).status_code == 302
    assert "there is one limb a side" in client.get(url).content.decode()
    assert client.post(url, {"side": "left", "level": "transradial", "cause": "transverse"}).status_code == 200
    assert child.limbs.count() == 2


def test_a_sibling_is_named_by_case_number_and_the_way_in_minutes(client, staff, clinic):
    eldest = make.make_child(clinic, given_name="Noa", birth_date=date(2012, 1, 9))
    second = make.make_child(clinic, given_name="Ivo", birth_date=date(2014, 8, 2), sibling_of=eldest)
    sent = typed(clinic, sibling_of=second.shown_case_number.lower(), travel_minutes=150)
    assert client.post(reverse("child_new"), sent).status_code == 302
    child = Child.objects.get(given_name="Ada", birth_date=date(2018, 3, 14), language="es")
    assert (child.household, child.travel_minutes) == (eldest.pk, 150)
    page = client.get(reverse("child_edit", args=[child.case_number]))
    assert f'value="{eldest.shown_case_number}"' in page.content.decode()


@pytest.mark.parametrize("who", ["unknown", "elsewhere", "itself", "its own sibling"])
def test_a_sibling_that_cannot_be_is_refused(client, staff, clinic, who):
    child = make.make_child(clinic, given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 14))
    numbers = {
        "unknown": "XX",
        "elsewhere": make.make_child().case_number,
        "itself": child.case_number,
        "its own sibling": make.make_child(clinic, sibling_of=child).case_number,
    }
    sent = typed(clinic, sibling_of=numbers[who], status="active", opened_version=1)
    form = client.post(reverse("child_edit", args=[child.case_number]), sent).context["form"]
    assert list(form.errors) == ["sibling_of"]
    assert form["sibling_of"].value() == numbers[who]


def test_whom_siblings_are_named_by_is_not_renamed(client, staff, clinic):
    child, other = make.make_child(clinic), make.make_child(clinic)
    make.make_child(clinic, sibling_of=child)
    sent = typed(clinic, sibling_of=other.case_number, status="active", opened_version=1)
    form = client.post(reverse("child_edit", args=[child.case_number]), sent).context["form"]
    assert form.errors["sibling_of"] == ["Other children are entered as siblings of this one: enter it there instead."]


def test_a_coordinator_changes_the_family_but_not_what_the_forecast_rests_on(client, clinic, child):
    coordinator = make.make_staff(Role.COORDINATOR, clinics=[clinic])
    client.force_login(coordinator)
    url = reverse("child_edit", args=[child.case_number])
    assert "A prosthetist changes this." in client.get(url).content.decode()
    changed = {"birth_date": "2012-01-01", "growth_reference": "M", "allergies": "latex", "given_name": "Ida"}
    client.post(url, edit(child, **changed, **{"guardians-0-phone": "555 0177"}))
    child.refresh_from_db()
    assert (child.given_name, child.guardians.get().phone) == ("Ida", "555 0177")
    assert (child.birth_date, child.growth_reference, child.allergies) == (date(2018, 3, 14), "F", "")
