"""From due limbs to a proposed plan, and from a proposal to bookings."""

from datetime import timedelta

import pytest

from fitting.day_books import book_of
from fitting.models import Appointment, PlanProposal
from fitting.plan_inputs import plan_inputs
from fitting.services import plan_run
from fitting.services.appointments import book
from fitting.services.plan_run import run_plan
from fitting.services.plans import accept, accept_all, close_dead_plans, first_free_time, propose_plan
from fitting.services.steps import StepError
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)
State = PlanProposal.State


def ahead(days):
    return make.TODAY + timedelta(days=days)


@pytest.fixture
def clinic():
    return make.make_clinic("Tern Island")


@pytest.fixture
def coordinator(clinic):
    return make.make_staff("coordinator", clinics=[clinic])


@pytest.fixture
def prosthetist(clinic):
    return make.make_staff("prosthetist", clinics=[clinic])


def due_limb(clinic, early=60, **child):
    """A limb in a socket whose early day is so many days ahead."""
    limb = make.make_limb(make.make_child(clinic, **child))
    visit = make.make_visit(limb.child)
    make.make_forecast(limb, early=ahead(early), socket=make.make_socket(visit, limb, {0: 186}))
    return limb


def proposal_of(clinic, coordinator, horizon=90):
    return PlanProposal.objects.get(pk=propose_plan(clinic, coordinator, horizon, NOW).pk)


def test_a_plan_puts_who_is_due_on_open_days(clinic, coordinator, prosthetist):
    limb, _later = due_limb(clinic), due_limb(clinic, early=400)
    make.make_clinic_day(clinic, ahead(35), [coordinator, prosthetist])
    proposal = proposal_of(clinic, coordinator)
    (proposed,) = proposal.bookings.all()
    assert (proposal.state, proposed.limb, proposed.on, proposed.minutes) == (State.DONE, limb, ahead(35), 60)
    assert proposed.why == ["best_day", "in_time"] and proposed.with_staff == prosthetist
    assert 0 < proposed.chance < 0.1
    assert proposal.bound <= proposal.cost <= proposal.greedy_cost + 1e-9
    assert not Appointment.objects.exists()


def test_a_socket_that_is_made_is_ready_at_once_and_one_that_is_not_after_the_lead_time(clinic, coordinator):
    limb = due_limb(clinic)
    assert plan_inputs(clinic, make.TODAY, 90).problem.refits[0].ready_on == ahead(28)
    make.make_socket(limb.child.visits.get(), limb, {0: 190}, fitted_on=None)
    assert plan_inputs(clinic, make.TODAY, 90).problem.refits[0].ready_on == make.TODAY


def test_what_bears_on_a_plan_is_read_from_the_records(clinic, coordinator):
    ada = due_limb(clinic, language="es", travel_minutes=150)
    bo = due_limb(clinic, sibling_of=ada.child)
    make.make_clinic_day(clinic, ahead(35), rooms=2, interpreter="es")
    problem = plan_inputs(clinic, make.TODAY, 90).problem
    first, second = problem.refits
    assert (first.language, first.travel_minutes, second.language) == ("es", (("Tern Island", 150),), "")
    assert first.household == second.household == str(ada.child.pk)
    assert bo.child.household == ada.child.pk
    (day,) = problem.days
    assert (day.room_minutes, day.languages, day.staff) == (720, {"es"}, (("", 720),))
    assert {other.on for other in problem.could_open} >= {ahead(1), ahead(36)} and len(problem.could_open) > 90


def test_a_booking_that_stands_is_shown_and_never_moved(clinic, coordinator):
    limb, other = due_limb(clinic), due_limb(clinic)
    make.make_clinic_day(clinic, ahead(35), minutes=60)
    make.make_clinic_day(clinic, ahead(36), minutes=60)
    stands = make.make_appointment(limb.child, make.noon(ahead(36)), kind="refit", minutes=60)
    proposal = proposal_of(clinic, coordinator)
    rows = {row.limb: row for row in proposal.bookings.all()}
    assert (rows[limb].stands, rows[limb].on, rows[limb].why[0]) == (stands, ahead(36), "pinned")
    assert rows[other].on == ahead(35)
    with pytest.raises(StepError, match="booked already"):
        accept(rows[limb], NOW)
    accept_all(proposal, NOW)
    assert Appointment.objects.get(pk=stands.pk).at == stands.at


def test_says_who_finds_no_day_and_what_to_open(clinic, coordinator):
    limb = due_limb(clinic)
    proposal = proposal_of(clinic, coordinator)
    assert proposal.unplaced == [{"limb": limb.pk, "why": "no_clinic_day"}]
    assert proposal.openings[0]["limbs"] == [limb.pk]
    assert proposal.openings[0]["on"] >= f"{ahead(28)}"


