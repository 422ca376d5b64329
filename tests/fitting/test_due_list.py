from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fitting.due import FILTERS, DueState, conditions, counts, due_limbs, in_state
from fitting.models import Forecast
from patients.models import Child, Limb
from patients.roles import Role
from tests.factories import (
    TODAY,
    make_appointment,
    make_child,
    make_clinic,
    make_forecast,
    make_limb,
    make_staff,
    make_visit,
    noon,
)

STATE, NEXT = Forecast.State, Forecast.NextAction


def ago(days):
    return TODAY - timedelta(days=days)


def ahead(days):
    return TODAY + timedelta(days=days)


@pytest.fixture
def clinic(db):
    return make_clinic("Tern Island")


@pytest.fixture
def reader(clinic):
    return make_staff(Role.COORDINATOR, clinics=[clinic])


@pytest.fixture
def signed_in(client, reader, time_machine):
    time_machine.move_to(noon(TODAY), tick=False)
    client.force_login(reader)
    return client


def limb_of(clinic, given_name="Ada", **fields):
    return make_limb(make_child(clinic, given_name=given_name), **fields)


def undated(state, **fields):
    return {"state": state, "early": None, "limiting": "", **fields}


# What a limb's stored promise says, and where that puts it on TODAY.
EXPECTED = [
    (undated(STATE.FIT_PROBLEM, next_action=NEXT.FIT_PROBLEM, act_on=ago(3)), DueState.FIT_PROBLEM),
    ({"next_action": NEXT.FIT_PROBLEM, "act_on": ago(3)}, DueState.FIT_PROBLEM),
    ({"next_action": NEXT.SURGEON, "act_on": ahead(4)}, DueState.FIT_PROBLEM),
    ({"early": ahead(30)}, DueState.OVERDUE),
    ({"layer_on": ago(1)}, DueState.OVERDUE),
    ({"length_on": ago(1)}, DueState.OVERDUE),
    ({"layer_on": TODAY, "act_on": TODAY, "next_action": NEXT.LAYER_OUT}, DueState.SOON),
    ({"remeasure_by": TODAY}, DueState.REMEASURE),
    ({"next_action": NEXT.REMEASURE, "act_on": ago(2)}, DueState.REMEASURE),
    ({"early": ahead(35)}, DueState.START_30),
    ({"early": ahead(65)}, DueState.START_30),
    ({"early": ahead(66)}, DueState.START_90),
    ({"early": ahead(125)}, DueState.START_90),
    ({"early": ahead(126)}, DueState.LATER),
    (undated(STATE.MATURING, remeasure_by=ahead(5)), DueState.MATURING),
    (undated(STATE.NO_SOCKET, next_action=NEXT.MAKE_SOCKET, act_on=ago(9)), DueState.NO_SOCKET),
    (undated(STATE.NO_REFERENCE), DueState.NO_REFERENCE),
    (undated(STATE.MAY_NOT_OUTGROW), DueState.LATER),
    (undated(STATE.MAY_NOT_OUTGROW, act_on=ahead(90)), DueState.SOON),
]


@pytest.mark.parametrize(("promised", "state"), EXPECTED)
def test_the_state_is_the_day_held_against_stored_dates(clinic, reader, promised, state):
    make_forecast(limb_of(clinic), **promised)
    assert due_limbs(reader, TODAY).get().due_state == state


def test_a_limb_never_measured_is_on_the_list_and_wants_a_socket(clinic, reader):
    limb_of(clinic)
    assert due_limbs(reader, TODAY).get().due_state == DueState.NO_SOCKET


def test_fit_problems_first_then_by_the_day_something_must_happen(clinic, reader):
    make_forecast(limb_of(clinic, "Late"), act_on=ahead(40))
    make_forecast(limb_of(clinic, "Passed"), act_on=ago(60))
    limb_of(clinic, "New")
    make_forecast(limb_of(clinic, "Loose"), next_action=NEXT.FIT_PROBLEM, act_on=ago(30))
    make_forecast(limb_of(clinic, "Sore"), **undated(STATE.FIT_PROBLEM, next_action=NEXT.FIT_PROBLEM, act_on=TODAY))
    order = [limb.child.given_name for limb in due_limbs(reader, TODAY)]
    assert order == ["Sore", "Loose", "Passed", "New", "Late"]


