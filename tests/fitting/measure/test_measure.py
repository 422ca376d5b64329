"""The Measure page as opened: present fit first, stations, rows checked while typed, who may see it."""

import re
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fitting.models import ClinicSettings, Reading, Visit
from patients.models import Limb
from patients.roles import Role
from tests import factories as make
from tests.measure_form import form_of, key, send, url

pytestmark = pytest.mark.django_db
M = Reading.Measure
LAST = date(2026, 1, 12)


# The page as opened


def test_rows_come_from_the_last_visit(client, limb, last_visit):
    text = client.get(url(limb.child)).content.decode()
    assert f'name="{key(limb, "girth", 0)}-take1"' in text
    assert f'name="{key(limb, "girth", 25)}-take3"' in text
    assert "last 170 mm, 12 Jan 2026" in text
    assert "noise ±6 mm" in text
    assert 'data-station="25"' in text


def test_the_noise_comes_from_the_clinics_settings(client, clinic, limb, last_visit):
    ClinicSettings.objects.filter(clinic=clinic).update(tem_girth_mm=4)
    assert "noise ±11 mm" in client.get(url(limb.child)).content.decode()


def test_what_hurts_comes_before_everything(client, socket):
    text = client.get(url(socket.limb.child)).content.decode()
    fit, facts, girths = (text.index(words) for words in ("What hurts today?", "The visit</h2>", "Girths"))
    assert fit < facts < girths
    assert "Stop wearing and call the same day" in text[fit:facts]


def test_overgrowth_is_asked_only_where_it_happens(client, child, staff):
    limb = make.make_limb(child, level=Limb.Level.ELBOW_DISARTICULATION)
    make.make_socket(make.make_visit(child, staff), limb, {0: 180.0})
    text = client.get(url(child)).content.decode()
    assert "What hurts today?" in text
    assert "tender bony tip" not in text


def test_without_a_socket_no_fit_is_asked(client, limb, last_visit):
    assert "What hurts today?" not in client.get(url(limb.child)).content.decode()


def test_a_first_visit_is_an_assessment_and_later_ones_remeasure(client, child, limb, staff):
    assert form_of(client, child)["kind"] == "assessment"
    make.make_reading(make.make_visit(child, staff, on=LAST), M.STATURE, 1200.0)
    assert form_of(client, child)["kind"] == "remeasure"


def test_the_time_is_the_clinics_own(client, clinic, child, staff):
    clinic.time_zone = "Pacific/Auckland"
    clinic.save()
    assert form_of(client, child)["at"] == "2026-05-05T00:00"


def test_two_limbs_are_on_one_page_and_the_chosen_one_is_first(client, child, staff):
    left, right = make.make_limb(child, side="left"), make.make_limb(child, side="right")
    for first, second in ((left, right), (right, left)):
        text = client.get(url(child) + f"?first={first.pk}").content.decode()
        assert text.index(f'id="drawing-{first.pk}"') < text.index(f'id="drawing-{second.pk}"')
    assert "The sound side" not in text


def test_a_child_without_a_limb_has_its_body_measured(client, child, staff):
    text = client.get(url(child)).content.decode()
    assert "No limb is entered yet" in text
    form = form_of(client, child)
    assert send(client, child, form, **{"stature-take1": "1200"}).status_code == 302
    assert Reading.objects.get().value == 1200


@pytest.mark.parametrize("level", Limb.Level)
def test_every_level_opens(client, child, staff, level):
    make.make_limb(child, level=level)
    assert client.get(url(child)).status_code == 200


# Stations


def test_stations_are_laid_out_along_the_residual_length(client, limb, staff):
    form = form_of(client, limb.child)
    response = send(client, limb.child, form, **{f"{key(limb, 'residual_length')}-take1": "7 cm", "lay-out": limb.pk})
    assert list(response.context["sheet"].stations[limb.pk].mm) == [0, 15, 30, 45, 60]
    assert 'value="7 cm"' in response.content.decode()
    assert not Visit.objects.exists()


def test_laying_out_needs_the_length(client, limb, staff):
    response = send(client, limb.child, form_of(client, limb.child), **{"lay-out": limb.pk})
    assert "Type the residual length first" in response.content.decode()


@pytest.mark.parametrize(
    ("typed", "stations"), [("40", [0, 25, 40]), ("1.5 in", [0, 25, 38.1]), ("12,5", [0, 12.5, 25])]
)
def test_a_station_is_added(client, limb, last_visit, typed, stations):
    form = form_of(client, limb.child)
    form[f"{key(limb, 'girth', 0)}-take1"] = "abc"
    response = send(client, limb.child, form, **{f"l{limb.pk}-new-station": typed, "add-station": limb.pk})
    assert list(response.context["sheet"].stations[limb.pk].mm) == stations
    assert 'value="abc"' in response.content.decode()
    added = next(station for station in stations if station not in (0, 25))
    name = f"{key(limb, 'girth', f'{added:g}'.replace('.', '-'))}-take1"
    assert re.search(rf'name="{name}"[^>]*autofocus', response.content.decode())


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("", "Type a number"),
        ("long", "cannot be read"),
        ("25", "there already"),
        ("9 m", "farther than any limb"),
    ],
)
def test_what_is_wrong_with_a_station_is_said_there(client, limb, last_visit, typed, sentence):
    form = form_of(client, limb.child)
    response = send(client, limb.child, form, **{f"l{limb.pk}-new-station": typed, "add-station": limb.pk})
    assert sentence in response.context["sheet"].stations[limb.pk].error
    assert sentence in response.content.decode()


