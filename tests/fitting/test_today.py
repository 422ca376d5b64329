from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.models import Appointment, Forecast
from patients.roles import Role
from tests.factories import (
    TODAY,
    make_appointment,
    make_child,
    make_clinic,
    make_forecast,
    make_limb,
    make_staff,
    noon,
)

NEXT = Forecast.NextAction


@pytest.fixture
def clinic(db):
    return make_clinic("Tern Island", time_zone="America/Halifax")


@pytest.fixture
def reader(clinic):
    return make_staff(Role.PROSTHETIST, clinics=[clinic])


@pytest.fixture
def signed_in(client, reader, time_machine):
    time_machine.move_to(noon(TODAY), tick=False)
    client.force_login(reader)
    return client


def shown(client):
    return client.get(reverse("today"))


def names(answer):
    return [appointment.child.given_name for appointment in answer.context["appointments"]]


def book(clinic, given_name, at, **fields):
    return make_appointment(make_child(clinic, given_name=given_name), at, **fields)


def test_the_day_is_the_clinics_own(signed_in, clinic):
    """Halifax is three hours behind UTC in May: its 4 May runs from 03:00 to 03:00 UTC."""
    for name, hour, day in (("Before", 2, 4), ("First", 3, 4), ("Last", 2, 5), ("After", 3, 5)):
        book(clinic, name, datetime(2026, 5, day, hour, 30, tzinfo=UTC))
    answer = shown(signed_in)
    assert names(answer) == ["First", "Last"]
    page = answer.content.decode()
    assert "00:30" in page
    assert "23:30" in page


def test_each_clinic_keeps_its_own_day(signed_in, clinic, reader):
    east = make_clinic("Eastgate", time_zone="Asia/Tokyo")
    reader.clinics.add(east)
    book(clinic, "West", datetime(2026, 5, 5, 2, 0, tzinfo=UTC))
    book(east, "East", datetime(2026, 5, 4, 14, 0, tzinfo=UTC))
    book(east, "Tomorrow", datetime(2026, 5, 4, 16, 0, tzinfo=UTC))
    answer = shown(signed_in)
    assert names(answer) == ["East", "West"]
    assert "<h3>Eastgate</h3>" in answer.content.decode()


def test_each_clinics_hours_stand_together_in_its_own_order(signed_in, clinic, reader):
    """Ten in Tokyo comes hours before nine in Halifax; the list is read clinic by clinic."""
    east = make_clinic("Eastgate", time_zone="Asia/Tokyo")
    reader.clinics.add(east)
    book(clinic, "West 10", datetime(2026, 5, 4, 13, 0, tzinfo=UTC))
    book(east, "East 22", datetime(2026, 5, 4, 13, 0, tzinfo=UTC))
    book(clinic, "West 9", datetime(2026, 5, 4, 12, 0, tzinfo=UTC))
    book(east, "East 21", datetime(2026, 5, 4, 12, 0, tzinfo=UTC))
    assert names(shown(signed_in)) == ["East 21", "East 22", "West 9", "West 10"]


def test_cancelled_and_other_clinics_appointments_are_not_shown(signed_in, clinic):
    book(clinic, "Cancelled", noon(TODAY), status=Appointment.Status.CANCELLED)
    book(clinic, "Kept", noon(TODAY), status=Appointment.Status.FULFILLED)
    book(make_clinic("Elsewhere"), "Hidden", noon(TODAY))
    answer = shown(signed_in)
    assert names(answer) == ["Kept"]
    assert "· kept" in answer.content.decode()


def test_an_appointment_says_what_the_limb_needs_and_leads_to_measure(signed_in, clinic):
    appointment = book(clinic, "Juno", noon(TODAY))
    make_forecast(make_limb(appointment.child), early=TODAY + timedelta(days=400))
    page = shown(signed_in).content.decode()
    assert "left transradial: Remeasure by 31 October 2026." in page
    assert reverse("measure", args=[appointment.child.case_number]) in page
    assert reverse("appointment", args=[appointment.pk]) in page


def test_a_coordinator_books_but_does_not_measure(client, signed_in, clinic):
    appointment = book(clinic, "Juno", noon(TODAY))
    client.force_login(make_staff(Role.COORDINATOR, clinics=[clinic]))
    page = shown(client).content.decode()
    assert reverse("measure", args=[appointment.child.case_number]) not in page
    assert reverse("appointment", args=[appointment.pk]) in page


def test_what_cannot_wait_is_fit_problems_and_what_is_overdue(signed_in, clinic):
    def limb(name, **promised):
        make_forecast(make_limb(make_child(clinic, given_name=name)), **promised)

    limb("Calm")
    limb("Overdue", early=TODAY + timedelta(days=10), next_action=NEXT.START_REFIT, act_on=TODAY)
    limb("Hurts", next_action=NEXT.FIT_PROBLEM, act_on=TODAY, state=Forecast.State.FIT_PROBLEM)
    limb("Stale", remeasure_by=TODAY - timedelta(days=3))
    answer = shown(signed_in)
    assert [row.limb.child.given_name for row in answer.context["rows"]] == ["Hurts", "Overdue"]
    assert "An estimate. The licensed prosthetist decides" in answer.content.decode()


def test_a_long_list_leads_to_the_due_list(signed_in, clinic, monkeypatch):
    monkeypatch.setattr("fitting.views.today.MOST_PRESSING", 2)
    for _n in range(3):
        make_forecast(make_limb(make_child(clinic)), early=TODAY)
    answer = shown(signed_in)
    assert len(answer.context["rows"]) == 2
    assert "The rest stands on the due list" in answer.content.decode()


def test_a_quiet_day_says_what_to_do(signed_in, reader):
    page = shown(signed_in).content.decode()
    assert "Nobody is booked today." in page
    assert "No fit problem is open and nothing is overdue." in page
    reader.clinics.clear()
    assert "You serve no clinic yet." in shown(signed_in).content.decode()


def test_the_number_of_queries_does_not_grow(signed_in, clinic, django_assert_num_queries):
    def add(count):
        for _n in range(count):
            appointment = book(clinic, "Ada", noon(TODAY))
            make_forecast(make_limb(appointment.child), early=TODAY)

    add(1)
    with CaptureQueriesContext(connection) as few:
        shown(signed_in)
    add(6)
    with django_assert_num_queries(len(few)):
        shown(signed_in)


@pytest.mark.parametrize("role", [Role.MONITOR, Role.ADMINISTRATOR])
def test_only_readers_of_records_get_in(client, clinic, role):
    client.force_login(make_staff(role, clinics=[clinic]))
    assert shown(client).status_code == 403
