"""A visit may mark the appointment of its day as kept, in the same transaction."""

from datetime import datetime, timedelta

import pytest

from fitting.models import Appointment, Visit
from tests import factories as make
from tests.measure_form import form_of, send, url

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)
TICK = "Mark the appointment at"


@pytest.fixture
def booked(child, last_visit):
    return make.make_appointment(child, NOW + timedelta(hours=2))


def status(appointment) -> str:
    appointment.refresh_from_db()
    return appointment.status


def filled(client, child, appointment=None, **more):
    """The page as opened, a height typed; the tick stands as it is on the page."""
    form = {**form_of(client, child), "stature-take1": "1210", **more}
    return form | ({f"kept-{appointment.pk}": "on"} if appointment else {})


def test_todays_appointment_is_offered_ticked_and_kept(client, child, booked):
    text = client.get(url(child)).content.decode()
    assert f'name="kept-{booked.pk}" checked' in text
    assert TICK in text
    assert send(client, child, filled(client, child, booked)).status_code == 302
    assert status(booked) == Appointment.Status.FULFILLED
    assert Visit.objects.count() == 2


def test_without_the_tick_it_stays_booked(client, child, booked):
    assert send(client, child, filled(client, child)).status_code == 302
    assert status(booked) == Appointment.Status.BOOKED


def test_a_tick_taken_away_stays_away_when_something_is_wrong(client, child, booked):
    text = send(client, child, filled(client, child, **{"weight-take1": "heavy"})).content.decode()
    assert f'name="kept-{booked.pk}">' in text


@pytest.mark.parametrize("days", [-1, 1])
def test_another_days_appointment_is_not_offered(client, child, last_visit, days):
    other = make.make_appointment(child, NOW + timedelta(days=days))
    assert TICK not in client.get(url(child)).content.decode()
    assert send(client, child, filled(client, child, other)).status_code == 302
    assert status(other) == Appointment.Status.BOOKED


def test_a_visit_of_another_day_offers_that_days_appointment(client, child, booked):
    """The day typed counts: today's stays booked, yesterday's is offered as soon as the row is checked."""
    yesterday = make.make_appointment(child, NOW - timedelta(days=1))
    form = filled(client, child, booked, at=f"{make.TODAY - timedelta(days=1)}T12:00")
    checked = client.post(url(child), {**form, "check": ""}, headers={"HX-Request": "true"}).content.decode()
    assert f'name="kept-{yesterday.pk}" checked' in checked
    assert send(client, child, {**form, f"kept-{yesterday.pk}": "on"}).status_code == 302
    assert (status(booked), status(yesterday)) == ("booked", "fulfilled")


def test_an_appointment_cancelled_meanwhile_stays_cancelled(client, child, booked):
    form = filled(client, child, booked)
    Appointment.objects.filter(pk=booked.pk).update(status=Appointment.Status.CANCELLED)
    assert send(client, child, form).status_code == 302
    assert status(booked) == Appointment.Status.CANCELLED


def test_another_childs_appointment_is_never_marked(client, clinic, child, last_visit):
    other = make.make_appointment(make.make_child(clinic), NOW)
    assert send(client, child, filled(client, child, other)).status_code == 302
    assert status(other) == Appointment.Status.BOOKED


def test_the_day_is_the_clinics_own(client, clinic, child, booked):
    """At noon UTC it is 5 May in Auckland: 23:00 there on the 4th is yesterday."""
    clinic.time_zone = "Pacific/Auckland"
    clinic.save()
    Appointment.objects.filter(pk=booked.pk).update(at=datetime(2026, 5, 4, 11, 0, tzinfo=NOW.tzinfo))
    assert TICK not in client.get(url(child)).content.decode()
    Appointment.objects.filter(pk=booked.pk).update(at=datetime(2026, 5, 4, 22, 0, tzinfo=NOW.tzinfo))
    assert TICK in client.get(url(child)).content.decode()