@pytest.mark.parametrize("status", [Child.Status.PAUSED, Child.Status.HANDED_OVER])
def test_paused_and_handed_over_children_are_absent(clinic, reader, status):
    make_forecast(make_limb(make_child(clinic, status=status)))
    assert not due_limbs(reader, TODAY).exists()


def test_other_clinics_are_absent_and_so_is_everything_for_a_monitor(clinic, reader):
    make_forecast(make_limb(make_child(make_clinic("Eastgate"))))
    assert not due_limbs(reader, TODAY).exists()
    make_forecast(limb_of(clinic))
    assert due_limbs(reader, TODAY).count() == 1
    assert not due_limbs(make_staff(Role.MONITOR, clinics=[clinic]), TODAY).exists()


def test_an_overdue_limb_with_stale_readings_is_found_under_both(clinic, reader):
    make_forecast(limb_of(clinic), early=ahead(20), remeasure_by=ago(1))
    limbs = due_limbs(reader, TODAY)
    assert in_state(limbs, DueState.OVERDUE, TODAY).get().due_state == DueState.OVERDUE
    assert in_state(limbs, DueState.REMEASURE, TODAY).exists()
    found = counts(limbs, TODAY)
    assert found == {str(state): int(state in (DueState.OVERDUE, DueState.REMEASURE)) for state in FILTERS}


# A slow obvious twin: the same states told from one row in plain Python.
def told(forecast: Forecast, on: date) -> str:
    def within(days):
        return forecast.start_refit_by is not None and on <= forecast.start_refit_by <= on + timedelta(days=days)

    passed = [day for day in (forecast.start_refit_by, forecast.layer_on, forecast.length_on) if day and day < on]
    stale = forecast.remeasure_by is not None and forecast.remeasure_by <= on
    asked = forecast.next_action == NEXT.REMEASURE and forecast.act_on <= on
    holds = {
        DueState.FIT_PROBLEM: forecast.state == STATE.FIT_PROBLEM
        or forecast.next_action in (NEXT.FIT_PROBLEM, NEXT.SURGEON),
        DueState.OVERDUE: bool(passed),
        DueState.REMEASURE: stale or asked,
        DueState.START_30: within(30),
        DueState.START_90: within(90),
        DueState.MATURING: forecast.state == STATE.MATURING,
        DueState.NO_SOCKET: forecast.state == STATE.NO_SOCKET,
        DueState.NO_REFERENCE: forecast.state == STATE.NO_REFERENCE,
        DueState.SOON: forecast.act_on <= on + timedelta(days=90),
    }
    return next((state for state, met in holds.items() if met), DueState.LATER)


SOME_DAY = st.one_of(st.none(), st.integers(-200, 200).map(ahead))


class TestStatesAgreeWithTheSlowTwin(TestCase):
    @settings(max_examples=60, deadline=None)
    @given(
        st.fixed_dictionaries(
            {
                "state": st.sampled_from(STATE.values),
                "next_action": st.sampled_from(NEXT.values),
                "act_on": st.integers(-200, 200).map(ahead),
                "start_refit_by": SOME_DAY,
                "layer_on": SOME_DAY,
                "length_on": SOME_DAY,
                "remeasure_by": SOME_DAY,
            }
        )
    )
    def test_any_promise(self, promised):
        clinic = make_clinic()
        reader = make_staff(Role.COORDINATOR, clinics=[clinic])
        forecast = make_forecast(limb_of(clinic), early=None, **promised)
        assert due_limbs(reader, TODAY).get().due_state == told(forecast, TODAY)


