"""Saving a visit: nothing typed is lost, alerts are answered, one submission one visit, stale pages say so."""

import re
from datetime import date, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse

from fitting.models import Forecast, PresentFit, Reading, Visit
from patients.roles import Role
from tests import factories as make
from tests.measure_form import fit_of, form_of, key, send, troubles, url

pytestmark = pytest.mark.django_db
M = Reading.Measure
LAST = date(2026, 1, 12)


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


def test_a_paper_form_is_saved_under_whoever_measured(client, clinic, limb, last_visit, staff):
    measurer = make.make_staff(Role.THERAPIST, clinics=[clinic])
    form = form_of(client, limb.child)
    assert form["observer"] == str(staff.pk)
    form |= {"observer": str(measurer.pk), "stature-take1": "1210"}
    assert send(client, limb.child, form).status_code == 302
    visit = Visit.objects.latest("pk")
    assert (visit.observer, visit.readings.get().recorded_by) == (measurer, staff)


def test_only_staff_who_may_measure_here_are_on_offer(client, clinic, limb, last_visit, staff):
    others = [
        make.make_staff(Role.COORDINATOR, clinics=[clinic]),
        make.make_staff(clinics=[make.make_clinic()]),
        make.make_staff(clinics=[clinic], is_active=False),
    ]
    both = make.make_staff(Role.PROSTHETIST, Role.THERAPIST, clinics=[clinic])
    offered = client.get(url(limb.child)).context["sheet"].visit_form.fields["observer"].queryset
    assert sorted(person.pk for person in offered) == sorted([staff.pk, both.pk])
    for other in others:
        form = {**form_of(client, limb.child), "observer": str(other.pk), "stature-take1": "1210"}
        assert troubles(send(client, limb.child, form)) == ["Measured by"]


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


def test_the_summary_says_why_each_place_needs_somebody(client, limb, socket):
    form = {**form_of(client, limb.child), **fit_of(limb, hold="", marks="", wear_hours_per_day="30")}
    form |= {f"{key(limb, 'residual_length')}-take1": "10.2", "weight-take2": "heavy", "at": "yesterday"}
    response = send(client, limb.child, form)
    whys = {trouble.words: trouble.why for trouble in response.context["sheet"].troubles}
    fit = whys["How the socket fits, left transradial"]
    assert "Hold, Marks on the skin: Say this, or say that the socket is not here today." in fit
    assert "Hours worn a day: Ensure this value is less than or equal to 24" in fit
    assert whys["Date and time"] == "Enter a valid date/time."
    assert whys["Weight"].startswith("Take 2: ")
    length = whys["Residual length, to the soft-tissue end, from the medial epicondyle"]
    assert length.endswith("A unit may be mixed up: was 102 mm meant?")
    text = response.content.decode()
    assert f"from the medial epicondyle</a>: {length}" in text


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