def test_a_crowd_of_stations_is_refused(client, limb, staff):
    form = {**form_of(client, limb.child), f"l{limb.pk}-stations": ",".join(str(mm) for mm in range(24))}
    response = send(client, limb.child, form, **{f"l{limb.pk}-new-station": "90", "add-station": limb.pk})
    assert "No more stations" in response.content.decode()


def test_stations_that_are_no_distances_are_left_out(client, limb, staff):
    form = {**form_of(client, limb.child), f"l{limb.pk}-stations": "x,,-5,20,nan,1e9,inf"}
    response = send(client, limb.child, form, **{"add-station": limb.pk, f"l{limb.pk}-new-station": "30"})
    assert list(response.context["sheet"].stations[limb.pk].mm) == [20, 30]


def stations_shown(client, limb):
    return list(client.get(url(limb.child)).context["sheet"].stations[limb.pk].mm)


def test_a_visit_cut_short_forgets_no_station_of_the_socket(client, limb, socket, staff):
    make.make_girths(make.make_visit(limb.child, staff, on=date(2026, 4, 1)), limb, {40: 160.0})
    assert stations_shown(client, limb) == [0, 25, 40]


def test_without_a_socket_the_last_two_visits_give_the_stations(client, limb, last_visit, staff):
    make.make_girths(make.make_visit(limb.child, staff, on=LAST - timedelta(days=90)), limb, {70: 150.0})
    make.make_girths(make.make_visit(limb.child, staff, on=date(2026, 4, 1)), limb, {40: 160.0})
    assert stations_shown(client, limb) == [0, 25, 40]


# Checking a row


def check(client, child, form, row):
    response = client.post(url(child), {**form, "check": row}, headers={"HX-Request": "true"})
    assert response.status_code == 200
    return response.content.decode()


def test_a_checked_row_says_what_its_takes_come_to(client, limb, last_visit):
    form = {**form_of(client, limb.child), f"{key(limb, 'girth', 25)}-take1": "172"}
    text = check(client, limb.child, form, key(limb, "girth", 25))
    assert "<strong>172 mm</strong>" in text
    assert "+2 mm: inside the noise of ±6 mm" in text
    assert f'id="{key(limb, "girth", 25)}-notes" hx-swap-oob="true"' in text
    assert "take1" not in text
    assert f'id="drawing-{limb.pk}" hx-swap-oob="true"' in text


def test_only_changed_rows_are_sent_again(client, limb, last_visit):
    form = {**form_of(client, limb.child), f"{key(limb, 'girth', 25)}-take1": "172"}
    assert check(client, limb.child, form, "").count("place-notes") == 1


def test_checking_stores_nothing_and_says_nothing_about_what_is_not_answered_yet(client, limb, last_visit):
    form = {**form_of(client, limb.child), f"{key(limb, 'residual_length')}-take1": "80"}
    text = check(client, limb.child, form, key(limb, "residual_length"))
    assert "less than last time" in text
    assert "Answer this before saving" not in text
    assert Visit.objects.count() == 1


def test_a_changed_covering_checks_every_row(client, limb, last_visit):
    form = {**form_of(client, limb.child), f"{key(limb, 'girth', 25)}-take1": "150"}
    assert "less than last time" in check(client, limb.child, form, "")
    assert "last time bare skin" in check(client, limb.child, {**form, "covering": "sock"}, "")


# Who and how many queries


@pytest.mark.parametrize(("role", "answer"), [(Role.PROSTHETIST, 200), (Role.THERAPIST, 200), (Role.COORDINATOR, 403)])
def test_who_may_record_a_visit(client, clinic, limb, role, answer):
    client.force_login(make.make_staff(role, clinics=[clinic]))
    assert client.get(url(limb.child)).status_code == answer


def test_another_clinics_child_is_not_found(client, limb):
    client.force_login(make.make_staff(clinics=[make.make_clinic()]))
    assert client.get(url(limb.child)).status_code == 404


def test_as_many_queries_for_many_visits_as_for_one(client, limb, socket, staff, django_assert_num_queries):
    client.get(url(limb.child))
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(url(limb.child))
    for month in (2, 3, 4):
        visit = make.make_visit(limb.child, staff, on=date(2026, month, 1))
        make.make_girths(visit, limb, dict.fromkeys(range(0, 60, 10), 170.0))
    with django_assert_num_queries(len(few)):
        client.get(url(limb.child))


def test_in_inches_and_in_spanish(client, clinic, limb, last_visit):
    clinic.length_unit = "in"
    clinic.save()
    text = client.get(url(limb.child), headers={"Accept-Language": "es"}).content.decode()
    assert 'data-station="25"' in text
    assert f'name="l{limb.pk}-stations" value="0,25"' in text
    form = {**form_of(client, limb.child), f"{key(limb, 'girth', 25)}-take1": "6 3/4"}
    assert send(client, limb.child, form).status_code == 302
    assert Visit.objects.latest("pk").readings.get().value == pytest.approx(171.45)