def test_a_day_without_anybody_who_fits_sockets_takes_no_refit(clinic, coordinator):
    limb = due_limb(clinic)
    make.make_clinic_day(clinic, ahead(35), [make.make_staff("therapist", clinics=[clinic])])
    assert proposal_of(clinic, coordinator).unplaced == [{"limb": limb.pk, "why": "no_staff_day"}]


def test_accepting_books_the_first_free_time(clinic, coordinator):
    due_limb(clinic)
    make.make_clinic_day(clinic, ahead(35))
    book(Appointment(child=make.make_child(clinic), clinic=clinic, at=make.noon(ahead(35)), minutes=30), NOW)
    (proposed,) = proposal_of(clinic, coordinator).bookings.all()
    booked = accept(proposed, NOW)
    assert (booked.at.hour, booked.kind, booked.minutes) == (9, "refit", 60)
    proposed.refresh_from_db()
    assert proposed.accepted == booked


def test_a_proposal_overtaken_is_refused(clinic, coordinator):
    limb = due_limb(clinic, given_name="Ada", family_name="Quill")
    make.make_clinic_day(clinic, ahead(35), minutes=60)
    proposal = proposal_of(clinic, coordinator)
    nine = make.noon(ahead(35)).replace(hour=9)
    taken = make.make_appointment(make.make_child(clinic), nine, minutes=60)
    full = "Ada Quill: 8 June 2026 has no free time left. Ask for a new plan."
    assert accept_all(proposal, NOW) == ([], [full])
    taken.delete()
    make.make_appointment(limb.child, make.noon(ahead(40)), kind="refit")
    booked, refused = accept_all(proposal, NOW)
    assert booked == [] and "Ada Quill has a fitting on 13 June 2026 by now." in refused[0]


def test_both_arms_of_a_child_are_booked_one_after_the_other(clinic, coordinator):
    limb = due_limb(clinic)
    make.make_forecast(make.make_limb(limb.child, side="right"), early=ahead(60))
    make.make_clinic_day(clinic, ahead(35))
    booked, refused = accept_all(proposal_of(clinic, coordinator), NOW)
    assert refused == []
    assert sorted(row.kind for row in booked) == ["first_fitting", "refit"]
    assert len({row.at for row in booked}) == 2 and book_of(clinic, ahead(35)).used == 150


@pytest.mark.parametrize(
    ("bookings", "minutes", "rooms", "hour"),
    [([], 60, 1, 9), ([(9, 60)], 60, 1, 10), ([(9, 60), (11, 240)], 60, 1, 10), ([(9, 360)], 60, 2, 9)],
)
def test_first_free_time(clinic, bookings, minutes, rooms, hour):
    make.make_clinic_day(clinic, ahead(35), rooms=rooms)
    for start, length in bookings:
        at = make.noon(ahead(35)).replace(hour=start)
        make.make_appointment(make.make_child(clinic), at, minutes=length)
    assert first_free_time(book_of(clinic, ahead(35)), minutes, None).hour == hour


def test_no_time_when_the_day_or_the_person_is_taken(clinic, coordinator):
    make.make_clinic_day(clinic, ahead(35), rooms=2)
    nine = make.noon(ahead(35)).replace(hour=9)
    make.make_appointment(make.make_child(clinic), nine, minutes=330, with_staff=coordinator)
    assert first_free_time(book_of(clinic, ahead(35)), 60, coordinator) is None
    assert first_free_time(book_of(clinic, ahead(35)), 60, None) == nine


def test_one_plan_at_a_time(clinic, coordinator):
    waiting = PlanProposal.objects.create(
        clinic=clinic, as_of=make.TODAY, asked_by=coordinator, asked_at=NOW, touched_at=NOW
    )
    assert propose_plan(clinic, coordinator, 90, NOW) == waiting
    assert close_dead_plans(NOW + timedelta(minutes=1)) == 1
    assert propose_plan(clinic, coordinator, 90, NOW) != waiting


def test_a_finished_plan_is_not_worked_out_again(clinic, coordinator):
    proposal = proposal_of(clinic, coordinator)
    due_limb(clinic)
    run_plan(proposal.pk, NOW)
    assert PlanProposal.objects.get().unplaced == []


def test_an_error_leaves_the_plan_marked(clinic, coordinator, monkeypatch):
    proposal = proposal_of(clinic, coordinator)
    PlanProposal.objects.update(state=State.WAITING)
    monkeypatch.setattr(plan_run, "plan", lambda problem: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        run_plan(proposal.pk, NOW)
    assert PlanProposal.objects.get().state == State.DIED


@pytest.mark.parametrize("limbs", [1, 5])
def test_as_many_queries_for_one_limb_as_for_five(clinic, coordinator, limbs, django_assert_num_queries):
    for _number in range(limbs):
        due_limb(clinic)
    make.make_clinic_day(clinic, ahead(35))
    with django_assert_num_queries(12):
        assert len(plan_inputs(clinic, make.TODAY, 90).problem.refits) == limbs
