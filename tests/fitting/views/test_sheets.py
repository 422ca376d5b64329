import io
from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pypdf import PdfReader

from fitting.models import Forecast
from patients.models import Child, Clinic
from patients.roles import ROLES_FOR, Action, Role
from tests.factories import (
    TODAY,
    make_child,
    make_clinic,
    make_forecast,
    make_girths,
    make_limb,
    make_socket,
    make_staff,
    make_visit,
    noon,
)

pytestmark = pytest.mark.django_db

PDFS = ["sheet_fitting", "sheet_care", "sheet_form"]
POINTS = {"A4": (595, 842), "Letter": (612, 792)}  # 1/72 inch; ISO 216 and ANSI/ASME Y14.1


@pytest.fixture(autouse=True)
def _today():
    with time_machine.travel(noon(TODAY), tick=False):
        yield


@pytest.fixture
def limb():
    limb = make_limb(make_child(make_clinic("Tern Island")))
    visit = make_visit(limb.child)
    make_girths(visit, limb, {0: 180, 60: 165})
    make_forecast(limb, socket=make_socket(visit, limb, {0: 186, 60: 171}))
    return limb


@pytest.fixture
def stale(limb):
    Forecast.objects.filter(limb=limb).update(remeasure_by=TODAY - timedelta(days=1))


@pytest.fixture
def client(client, limb):
    client.force_login(make_staff(Role.PROSTHETIST, clinics=[limb.child.clinic]))
    return client


def page_size(response):
    box = PdfReader(io.BytesIO(response.content)).pages[0].mediabox
    return round(float(box.width)), round(float(box.height))


def text_of(response):
    return " ".join(" ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(response.content)).pages).split())


@pytest.mark.parametrize("name", PDFS)
def test_a_bare_address_prints_on_the_clinics_paper_under_a_name_that_says_what_it_is(client, limb, name):
    response = client.get(reverse(name, args=[limb.pk]))
    assert response["Content-Type"] == "application/pdf"
    kind = reverse(name, args=[limb.pk]).rpartition("/")[2].removesuffix(".pdf")
    assert response["Content-Disposition"] == f'inline; filename="{kind}-{limb.child.shown_case_number}-left.pdf"'
    assert response["Cache-Control"] == "private, no-store"
    assert "Content-Security-Policy" not in response  # browsers show a PDF with a page of their own
    assert page_size(response) == POINTS["A4"]


@pytest.mark.parametrize("name", PDFS)
def test_letter_by_address(client, limb, name):
    assert page_size(client.get(reverse(name, args=[limb.pk]), {"paper": "Letter"})) == POINTS["Letter"]


def test_letter_by_setting_and_a4_by_address(client, limb):
    address = reverse("sheet_care", args=[limb.pk])
    Clinic.objects.update(paper=Clinic.Paper.LETTER)
    assert page_size(client.get(address)) == POINTS["Letter"]
    assert page_size(client.get(address, {"paper": "A4"})) == POINTS["A4"]


@pytest.mark.parametrize("name", [*PDFS, "sheets"])
def test_another_clinics_limb_is_not_found(client, limb, name):
    other = make_limb()
    assert client.get(reverse(name, args=[other.pk])).status_code == 404
    assert client.get(reverse(name, args=[999999])).status_code == 404


@pytest.mark.parametrize("role", Role)
def test_only_roles_that_print_get_the_page(client, limb, role):
    client.force_login(make_staff(role, clinics=[limb.child.clinic]))
    prints = role in ROLES_FOR[Action.PRINT_SHEET]
    assert client.get(reverse("sheets", args=[limb.pk])).status_code == (200 if prints else 403)


@pytest.mark.parametrize("name", PDFS)
def test_a_role_that_does_not_print_gets_no_sheet(client, limb, name):
    client.force_login(make_staff(Role.MONITOR, Role.ADMINISTRATOR, clinics=[limb.child.clinic]))
    assert client.get(reverse(name, args=[limb.pk])).status_code == 403


@pytest.mark.parametrize("name", [*PDFS, "sheets"])
def test_nobody_signed_in_is_sent_to_sign_in(client, limb, name):
    client.logout()
    response = client.get(reverse(name, args=[limb.pk]))
    assert response.status_code == 302 and response["Location"].startswith(reverse("sign_in"))


@pytest.mark.parametrize("name", PDFS)
def test_a_paper_nobody_sells_is_named_at_the_field(client, limb, name):
    response = client.get(reverse(name, args=[limb.pk]), {"paper": "A5"})
    assert response.status_code == 422
    assert "A5 is not one of the available choices." in response.content.decode()


def test_stale_data_bring_the_page_with_the_sentence_and_the_reason_prints(client, limb, stale):
    address = reverse("sheet_fitting", args=[limb.pk])
    refused = client.get(address)
    assert refused.status_code == 422
    assert "Measure again, or say why the sheet is printed all the same." in refused.content.decode()
    response = client.post(address, {"paper": "Letter", "reason": "Workshop closes for the winter."})
    assert response.status_code == 200 and page_size(response) == POINTS["Letter"]
    assert "Reason: Workshop closes for the winter." in text_of(response)


def test_a_refused_form_keeps_the_paper_chosen(client, limb, stale):
    response = client.post(reverse("sheet_fitting", args=[limb.pk]), {"paper": "Letter", "reason": " "})
    assert response.context["fitting"]["paper"].value() == "Letter"


def test_nothing_measured_is_said_on_the_page(client, limb):
    bare = make_limb(limb.child, side="right")
    response = client.get(reverse("sheet_fitting", args=[bare.pk]))
    assert response.status_code == 422
    assert "Nothing has been measured on this limb yet. Record a visit first." in response.content.decode()


def test_the_care_sheet_takes_the_familys_language_and_the_one_asked_for(client, limb):
    address = reverse("sheet_care", args=[limb.pk])

    def language(**wish):
        return PdfReader(io.BytesIO(client.get(address, wish).content)).trailer["/Root"]["/Lang"]

    assert language() == "en"
    Child.objects.update(language="es")
    assert language() == "es"
    assert language(language="en") == "en"


def test_the_wearer_asked_for_decides_the_steps(client, limb):
    address = reverse("sheet_care", args=[limb.pk])
    assert "Put the arm on for 20 minutes." in text_of(client.get(address))
    assert "Put the arm on for 30 minutes." in text_of(client.get(address, {"wearer": "experienced"}))


def test_the_page_offers_each_sheet(client, limb):
    html = client.get(reverse("sheets", args=[limb.pk])).content.decode()
    for name in PDFS:
        assert f'action="{reverse(name, args=[limb.pk])}"' in html
    assert 'name="reason"' not in html


def test_the_page_says_what_is_stale_and_asks_for_a_reason(client, limb, stale):
    html = client.get(reverse("sheets", args=[limb.pk])).content.decode()
    assert 'name="reason"' in html and "they were to be renewed by 3 May 2026" in html


def test_more_visits_ask_no_more_queries(client, limb, django_assert_num_queries):
    address = reverse("sheets", args=[limb.pk])
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for day in range(1, 4):
        make_girths(make_visit(limb.child, on=TODAY.replace(day=day)), limb, {0: 180, 60: 165})
    with django_assert_num_queries(len(few)):
        client.get(address)
