import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from patients.models import Child, Limb
from patients.roles import Role
from tests.factories import TODAY, make_child, make_clinic, make_limb, make_staff, noon


@pytest.fixture
def clinic(db):
    return make_clinic("Tern Island")


@pytest.fixture
def signed_in(client, clinic, time_machine):
    time_machine.move_to(noon(TODAY), tick=False)
    client.force_login(make_staff(Role.THERAPIST, clinics=[clinic]))
    return client


def listed(client, **asked):
    return [child.given_name for child in client.get(reverse("cases"), asked).context["page"]]


def test_all_children_of_the_clinics_served_whatever_their_status(signed_in, clinic):
    make_child(clinic, given_name="Ada", family_name="Zorn", status=Child.Status.HANDED_OVER)
    make_child(clinic, given_name="Bea", family_name="Abel", status=Child.Status.PAUSED)
    make_child(make_clinic("Eastgate"), given_name="Hidden")
    assert listed(signed_in) == ["Bea", "Ada"]
    page = signed_in.get(reverse("cases")).content.decode()
    assert "handed over" in page
    assert "paused" in page


def test_a_row_says_who_how_old_and_which_limbs(signed_in, clinic):
    child = make_child(clinic)
    make_limb(child, side=Limb.Side.RIGHT, level=Limb.Level.TRANSHUMERAL)
    make_limb(child, side=Limb.Side.LEFT)
    page = signed_in.get(reverse("cases")).content.decode()
    assert child.shown_case_number in page
    assert "8 years 1 month" in page
    assert "left transradial, right transhumeral" in " ".join(page.split())
    assert reverse("case", args=[child.case_number]) in page


def test_a_child_without_a_limb_says_so(signed_in, clinic):
    make_child(clinic)
    assert "no limb entered" in signed_in.get(reverse("cases")).content.decode()


def test_search_by_name_or_case_number_with_or_without_the_dash(signed_in, clinic):
    ada = make_child(clinic, given_name="Ada", family_name="Quill")
    make_child(clinic, given_name="Bea", family_name="Marsh")
    for text in ("ada", "quil", "Ada Quill", ada.case_number, ada.shown_case_number, ada.shown_case_number.lower()):
        assert listed(signed_in, q=text) == ["Ada"], text
    assert listed(signed_in, q="") == ["Bea", "Ada"]
    assert listed(signed_in, q="nobody") == []


def test_what_was_searched_is_shown_harmlessly_when_nothing_is_found(signed_in, clinic):
    make_child(clinic)
    page = signed_in.get(reverse("cases"), {"q": "<b>x"}).content.decode()
    assert "No name or case number holds “&lt;b&gt;x”." in page
    assert reverse("cases") in page


def test_new_child_is_offered_to_those_who_may_enter_one(client, signed_in, clinic):
    make_child(clinic)
    assert reverse("child_new") not in signed_in.get(reverse("cases")).content.decode()
    client.force_login(make_staff(Role.COORDINATOR, clinics=[clinic]))
    assert reverse("child_new") in client.get(reverse("cases")).content.decode()


def test_an_empty_clinic_says_what_to_do(client, clinic):
    client.force_login(make_staff(Role.COORDINATOR, clinics=[clinic]))
    assert "Enter the first child" in client.get(reverse("cases")).content.decode()
    client.force_login(make_staff(Role.COORDINATOR))
    assert "You serve no clinic yet." in client.get(reverse("cases")).content.decode()


def test_the_number_of_queries_does_not_grow(signed_in, clinic, django_assert_num_queries):
    make_limb(make_child(clinic))
    with CaptureQueriesContext(connection) as few:
        signed_in.get(reverse("cases"))
    for _n in range(8):
        make_limb(make_child(clinic))
    with django_assert_num_queries(len(few)):
        signed_in.get(reverse("cases"))


def test_htmx_gets_the_rows_only(signed_in, clinic):
    make_child(clinic, given_name="Juno")
    part = signed_in.get(reverse("cases"), headers={"HX-Request": "true"}).content.decode()
    assert "Juno" in part
    assert "<html" not in part


def test_pages_keep_the_search(signed_in, clinic, monkeypatch):
    monkeypatch.setattr("fitting.views.cases.PAGE_SIZE", 2)
    for _n in range(3):
        make_child(clinic)
    page = signed_in.get(reverse("cases"), {"q": "Quill"}).content.decode()
    assert "?q=Quill&amp;page=2" in page


@pytest.mark.parametrize("role", [Role.MONITOR, Role.ADMINISTRATOR])
def test_only_readers_of_records_get_in(client, clinic, role):
    client.force_login(make_staff(role, clinics=[clinic]))
    assert client.get(reverse("cases")).status_code == 403


def test_going_back_asks_for_the_page_not_the_rows(signed_in, clinic):
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    assert "<html" in signed_in.get(reverse("cases"), headers=headers).content.decode()
