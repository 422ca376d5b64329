"""The Measure page: present fit first, rows checked while typed, nothing typed is lost, one submission one visit."""

import re
from datetime import date, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.models import ClinicSettings, Forecast, PresentFit, Reading, Visit
from patients.models import Limb
from patients.roles import Role
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
M = Reading.Measure
LAST = date(2026, 1, 12)


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
    staff = make.make_staff(clinics=[clinic])
    client.force_login(staff)
    return staff


@pytest.fixture
def child(clinic):
    return make.make_child(clinic)


@pytest.fixture
def limb(child):
    return make.make_limb(child)


@pytest.fixture
def last_visit(limb, staff):
    visit = make.make_visit(limb.child, staff, on=LAST)
    make.make_girths(visit, limb, {0: 180.0, 25: 170.0})
    make.make_reading(visit, M.RESIDUAL_LENGTH, 100.0, limb, landmark="medial_epicondyle")
    make.make_reading(visit, M.STATURE, 1200.0)
    return visit


@pytest.fixture
def socket(limb, last_visit):
    return make.make_socket(last_visit, limb, {0: 186.0, 25: 176.0})


def url(child):
    return reverse("measure", args=[child.case_number])


def form_of(client, child, query=""):
    """The fields of the page as they stand when it is opened, without ticks and choices."""
    text = client.get(url(child) + query).content.decode()
    fields = {}
    for tag in re.findall(r"<(?:input|textarea)[^>]*>", text):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        if name and not re.search(r'type="(radio|checkbox)"', tag):
            fields[name[1]] = value[1].replace("&quot;", '"') if value else ""
    for select in re.findall(r"<select.*?</select>", text, re.S):
        name = re.search(r'name="([^"]*)"', select)[1]
        fields[name] = re.search(r'value="([^"]*)" selected', select)[1]
    return fields


def fit_of(limb, **findings):
    seen = {"donning": "full", "hold": "good", "marks": "none", "pain": "0", **findings}
    return {f"fit-{limb.pk}-{name}": value for name, value in seen.items()}


def send(client, child, form, **more):
    return client.post(url(child), {**form, **more})


def key(limb, measure, station_mm=None):
    return f"l{limb.pk}-{measure}" + ("" if station_mm is None else f"-{station_mm}")


def troubles(response):
    return [trouble.words for trouble in response.context["sheet"].troubles]


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


# Saving


def test_a_visit_is_saved_with_everything_typed(client, limb, socket, staff):
    form = form_of(client, limb.child) | fit_of(limb, pain="2", wear_hours_per_day="5,5", end_gap_mm="6")
    form |= {
        f"{key(limb, 'girth', 0)}-take1": "18,2 cm",
        f"{key(limb, 'girth', 0)}-take2": "7 1/4 in",
        f"{key(limb, 'girth', 25)}-take1": "172",
        "weight-take1": "25,4",
        "minutes_since_doffing": "15",
        "note": "Calm today.",
    }
    response = client.post(url(limb.child), form, follow=True)
    assert response.redirect_chain[0][0] == reverse("case", args=[limb.child.case_number])
    assert "The visit is saved, and the forecast is made anew." in response.content.decode()
    visit = Visit.objects.latest("pk")
    assert (visit.observer, visit.at, visit.note) == (staff, make.noon(make.TODAY), "Calm today.")
    assert (visit.kind, visit.minutes_since_doffing) == ("remeasure", 15)
    girth = visit.readings.get(station_mm=0)
    assert (girth.typed, girth.landmark) == (["18,2 cm", "7 1/4 in"], "cubital_fold")
    assert girth.value == pytest.approx((182 + 184.15) / 2)
    assert visit.readings.count() == 3
    fit = visit.present_fits.get()
    assert (fit.socket, fit.pain, fit.wear_hours_per_day, fit.end_gap_mm) == (socket, 2, 5.5, 6)
    assert Forecast.objects.get(current_for__limb=limb).visit == visit


def test_a_sent_page_twice_is_one_visit(client, limb, last_visit):
    form = {**form_of(client, limb.child), "stature-take1": "1210"}
    assert send(client, limb.child, form).status_code == 302
    again = client.post(url(limb.child), form, follow=True)
    assert "saved already" in again.content.decode()
    assert Visit.objects.exclude(pk=last_visit.pk).count() == 1


def test_another_childs_submission_is_not_taken_for_this_one(client, clinic, limb, last_visit):
    other = make.make_visit(make.make_child(clinic), submission=uuid4())
    form = {**form_of(client, limb.child), "stature-take1": "1210", "submission": str(other.submission)}
    response = send(client, limb.child, form)
    assert response.status_code == 200
    assert "did not arrive whole" in response.content.decode()


