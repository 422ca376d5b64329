"""The page of a visit, and correcting one of its readings: the old value stays and says what replaced it and why."""

import json
from datetime import date, timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.models import ClinicSettings, Forecast, Reading
from fitting.services.visits import AlreadyCorrectedError, correct_reading
from fitting.views import reading_correct as page
from patients.roles import Role
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
M = Reading.Measure
LAST = date(2026, 1, 12)
SLIP = {"code": "unit_slip", "answer": "confirmed", "because": "read twice", "figures": {"value": 17.0}}


@pytest.fixture
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


@pytest.fixture
def clinic():
    clinic = make.make_clinic("Tern Island", length_unit="mm")
    ClinicSettings.objects.create(clinic=clinic)
    return clinic


@pytest.fixture
def staff(client, clinic):
    staff = make.make_staff(clinics=[clinic], first_name="Maren", last_name="Holloway")
    client.force_login(staff)
    return staff


@pytest.fixture
def limb(clinic):
    return make.make_limb(make.make_child(clinic))


@pytest.fixture
def before(limb, staff):
    visit = make.make_visit(limb.child, staff, on=LAST - timedelta(days=180))
    make.make_girths(visit, limb, {0: 178.0, 25: 168.0})
    return visit


@pytest.fixture
def visit(limb, staff, before):
    visit = make.make_visit(limb.child, staff, on=LAST, minutes_since_doffing=12, note="Fretful.")
    make.make_girths(visit, limb, {0: 180.0, 25: 170.0})
    make.make_reading(visit, M.STATURE, 1200.0, takes=[1199, 1201], typed=["119.9 cm", "1201"])
    return visit


@pytest.fixture
def girth(visit):
    return visit.readings.get(station_mm=25)


def visit_page(client, visit):
    return client.get(reverse("visit", args=[visit.pk])).content.decode()


def send(client, reading, *takes, why="Tape slipped.", **more):
    row = f"l{reading.limb_id}-girth-25"
    data = {f"{row}-take{number}": text for number, text in enumerate(takes, start=1)}
    data |= {f"{row}-{name}": text for name, text in more.items()}
    return client.post(reverse("reading_correct", args=[reading.pk]), {**data, "why": why})


# The page of a visit


def test_a_visit_is_shown_as_recorded(client, visit):
    text = visit_page(client, visit)
    for words in (
        "12 January 2026",
        "measured by Maren Holloway",
        "bare skin",
        "seated, shoulder relaxed, elbow at 90°",
        "12 minutes since the socket came off",
        "Fretful.",
        "Girth at 25 mm from the cubital fold",
        "<strong>170 mm</strong>",
        "Height, standing",
        "<strong>1200 mm</strong>",
        "119.9 cm / 1201",
        "(1199 mm / 1201 mm)",
    ):
        assert words in text


def test_takes_typed_in_the_clinics_unit_are_not_said_twice(client, visit):
    assert "(170 mm)" not in visit_page(client, visit)


def test_the_fit_of_that_day_is_shown(client, visit, limb):
    socket = make.make_socket(visit, limb, {0: 186.0})
    make.make_present_fit(visit, socket, hold="tight", pain=5, open_skin=True, end_gap_mm=4.0)
    text = visit_page(client, visit)
    for words in ("How socket 1 fitted, left transradial", "tight", "Open skin or blister", "<dd>5</dd>", "4 mm"):
        assert words in text
    assert "Numb" not in text


def test_an_alert_and_its_answer_are_shown(client, girth, visit):
    Reading.objects.filter(pk=girth.pk).update(alerts=[SLIP])
    assert "A unit slip was asked about; confirmed, because: read twice" in visit_page(client, visit)


def test_a_visit_without_readings_says_so(client, limb, staff):
    assert "Nothing was measured at this visit." in visit_page(client, make.make_visit(limb.child, staff))


def test_a_coordinator_reads_but_is_offered_no_correction(client, clinic, visit, girth):
    assert reverse("reading_correct", args=[girth.pk]) in visit_page(client, visit)
    client.force_login(make.make_staff(Role.COORDINATOR, clinics=[clinic]))
    text = visit_page(client, visit)
    assert "<strong>170 mm</strong>" in text
    assert reverse("reading_correct", args=[girth.pk]) not in text
    assert client.get(reverse("reading_correct", args=[girth.pk])).status_code == 403


def test_as_many_queries_for_many_readings_as_for_one(client, limb, staff, visit, django_assert_num_queries):
    visit_page(client, visit)
    with CaptureQueriesContext(connection) as few:
        visit_page(client, visit)
    make.make_girths(visit, limb, dict.fromkeys(range(30, 90, 10), 150.0))
    for reading in list(visit.readings.filter(limb=limb)):
        correct_reading(reading, staff, [151.0], ["151"], "again", make.noon(make.TODAY))
    with django_assert_num_queries(len(few)):
        visit_page(client, visit)


# Correcting