def test_every_state_a_reader_can_ask_for_has_its_condition():
    assert set(FILTERS) <= set(conditions(TODAY))
    assert [*conditions(TODAY), DueState.LATER] == list(DueState)


def test_the_page_says_who_why_and_what_next_with_dates(signed_in, clinic, reader):
    limb = limb_of(clinic, "Juno")
    make_forecast(limb, early=ahead(20), remeasure_by=ahead(200), next_action=NEXT.START_REFIT, act_on=ago(15))
    page = signed_in.get(reverse("due_list")).content.decode()
    assert "Juno" in page
    assert "left transradial" in page
    assert limb.child.shown_case_number in page
    assert "overdue" in page
    assert "Start the refit now: measure and order. It would have had to start by 19 April 2026." in page
    assert "May be outgrown from 24 May 2026, likely around 21 September 2026." in page
    assert "An estimate. The licensed prosthetist decides; local rules come first." in page
    assert reverse("appointment_new", args=[limb.child.case_number]) in page


def test_a_booking_is_shown_instead_of_the_link(signed_in, clinic):
    limb = limb_of(clinic)
    make_appointment(limb.child, noon(ahead(10)))
    make_appointment(limb.child, noon(ahead(3)), status="cancelled")
    page = signed_in.get(reverse("due_list")).content.decode()
    assert "14 May 2026" in page
    assert reverse("appointment_new", args=[limb.child.case_number]) not in page


def found(client, **asked):
    return [row.limb.child.given_name for row in client.get(reverse("due_list"), asked).context["rows"]]


def test_filters_by_clinic_newest_observer_state_and_words(signed_in, clinic, reader):
    east = make_clinic("Eastgate")
    reader.clinics.add(east)
    ada, bea = limb_of(clinic, "Ada"), limb_of(east, "Bea")
    make_forecast(ada, early=ahead(20))
    make_forecast(bea)
    first, second = make_staff(clinics=[clinic], last_name="First"), make_staff(clinics=[clinic], last_name="Second")
    make_visit(ada.child, first, ago(90))
    make_visit(ada.child, second, ago(10))
    make_visit(bea.child, first, ago(10))
    assert found(signed_in) == ["Ada", "Bea"] or found(signed_in) == ["Bea", "Ada"]
    assert found(signed_in, clinic=east.pk) == ["Bea"]
    assert found(signed_in, prosthetist=second.pk) == ["Ada"]
    assert found(signed_in, prosthetist=first.pk) == ["Bea"]
    assert found(signed_in, state="overdue") == ["Ada"]
    assert found(signed_in, q="bea") == ["Bea"]
    assert found(signed_in, q=ada.child.shown_case_number) == ["Ada"]
    assert found(signed_in, q=ada.child.case_number.lower()) == ["Ada"]
    assert found(signed_in, q="bea", state="overdue") == []


def test_only_prosthetists_are_offered_to_narrow_by(signed_in, clinic):
    fitter = make_staff(Role.PROSTHETIST, clinics=[clinic], last_name="Fitter")
    therapist = make_staff(Role.THERAPIST, clinics=[clinic], last_name="Therapist")
    child = limb_of(clinic).child
    for observer in (fitter, therapist):
        make_visit(child, observer, ago(10))
    answer = signed_in.get(reverse("due_list"))
    assert list(answer.context["form"].fields["prosthetist"].queryset) == [fitter]
    assert "Prosthetist (last seen by)" in answer.content.decode()


def test_the_caution_stands_once_above_the_rows(signed_in, clinic):
    make_forecast(limb_of(clinic, "Juno"))
    page = signed_in.get(reverse("due_list")).content.decode()
    caution = "An estimate. The licensed prosthetist decides"
    assert page.count(caution) == 1
    assert page.index(caution) < page.index('<table class="due"')


