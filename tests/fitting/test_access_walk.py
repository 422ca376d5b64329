"""Every address x every role x another clinic's child. An address that stands in no table below fails the walk."""

import re
from dataclasses import dataclass, field

import pytest
import time_machine
from auditlog.models import LogEntry
from django.core.files.base import ContentFile
from django.urls import get_resolver, reverse

from fitting.models import Absence, ClinicSettings, SleeveDesign
from patients.roles import Role
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]

PROSTHETIST, THERAPIST, COORDINATOR, MONITOR, ADMINISTRATOR = (
    Role.PROSTHETIST,
    Role.THERAPIST,
    Role.COORDINATOR,
    Role.MONITOR,
    Role.ADMINISTRATOR,
)
READERS = {PROSTHETIST, THERAPIST, COORDINATOR}
MEASURERS = {PROSTHETIST, THERAPIST}
OFFICE = {PROSTHETIST, COORDINATOR}


@dataclass(frozen=True)
class Rule:
    """Who may look, who may send, and the answers they get: to a bare look, and to an empty form."""

    read: set
    write: set = field(default_factory=set)
    seen: int = 200
    sent: int = 200


# Written out by hand and not taken from the code. Own clinics only. Prosthetist: all clinical writes. Therapist: visits
# and training. Coordinator: reads everything, writes appointments and contacts, no readings. Monitor: nothing until
# there is a study. Administrator: settings and staff; clinical pages only with a clinical role too.
READ_ONLY = Rule(READERS, sent=405)
SHEET = Rule(READERS, READERS)
PAGES = {
    "today": READ_ONLY,
    "due_list": READ_ONLY,
    "cases": READ_ONLY,
    "forecast_check": Rule(READERS | {ADMINISTRATOR}, {ADMINISTRATOR}),
    "case": READ_ONLY,
    "measure": Rule(MEASURERS, MEASURERS),
    "visit": READ_ONLY,
    "reading_correct": Rule(MEASURERS, MEASURERS),
    "sheets": Rule(READERS, READERS),
    "sheet_fitting": SHEET,
    "sheet_care": SHEET,
    "sheet_form": SHEET,
    "child_new": Rule(OFFICE, OFFICE),
    "child_edit": Rule(OFFICE, OFFICE),
    "limb_new": Rule({PROSTHETIST}, {PROSTHETIST}),
    "socket_new": Rule({PROSTHETIST}, {PROSTHETIST}),
    "socket": Rule(READERS, {PROSTHETIST}),
    "muscle_sites": READ_ONLY,
    "muscle_site_new": Rule(MEASURERS, MEASURERS),
    "muscle_site_replace": Rule(MEASURERS, MEASURERS),
    "muscle_site_photo": READ_ONLY,
    "muscle_settings": READ_ONLY,
    "muscle_recording_new": Rule(MEASURERS, MEASURERS),
    "muscle_recording": Rule(READERS, MEASURERS),
    "muscle_recording_again": Rule(MEASURERS, MEASURERS),
    "muscle_recording_file": READ_ONLY,
    "appointment_new": Rule(OFFICE, OFFICE),
    "appointment": Rule(READERS, OFFICE),
    "clinic_days": Rule(READERS, OFFICE),
    "clinic_day": Rule(READERS, OFFICE),
    "plan_new": Rule(OFFICE, OFFICE),
    "plan": Rule(READERS, OFFICE),
}
OPEN = {"sign_in": 200, "sign_out": 302, "health": 200, "set_language": 302}  # the answer to a look by anybody
# The setup pages: for administrators; the answer to their look where it is not 200.
SETUP = {
    "admin:index": 200,
    "admin:login": 302,
    "admin:logout": 405,
    "admin:password_change": 200,
    "admin:password_change_done": 200,
    "admin:autocomplete": 403,
    "admin:jsi18n": 200,
    "admin:view_on_site": 404,
    "admin:app_list": 200,
    "admin:auth_user_password_change": 200,
    "admin:(?P<url>.*)$": 404,
    "admin:<path:object_id>/": 302,
    "admin:patients_staff_changelist": 200,
    "admin:patients_staff_add": 200,
    "admin:patients_staff_history": 200,
    "admin:patients_staff_delete": 403,
    "admin:patients_staff_change": 200,
    "admin:patients_clinic_changelist": 200,
    "admin:patients_clinic_add": 200,
    "admin:patients_clinic_history": 200,
    "admin:patients_clinic_delete": 403,
    "admin:patients_clinic_change": 200,
    "admin:fitting_sleevedesign_changelist": 200,
    "admin:fitting_sleevedesign_add": 200,
    "admin:fitting_sleevedesign_history": 200,
    "admin:fitting_sleevedesign_delete": 403,
    "admin:fitting_sleevedesign_change": 200,
    "admin:fitting_absence_changelist": 200,
    "admin:fitting_absence_add": 200,
    "admin:fitting_absence_history": 200,
    "admin:fitting_absence_delete": 403,
    "admin:fitting_absence_change": 200,
    "admin:auditlog_logentry_changelist": 200,
    "admin:auditlog_logentry_add": 403,
    "admin:auditlog_logentry_history": 200,
    "admin:auditlog_logentry_delete": 403,
    "admin:auditlog_logentry_change": 200,
}