def test_a_page_without_its_submission_is_given_a_new_one(client, limb, last_visit):
    form = {**form_of(client, limb.child), "stature-take1": "1210", "submission": "not one"}
    response = send(client, limb.child, form)
    assert response.status_code == 200
    form["submission"] = response.context["sheet"].visit_form["submission"].value()
    assert send(client, limb.child, form).status_code == 302


def test_two_limbs_are_saved_in_one_visit(client, child, staff):
    limbs = [make.make_limb(child, side=side) for side in ("left", "right")]
    form = form_of(client, child)
    form |= {f"{key(limb, 'residual_length')}-take1": text for limb, text in zip(limbs, ("90", "95"), strict=True)}
    assert send(client, child, form).status_code == 302
    assert {(r.limb, r.value) for r in Visit.objects.get().readings.all()} == {(limbs[0], 90), (limbs[1], 95)}


def test_nothing_typed_is_said(client, limb, last_visit):
    response = send(client, limb.child, form_of(client, limb.child))
    assert troubles(response) == ["Nothing is typed yet: measure at least one place, or write a note."]
    assert send(client, limb.child, form_of(client, limb.child), note="Did not want to.").status_code == 302


def test_an_empty_form_is_no_crash(client, limb, socket):
    response = client.post(url(limb.child), {})
    assert response.status_code == 200
    assert "Nothing is saved yet" in response.content.decode()


def test_nothing_typed_is_lost_on_an_error(client, limb, socket):
    form = form_of(client, limb.child) | fit_of(limb, hold="tight", minutes_to_clear="soon")
    form |= {
        f"{key(limb, 'girth', 0)}-take1": "18,2 cm",
        f"{key(limb, 'girth', 25)}-take2": "abc",
        f"l{limb.pk}-new-station": "40",
        "stature-take1": "47 in",
        "note": "Calm <today>.",
        "at": "yesterday",
        "covering": "sock",
    }
    text = send(client, limb.child, form).content.decode()
    for value in ("18,2 cm", "abc", "40", "47 in", "yesterday", "soon"):
        assert f'value="{value}"' in text
    assert "Calm &lt;today&gt;." in text
    assert re.search(r'value="tight"[^>]*checked', text)
    assert re.search(r'value="sock" selected', text)
    assert not Visit.objects.filter(at__gte=make.noon(make.TODAY)).exists()


def test_an_unreadable_take_is_named_at_its_field(client, limb, last_visit):
    row = key(limb, "girth", 25)
    response = send(client, limb.child, form_of(client, limb.child), **{f"{row}-take2": "abc"})
    text = response.content.decode()
    assert troubles(response) == ["Girth at 25 mm"]
    assert f'href="#{row}-take2"' in text
    assert re.search(rf'id="{row}-take2"[^>]*aria-invalid="true"', text)
    assert "Take 2: This cannot be read as a measurement" in text


@pytest.mark.parametrize(
    ("at", "sentence"),
    [
        ("2026-05-04T12:01", "This is in the future."),
        ("2026-05-05T09:00", "This is in the future."),
        ("2018-03-13T09:00", "This is before the child was born."),
        ("", "This field is required."),
        ("soon", "Enter a valid date/time."),
    ],
)
def test_a_visit_that_cannot_be_is_refused(client, limb, last_visit, at, sentence):
    form = {**form_of(client, limb.child), "stature-take1": "1210", "at": at}
    response = send(client, limb.child, form)
    assert sentence in response.content.decode()
    assert troubles(response) == ["Date and time"]


def test_the_typed_time_is_the_clinics(client, clinic, limb, last_visit):
    clinic.time_zone = "America/Los_Angeles"
    clinic.save()
    form = {**form_of(client, limb.child), "stature-take1": "1210", "at": "2026-05-03T16:30"}
    assert send(client, limb.child, form).status_code == 302
    assert Visit.objects.latest("pk").at == datetime(2026, 5, 3, 16, 30, tzinfo=ZoneInfo("America/Los_Angeles"))


def test_a_visit_entered_late_is_held_against_what_came_before_it(client, limb, last_visit):
    form = {**form_of(client, limb.child), "at": f"{LAST - timedelta(days=1)}T10:00", "stature-take1": "1150"}
    assert send(client, limb.child, form).status_code == 302


# Alerts


def slipped(client, limb, **more):
    row = key(limb, "residual_length")
    form = {**form_of(client, limb.child), f"{row}-take1": "10.2", **more}
    return row, form, send(client, limb.child, form)


def remembered(response, row):
    text = response.content.decode()
    return {
        f"{row}-asked": re.search(rf'name="{row}-asked" value="([^"]*)"', text)[1].replace("&quot;", '"'),
    }


def test_an_alert_must_be_answered_before_saving(client, limb, last_visit):
    row, _form, response = slipped(client, limb)
    text = response.content.decode()
    assert "A unit may be mixed up: was 102 mm meant?" in text
    assert "Answer this before saving" in text
    assert 'value="10.2"' in text
    assert not Visit.objects.exclude(pk=last_visit.pk).exists()


