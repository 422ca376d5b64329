"""Every main page in a real browser: accessible, narrow enough for a phone, and quiet on the console."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse

from fitting.models import Appointment, ClinicDay, Reading, Socket, Visit
from patients.models import Child, Limb

pytestmark = pytest.mark.browser

GRAVE = {"serious", "critical"}
PHONE_WIDTH = 390


def clinical_urls(child: Child) -> list[str]:
    """Address of every page a prosthetist reaches for a child."""
    case, limb = {"case_number": child.case_number}, Limb.objects.get(child=child)
    socket, visit = Socket.objects.in_use().get(limb=limb), Visit.objects.filter(child=child).first()
    appointment = Appointment.objects.booked().filter(child=child).first()
    reading = Reading.objects.filter(visit=visit).first()
    return [
        reverse("today"),
        reverse("due_list"),
        reverse("cases"),
        reverse("clinic_days"),
        reverse("clinic_day", args=[ClinicDay.objects.filter(clinic=child.clinic).first().pk]),
        reverse("plan_new"),
        reverse("forecast_check"),
        reverse("child_new"),
        *(reverse(name, kwargs=case) for name in ("case", "measure", "child_edit", "limb_new", "appointment_new")),
        reverse("visit", args=[visit.pk]),
        reverse("reading_correct", args=[reading.pk]),
        reverse("socket_new", args=[limb.pk]),
        reverse("socket", args=[socket.pk]),
        reverse("sheets", args=[limb.pk]),
        reverse("appointment", args=[appointment.pk]),
    ]


@pytest.fixture
def spoken(open_page):
    """A prosthetist's page and what its console has said."""
    page, said = open_page("maren"), []
    page.on("console", lambda message: said.append(f"{page.url} {message.text}"))
    page.on("pageerror", lambda error: said.append(f"{page.url} {error}"))
    return page, said


def grave_violations(page):
    found = Axe().run(page).response["violations"]
    return [
        f"{page.url} {violation['id']}: {violation['help']} {[node['target'] for node in violation['nodes']][:3]}"
        for violation in found
        if violation["impact"] in GRAVE
    ]


def test_no_page_has_a_grave_accessibility_violation_or_an_error(spoken, mila):
    page, said = spoken
    violations = []
    for url in clinical_urls(mila):
        assert page.goto(url).status == 200, url
        violations += grave_violations(page)
    assert violations == []
    assert said == []


def test_dark_pages_keep_their_contrast(open_page, mila):
    page = open_page("maren")
    page.emulate_media(color_scheme="dark")
    violations = []
    for url in clinical_urls(mila):
        page.goto(url)
        violations += grave_violations(page)
    assert violations == []


def test_no_page_scrolls_sideways_on_a_phone(open_page, mila):
    page = open_page("maren", width=PHONE_WIDTH)
    wide = []
    for url in clinical_urls(mila):
        page.goto(url)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > PHONE_WIDTH:
            wide.append(f"{url} is {width} wide")
    assert wide == []


def test_setup_pages_are_accessible(open_page):
    page = open_page("lennox")
    violations = []
    for url in (reverse("admin:index"), reverse("admin:patients_clinic_changelist")):
        assert page.goto(url).status == 200, url
        violations += grave_violations(page)
    assert violations == []


def test_the_sign_in_page_is_accessible(browser, live_server, few_children):
    page = browser.new_page()
    page.goto(f"{live_server.url}/sign-in/")
    violations = grave_violations(page)
    page.close()
    assert violations == []