def addresses(patterns=None, prefix="/", namespace=""):
    """Name and path template of every address of the project."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        route = prefix + str(pattern.pattern).removeprefix("^")
        if hasattr(pattern, "url_patterns"):
            inside = f"{namespace}{pattern.namespace}:" if pattern.namespace else namespace
            yield from addresses(pattern.url_patterns, route, inside)
        else:
            yield namespace + (pattern.name or str(pattern.pattern)), route


ADDRESSES = sorted(set(addresses()))
PAGE_ADDRESSES = [(name, route) for name, route in ADDRESSES if name in PAGES]
SETUP_ADDRESSES = [(name, route) for name, route in ADDRESSES if name in SETUP]


def test_every_address_is_classified():
    names = {name for name, _route in ADDRESSES}
    assert names - PAGES.keys() - OPEN.keys() - SETUP.keys() == set()
    assert (PAGES.keys() | OPEN.keys() | SETUP.keys()) - names == set()


@pytest.fixture
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


@pytest.fixture
def clinic():
    clinic = make.make_clinic("Tern Island")
    ClinicSettings.objects.create(clinic=clinic)
    return clinic


@pytest.fixture
def rows(clinic):
    """One row of every kind that an address names, by the name of the address or of its argument."""
    child = make.make_child(clinic, [make.make_guardian()], given_name="Visible", family_name="Only Here")
    limb, staff = make.make_limb(child), make.make_staff(clinics=[clinic])
    visit = make.make_visit(child, staff)
    reading, *_others = make.make_girths(visit, limb, {0: 180, 50: 160})
    socket = make.make_socket(visit, limb, {0: 186, 50: 166})
    make.make_forecast(limb, socket=socket, visit=visit)
    site = make.make_muscle_site(limb, staff, photo=ContentFile(b"a photo", "photo.jpg"))
    recording = make.make_muscle_recording(site, ContentFile(b"0,1\n", "recording.csv"))
    return {
        "case_number": child.case_number,
        "visit": visit.pk,
        "reading_correct": reading.pk,
        "socket": socket.pk,
        **dict.fromkeys(("muscle_site_replace", "muscle_site_photo"), site.pk),
        **dict.fromkeys(("muscle_recording", "muscle_recording_again", "muscle_recording_file"), recording.pk),
        "appointment": make.make_appointment(child, make.noon(make.TODAY)).pk,
        "clinic_day": make.make_clinic_day(clinic, make.TODAY).pk,
        "plan": make.make_proposal(clinic, staff).pk,
        "pk": limb.pk,
        "id": staff.pk,
        "staff": staff.pk,
        "clinic": clinic.pk,
        "logentry": LogEntry.objects.get_for_object(clinic).first().pk,
        "absence": Absence.objects.create(staff=staff, first_on=make.TODAY, last_on=make.TODAY).pk,
        "sleevedesign": SleeveDesign.objects.create(name="Comet").pk,
    }


def path_to(name, route, rows):
    """An address of an existing row."""
    setup_row = re.search(r"/(staff|clinic|sleevedesign|logentry|absence)/", route)
    values = {
        **rows,
        "pk": rows.get(name, rows["pk"]),
        "object_id": rows[setup_row[1]] if setup_row else 1,
        "content_type_id": 1,
    }
    route = route.replace("(?P<url>.*)", "nowhere/")
    path = re.sub(r"<(?:\w+:)?(\w+)>(?!\.|\w+\|)", lambda found: str(values[found[1]]), route)
    return re.sub(r"\(\?P.*\)", "patients", path).removesuffix("$")


def signed_in(client, clinic, who):
    """Sign a member of staff in by role; "elsewhere" is a prosthetist of another clinic, "inactive" one who left."""
    if who == "anonymous":
        return client
    role = who if isinstance(who, Role) else Role.PROSTHETIST
    served = make.make_clinic("Millbrook") if who == "elsewhere" else clinic
    staff = make.make_staff(role, clinics=[served])
    client.force_login(staff)
    if who == "inactive":
        staff.is_active = False
        staff.save()
    return client


EVERYBODY = ["anonymous", "inactive", "elsewhere", *Role]


def expected(name, route, who, allowed, answer):
    if who in ("anonymous", "inactive"):
        return 302
    if who == "elsewhere":
        return (404 if "<" in route else answer) if PROSTHETIST in allowed else 403
    return answer if who in allowed else 403


def sent_to_sign_in(response):
    return response.status_code == 302 and response.url.startswith(reverse("sign_in"))


@pytest.mark.parametrize("who", EVERYBODY)
def test_who_may_look(client, clinic, rows, who):
    signed_in(client, clinic, who)
    answers, wanted = {}, {}
    for name, route in PAGE_ADDRESSES:
        response = client.get(path_to(name, route, rows))
        answers[name] = response.status_code
        wanted[name] = expected(name, route, who, PAGES[name].read, PAGES[name].seen)
        assert (wanted[name] == 302) == sent_to_sign_in(response), name
        if response.status_code == 200 and who == "elsewhere" and not response.streaming:
            assert b"Visible" not in response.content, name
    assert answers == wanted


@pytest.mark.parametrize("who", EVERYBODY)
def test_who_may_send(client, clinic, rows, who):
    signed_in(client, clinic, who)
    answers, wanted = {}, {}
    for name, route in PAGE_ADDRESSES:
        response = client.post(path_to(name, route, rows), {})
        rule = PAGES[name]
        answers[name] = response.status_code
        wanted[name] = expected(name, route, who, rule.write, rule.sent)
        if rule == READ_ONLY and wanted[name] != 302:
            wanted[name] = 405
        assert (wanted[name] == 302) == sent_to_sign_in(response), name
    assert answers == wanted


@pytest.mark.parametrize("who", EVERYBODY)
def test_the_setup_pages_are_for_administrators(client, clinic, rows, who):
    signed_in(client, clinic, who)
    for name, route in SETUP_ADDRESSES:
        path = path_to(name, route, rows)
        if who == ADMINISTRATOR:
            continue
        for response in (client.get(path), client.post(path, {})):
            if who in ("anonymous", "inactive"):
                assert response.status_code == 302, name
                assert "/sign-in/" in response.url or response.url.startswith("/setup/login/"), name
            else:
                assert response.status_code == 403, name
    if who == ADMINISTRATOR:
        answers = {name: client.get(path_to(name, route, rows)).status_code for name, route in SETUP_ADDRESSES}
        assert answers == SETUP


@pytest.mark.parametrize("name", OPEN)
def test_what_is_open_to_anybody(client, name):
    assert client.get(reverse(name)).status_code == OPEN[name]


def test_a_role_of_one_clinic_does_not_open_another(client, clinic, rows):
    """Somebody who serves two clinics sees both; who serves one sees one."""
    both = make.make_staff(Role.COORDINATOR, clinics=[clinic, make.make_clinic()])
    client.force_login(both)
    assert b"Visible" in client.get(reverse("cases")).content
    client.force_login(make.make_staff(Role.COORDINATOR, clinics=[make.make_clinic()]))
    assert b"Visible" not in client.get(reverse("cases")).content


def test_signing_in_leads_where_the_role_leads(client, clinic):
    for role, landing in ((Role.PROSTHETIST, reverse("today")), (Role.ADMINISTRATOR, reverse("admin:index"))):
        staff = make.make_staff(role, clinics=[clinic])
        response = client.post(reverse("sign_in"), {"username": staff.username, "password": "password"})
        assert response.url == landing
        client.logout()


def test_somebody_who_left_cannot_sign_in(client, clinic):
    staff = make.make_staff(clinics=[clinic], is_active=False)
    response = client.post(reverse("sign_in"), {"username": staff.username, "password": "password"})
    assert response.status_code == 200
    assert response.context["form"].errors