def test_remeasured_is_stored_with_what_stood_there_first(client, limb, last_visit):
    row, form, response = slipped(client, limb)
    form |= remembered(response, row) | {f"{row}-take1": "102"}
    assert send(client, limb.child, form).status_code == 302
    reading = Visit.objects.latest("pk").readings.get()
    assert (reading.value, reading.alerts[0]["answer"], reading.alerts[0]["typed_first"]) == (
        102,
        "remeasured",
        ["10.2"],
    )


def test_confirmed_because_is_stored(client, limb, last_visit):
    row, form, response = slipped(client, limb)
    form |= remembered(response, row)
    form |= {f"{row}-unit_slip-answer": "confirmed", f"{row}-unit_slip-because": "amputated in April"}
    assert send(client, limb.child, form).status_code == 302
    alert = Visit.objects.latest("pk").readings.get().alerts[0]
    assert (alert["code"], alert["because"]) == ("unit_slip", "amputated in April")


def test_a_reason_typed_is_kept_when_something_else_is_wrong(client, limb, last_visit):
    row, form, response = slipped(client, limb)
    form |= remembered(response, row) | {"stature-take1": "tall"}
    form |= {f"{row}-unit_slip-answer": "confirmed", f"{row}-unit_slip-because": "read twice"}
    text = send(client, limb.child, form).content.decode()
    assert 'value="read twice"' in text
    assert re.search(r'value="confirmed" checked', text)


# Present fit


@pytest.mark.parametrize(
    ("findings", "sentence"),
    [
        ({"hold": ""}, "Say this, or say that the socket is not here today."),
        ({"pain": "11"}, "Select a valid choice."),
        ({"end_gap_mm": "far"}, "cannot be read as a measurement"),
        ({"end_gap_mm": "9 cm"}, "This must be from 0 mm to 60 mm."),
        ({"wear_hours_per_day": "30"}, "less than or equal to 24"),
        ({"minutes_to_clear": "soon"}, "Enter a whole number."),
        ({"not_here": "on"}, "Findings stand below."),
    ],
)
def test_what_is_wrong_with_the_fit_is_said_there(client, limb, socket, findings, sentence):
    response = send(client, limb.child, form_of(client, limb.child) | fit_of(limb, **findings))
    assert sentence in response.content.decode()
    assert troubles(response) == ["How the socket fits, left transradial"]


def test_a_socket_that_is_not_here_leaves_no_fit(client, limb, socket):
    form = {**form_of(client, limb.child), f"fit-{limb.pk}-not_here": "on", "stature-take1": "1210"}
    assert send(client, limb.child, form).status_code == 302
    assert not PresentFit.objects.exists()


def test_nothing_about_the_fit_is_taken_for_granted(client, limb, socket):
    form = {**form_of(client, limb.child), "stature-take1": "1210"}
    response = send(client, limb.child, form)
    assert troubles(response) == ["How the socket fits, left transradial"]
    assert not PresentFit.objects.exists()


def test_a_socket_fitted_meanwhile_is_looked_at_first(client, limb, socket, last_visit):
    form = form_of(client, limb.child) | fit_of(limb, hold="tight")
    socket.retired_on, socket.why_retired = make.TODAY, "skin"
    socket.save()
    newer = make.make_socket(last_visit, limb, {0: 190.0})
    response = send(client, limb.child, form)
    text = response.content.decode()
    assert "it is now version 2" in text
    assert re.search(r'value="tight"[^>]*checked', text)
    assert f'name="fit-{limb.pk}-socket" value="{newer.pk}"' in text
    form[f"fit-{limb.pk}-socket"] = newer.pk
    assert send(client, limb.child, form).status_code == 302
    assert PresentFit.objects.get().socket == newer


def test_a_socket_retired_meanwhile_keeps_what_was_typed(client, limb, socket):
    form = form_of(client, limb.child) | fit_of(limb, hold="tight")
    socket.retired_on, socket.why_retired = make.TODAY, "skin"
    socket.save()
    text = send(client, limb.child, form).content.decode()
    assert "This socket was retired after you opened this page." in text
    assert re.search(r'value="tight"[^>]*checked', text)


def test_a_limb_entered_meanwhile_is_said(client, child, limb, last_visit):
    form = {**form_of(client, child), "stature-take1": "1210"}
    other = make.make_limb(child, side="right")
    response = send(client, child, form)
    assert troubles(response) == ["The limbs of this child changed after you opened this page. Look through it again."]
    form["limbs"] = response.context["sheet"].limbs_text
    assert str(other.pk) in form["limbs"]
    assert send(client, child, form).status_code == 302


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