def test_the_old_value_stands_beside_the_fields(client, girth):
    text = client.get(reverse("reading_correct", args=[girth.pk])).content.decode()
    assert "Girth at 25 mm from the cubital fold, left transradial" in text
    assert "<strong>170 mm</strong>" in text
    assert "last 168 mm, 16 Jul 2025" in text


def test_a_correction_supersedes_and_says_why(client, girth, visit, staff, limb):
    response = send(client, girth, "17,3 cm", "174")
    assert response.url == reverse("visit", args=[visit.pk])
    new = Reading.objects.get(supersedes=girth)
    assert (new.value, new.typed, new.why, new.recorded_by) == (173.5, ["17,3 cm", "174"], "Tape slipped.", staff)
    girth.refresh_from_db()
    assert girth.value == 170
    assert Forecast.objects.get(current_for__limb=limb).why == "correction"
    text = visit_page(client, visit)
    assert "<del>170 mm</del>" in text
    assert "Corrected by Maren Holloway, 4 May 2026: Tape slipped." in text
    assert reverse("reading_correct", args=[new.pk]) in text
    assert reverse("reading_correct", args=[girth.pk]) not in text


def test_a_correction_of_a_correction_keeps_both(client, girth, visit, staff):
    first = correct_reading(girth, staff, [172.0], ["172"], "misread", make.noon(make.TODAY))
    assert send(client, first, "174", why="read again").status_code == 302
    text = visit_page(client, visit)
    assert text.index("<strong>174 mm</strong>") < text.index("<del>172 mm</del>") < text.index("<del>170 mm</del>")


@pytest.mark.parametrize(
    ("takes", "why", "sentence"),
    [
        ((), "wrong", "Type the value that should stand there."),
        (("170",), "wrong", "This value stands there already."),
        (("174",), "", "Say why the old value was wrong."),
        (("174",), "x" * 301, "Say it shorter: at most 300 characters."),
        (("abc",), "wrong", "Take 1: This cannot be read as a measurement"),
        (("700",), "wrong", "700 mm is not possible here"),
        (("17.4",), "wrong", "Was 174 mm meant?"),
        (("174", "181"), "wrong", "Take a third."),
        (("150",), "wrong", "Answer this before saving"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_lost(client, girth, takes, why, sentence):
    text = send(client, girth, *takes, why=why).content.decode()
    assert sentence in text
    for typed in (*takes, why):
        assert f'value="{typed}"' in text
    assert not Reading.objects.filter(supersedes=girth).exists()


def test_an_odd_correction_is_confirmed_with_a_reason(client, girth):
    asked = json.dumps({"shrinking": {"first": ["150"], "last": ["150"]}})
    more = {"asked": asked, "shrinking-answer": "confirmed", "shrinking-because": "cast removed"}
    assert send(client, girth, "150", **more).status_code == 302
    assert Reading.objects.get(supersedes=girth).alerts[0]["because"] == "cast removed"


def test_a_typed_value_is_checked_at_once(client, girth):
    data = {f"l{girth.limb_id}-girth-25-take1": "172", "check": f"l{girth.limb_id}-girth-25"}
    response = client.post(reverse("reading_correct", args=[girth.pk]), data, headers={"HX-Request": "true"})
    assert "<strong>172 mm</strong>" in response.content.decode()
    assert not Reading.objects.filter(supersedes=girth).exists()


def test_a_corrected_reading_points_to_the_one_that_stands(client, girth, staff):
    newer = correct_reading(girth, staff, [172.0], ["172"], "misread", make.noon(make.TODAY))
    for response in (client.get(reverse("reading_correct", args=[girth.pk])), send(client, girth, "174")):
        text = response.content.decode()
        assert "Maren Holloway corrected this reading already on 4 May 2026, to 172 mm." in text
        assert reverse("reading_correct", args=[newer.pk]) in text
    assert 'value="174"' in text
    assert Reading.objects.filter(supersedes=girth).count() == 1


def test_two_people_correcting_at_once(client, girth, staff, monkeypatch):
    """The other correction arrives between looking and storing."""

    def too_late(old, by, takes, typed, why, now, alerts=()):
        correct_reading(old, by, [172.0], ["172"], "misread", now)
        raise AlreadyCorrectedError

    monkeypatch.setattr(page, "correct_reading", too_late)
    assert "corrected this reading already" in send(client, girth, "174").content.decode()


def test_a_body_measure_is_corrected_in_its_unit(client, visit):
    stature = visit.readings.get(measure=M.STATURE)
    response = client.post(
        reverse("reading_correct", args=[stature.pk]), {"stature-take1": "47 1/2 in", "why": "shoes on"}
    )
    assert response.status_code == 302
    assert Reading.objects.get(supersedes=stature).value == pytest.approx(1206.5)


def test_another_clinics_reading_is_not_found(client, girth):
    client.force_login(make.make_staff(clinics=[make.make_clinic()]))
    for name, pk in (("visit", girth.visit_id), ("reading_correct", girth.pk)):
        assert client.get(reverse(name, args=[pk])).status_code == 404