def test_a_clinic_one_does_not_serve_cannot_be_asked_for(signed_in, clinic, reader):
    reader.clinics.add(make_clinic("Eastgate"))
    other = make_clinic("Elsewhere")
    make_forecast(limb_of(other, "Hidden"))
    make_forecast(limb_of(clinic, "Mine"))
    answer = signed_in.get(reverse("due_list"), {"clinic": other.pk})
    assert [row.limb.child.given_name for row in answer.context["rows"]] == ["Mine"]
    assert "Select a valid choice" in answer.content.decode()


def test_a_state_that_does_not_exist_is_passed_over(signed_in, clinic):
    make_forecast(limb_of(clinic, "Mine"))
    assert found(signed_in, state="nonsense") == ["Mine"]


def test_the_number_of_queries_does_not_grow(signed_in, clinic, django_assert_num_queries):
    def ask():
        signed_in.get(reverse("due_list"))

    def add(count):
        for _n in range(count):
            limb = limb_of(clinic)
            make_visit(limb.child, on=ago(5))
            make_forecast(limb, early=ahead(20))
            make_appointment(limb.child, noon(ahead(3)))
        limb_of(clinic)

    add(1)
    with CaptureQueriesContext(
        connection,
    ) as few:
        ask()
    add(12)
    with django_assert_num_queries(len(few)):
        ask()
    assert len(few) <= 14


def test_htmx_gets_the_rows_only_and_may_not_be_cached_as_the_page(signed_in, clinic):
    make_forecast(limb_of(clinic, "Juno"))
    answer = signed_in.get(reverse("due_list"), headers={"HX-Request": "true"})
    part = answer.content.decode()
    assert "Juno" in part
    assert "<html" not in part
    assert "HX-Request" in answer["Vary"]


def test_links_between_pages_keep_what_was_asked(signed_in, clinic, monkeypatch):
    monkeypatch.setattr("fitting.views.due_list.PAGE_SIZE", 2)
    for name in ("Ada", "Bea", "Cy"):
        make_forecast(limb_of(clinic, name), early=ahead(20))
    page = signed_in.get(reverse("due_list"), {"state": "overdue"}).content.decode()
    assert "Page 1 of 2" in page
    assert "?state=overdue&amp;page=2" in page
    assert len(found(signed_in, state="overdue", page=2)) == 1
    assert len(found(signed_in, state="overdue", page=99)) == 1


def test_empty_pages_say_what_to_do(signed_in, clinic, reader):
    assert "No limb of an active child is entered yet." in signed_in.get(reverse("due_list")).content.decode()
    assert "No limb answers to this." in signed_in.get(reverse("due_list"), {"q": "x"}).content.decode()
    reader.clinics.clear()
    assert "You serve no clinic yet." in signed_in.get(reverse("due_list")).content.decode()


def test_the_day_is_that_of_the_chosen_clinic(signed_in, reader, clinic, time_machine):
    time_machine.move_to("2026-05-04T23:30:00Z", tick=False)
    east = make_clinic("Far East", time_zone="Asia/Tokyo")
    reader.clinics.add(east)
    assert signed_in.get(reverse("due_list"), {"clinic": clinic.pk}).context["as_of"] == date(2026, 5, 4)
    assert signed_in.get(reverse("due_list"), {"clinic": east.pk}).context["as_of"] == date(2026, 5, 5)


@pytest.mark.parametrize("role", [Role.MONITOR, Role.ADMINISTRATOR])
def test_only_readers_of_records_get_in(client, clinic, role):
    client.force_login(make_staff(role, clinics=[clinic]))
    assert client.get(reverse("due_list")).status_code == 403


def test_nobody_gets_in_without_signing_in(client, db):
    answer = client.get(reverse("due_list"))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("sign_in"))


def test_sides_of_a_child_are_two_rows(signed_in, clinic):
    child = make_child(clinic)
    for side in Limb.Side.values:
        make_forecast(make_limb(child, side=side))
    assert len(found(signed_in)) == 2


def test_going_back_asks_for_the_page_not_the_rows(signed_in, clinic):
    headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
    assert "<html" in signed_in.get(reverse("due_list"), headers=headers).content.decode()
