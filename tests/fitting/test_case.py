from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.models import Forecast, PresentFit, Reading, Sleeve, SleeveDesign, Socket
from fitting.services.promises import repromise
from patients.models import Child, Limb
from patients.roles import Role
from tests.factories import (
    TODAY,
    make_appointment,
    make_child,
    make_clinic,
    make_forecast,
    make_girths,
    make_guardian,
    make_limb,
    make_present_fit,
    make_reading,
    make_socket,
    make_staff,
    make_visit,
    noon,
)

M, STATE, NEXT = Reading.Measure, Forecast.State, Forecast.NextAction
GIRTHS = {0: 190.0, 25: 180.0, 50: 165.0}


@pytest.fixture
def clinic(db):
    return make_clinic("Tern Island")


@pytest.fixture
def prosthetist(clinic):
    return make_staff(Role.PROSTHETIST, clinics=[clinic])


@pytest.fixture
def signed_in(client, prosthetist, time_machine):
    time_machine.move_to(noon(TODAY), tick=False)
    client.force_login(prosthetist)
    return client


def shown(client, child):
    answer = client.get(reverse("case", args=[child.case_number]))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def measured_child(clinic, prosthetist, **fields):
    """A child seen twice, with a socket made from the first visit and worn since, and a forecast by the real engine."""
    child = make_child(clinic, **fields)
    limb = make_limb(child)
    first = make_visit(child, prosthetist, TODAY - timedelta(days=200))
    second = make_visit(child, prosthetist, TODAY - timedelta(days=10))
    for visit, more in ((first, 0.0), (second, 4.0)):
        make_girths(visit, limb, {station: girth + more for station, girth in GIRTHS.items()})
        make_reading(visit, M.STATURE, 1250.0 + 8 * more, None)
        make_reading(visit, M.SOUND_FOREARM_LENGTH, 190.0 + more, limb)
        make_reading(visit, M.RESIDUAL_LENGTH, 95.0, limb)
    design = {station: girth + 6 for station, girth in GIRTHS.items()}
    socket = make_socket(first, limb, design, layers_mm=[1.2], forearm_length_mm=192.0)
    make_present_fit(second, socket, wear_hours_per_day=7.5)
    repromise(limb, as_of=TODAY - timedelta(days=10), why="visit", now=second.at, by=prosthetist)
    return child


def test_who_the_child_is_and_whom_to_call(signed_in, clinic):
    guardians = [make_guardian(), make_guardian(name="Cy Quill", has_legal_authority=False)]
    child = make_child(clinic, guardians, language="es", allergies="nickel", implant=Child.Implant.HOUSEHOLD)
    page = shown(signed_in, child)
    for text in (
        child.shown_case_number,
        "8 years 1 month",
        "born 14 March 2018",
        "Tern Island",
        "family speaks Spanish",
        "nickel",
        "Implant: someone in the household.",
        "Keep sleeve magnets at least 15 cm (6 in) away",
        "Bo Quill, father:",
        'href="tel:555 0142"',
        "(no legal authority)",
    ):
        assert text in page, text


def test_an_implant_nobody_asked_about_is_said(signed_in, clinic):
    assert "Nobody has asked about implants yet." in shown(signed_in, make_child(clinic))
    assert "mplant" not in shown(signed_in, make_child(clinic, implant=Child.Implant.NONE))


def test_a_child_without_a_limb_or_visit_says_what_comes_first(signed_in, clinic):
    child = make_child(clinic)
    page = shown(signed_in, child)
    assert "No limb is entered yet" in page
    assert reverse("limb_new", args=[child.case_number]) in page
    assert "No visit yet." in page
    assert "Nothing is booked." in page
    assert "No guardian is entered yet." in page


def test_a_limb_never_measured_says_so(signed_in, clinic):
    child = make_limb(make_child(clinic)).child
    page = shown(signed_in, child)
    assert "Never measured." in page
    assert "Measure the limb." in page
    assert "no socket" in page


def test_the_forecast_is_told_with_dates_pictures_tables_and_caution(signed_in, clinic, prosthetist):
    child = measured_child(clinic, prosthetist)
    page = shown(signed_in, child)
    record = signed_in.get(reverse("case", args=[child.case_number])).context["record"]
    (row,) = record.limbs
    assert row.forecast.early
    assert [mark.on for mark in row.dates] == sorted(mark.on for mark in row.dates)
    for text in (
        row.next_step,
        "As worn, with its layers in, likely full from",
        "With every layer out, may be outgrown from",
        "First to run out:",
        "An estimate. The licensed prosthetist decides; local rules come first.",
        "No growth table exists for residual limbs.",
        "A tape never says that a socket fits",
        "The picture as a table",
        "Room left as a table",
        "Heights as a table",
        "CDC 2000 growth charts",
        "49 % of the sound side: short",
        "an older rule of the trade goes by the calendar alone",
    ):
        assert text in page, text
    assert page.count('<svg class="chart"') == 4


def test_the_picture_of_the_forecast_starts_from_the_readings_of_its_station(signed_in, clinic, prosthetist):
    child = measured_child(clinic, prosthetist)
    (row,) = signed_in.get(reverse("case", args=[child.case_number])).context["record"].limbs
    assert len(row.fan.readings) == 2
    assert row.room.landmark == "cubital fold"
    assert [bar.station for bar in row.room.bars] == ["0", "25", "50"]


def test_present_fit_comes_before_the_forecast(signed_in, clinic, prosthetist):
    page = shown(signed_in, measured_child(clinic, prosthetist))
    places = [page.index(text) for text in ("Present fit, 24 April 2026", "may be outgrown", "holds well", ">Dates<")]
    assert places == sorted(places)
    assert "holds well" in page
    assert "7.5 hours a day" in page
    assert "nothing found that needs doing." in page


def test_a_fit_problem_says_what_was_found_and_to_stop(signed_in, clinic):
    child = make_child(clinic)
    make_forecast(
        make_limb(child),
        state=STATE.FIT_PROBLEM,
        next_action=NEXT.FIT_PROBLEM,
        act_on=TODAY,
        inputs={"findings": {"red": ["open_skin"]}},
    )
    page = shown(signed_in, child)
    assert "fit problem now" in page
    assert "Seen at the last visit: open skin or a blister." in page
    assert "Stop wearing and call the same day" in page
    assert "verdict-stop" in page


def test_a_calm_limb_is_not_told_to_stop(signed_in, clinic):
    child = make_child(clinic)
    make_forecast(make_limb(child))
    page = shown(signed_in, child)
    assert "Stop wearing and call" not in page
    assert "verdict-stop" not in page


def test_a_corrected_present_fit_is_not_shown_any_more(signed_in, clinic, prosthetist):
    child = measured_child(clinic, prosthetist)
    old = PresentFit.objects.get()
    PresentFit.objects.create(
        visit=old.visit,
        limb=old.limb,
        socket=old.socket,
        hold=PresentFit.Hold.LOOSE,
        supersedes=old,
        why="wrong child",
        recorded_by=prosthetist,
        recorded_at=old.recorded_at,
    )
    page = shown(signed_in, child)
    assert "holds well" not in page
    assert "<dd>loose</dd>" in page


def test_a_maturing_limb_is_given_no_picture_of_a_date(signed_in, clinic, prosthetist):
    child = measured_child(clinic, prosthetist)
    Limb.objects.filter(child=child).update(cause=Limb.Cause.ACQUIRED, acquired_on=TODAY - timedelta(days=300))
    repromise(child.limbs.get(), as_of=TODAY, why="visit", now=noon(TODAY))
    page = shown(signed_in, child)
    assert "maturing" in page
    assert "Nothing is drawn ahead while the limb still settles." in page
    assert "How fast a new residual limb settles is known from adult legs only." in page
    (row,) = signed_in.get(reverse("case", args=[child.case_number])).context["record"].limbs
    assert row.fan is None


def test_a_child_under_two_hears_that_there_is_no_table(signed_in, clinic):
    child = make_child(clinic, birth_date=TODAY - timedelta(days=400))
    make_forecast(make_limb(child), state=STATE.NO_REFERENCE, early=None, notes=["no_reference_under_24m"])
    assert "Under two years there is no growth table for the arm" in shown(signed_in, child)


def test_with_both_limbs_affected_the_length_level_is_estimated_from_height(signed_in, clinic, prosthetist):
    """Elbow-wrist median over stature median of the tables, held against the residual length."""
    child = make_child(clinic)
    limbs = [make_limb(child, side=side) for side in Limb.Side.values]
    visit = make_visit(child, prosthetist)
    make_reading(visit, M.STATURE, 1280.0)
    for limb in limbs:
        make_reading(visit, M.RESIDUAL_LENGTH, 95.0, limb)
    page = shown(signed_in, child)
    assert page.count("% of the length expected from height, for there is no sound side") == 2


def test_a_length_from_another_landmark_gives_no_length_level(signed_in, clinic, prosthetist):
    child = make_child(clinic)
    limb = make_limb(child)
    visit = make_visit(child, prosthetist)
    make_reading(visit, M.SOUND_FOREARM_LENGTH, 190.0, limb)
    make_reading(visit, M.RESIDUAL_LENGTH, 95.0, limb, landmark="olecranon")
    assert "of the sound side" not in shown(signed_in, child)


def test_sockets_layers_and_sleeves_are_listed(signed_in, clinic, prosthetist):
    child = measured_child(clinic, prosthetist)
    socket = Socket.objects.get()
    design = SleeveDesign.objects.create(name="Comet")
    made = {"design": design, "length_mm": 200, "girth_proximal_mm": 200, "girth_distal_mm": 150, "magnets": 4}
    fits = Sleeve.objects.create(limb=socket.limb, made_on=TODAY, **made)
    fits.sockets.add(socket)
    Sleeve.objects.create(limb=socket.limb, made_on=TODAY, **made)
    page = shown(signed_in, child)
    assert "Layer 1, 1.2 mm: still in" in page
    assert reverse("socket", args=[socket.pk]) in page
    assert "2 sleeves" in page
    assert "fits the socket in use" in page
    assert "does not fit the socket in use" in page


def test_visits_and_corrections_lead_to_the_visit(signed_in, clinic, prosthetist):
    child = measured_child(clinic, prosthetist)
    old = Reading.objects.filter(measure=M.GIRTH).first()
    make_reading(old.visit, M.GIRTH, 191.0, old.limb, station_mm=old.station_mm, supersedes=old, why="unit slip")
    page = shown(signed_in, child)
    assert reverse("visit", args=[old.visit.pk]) in page
    assert "1 corrected" in page
    assert page.count("6 readings") == 2


def test_appointments_are_in_the_clinics_time(signed_in, clinic):
    clinic.time_zone = "America/Halifax"
    clinic.save()
    child = make_child(clinic)
    appointment = make_appointment(child, noon(TODAY + timedelta(days=3)))
    page = shown(signed_in, child)
    assert "09:00 remeasure" in page
    assert reverse("appointment", args=[appointment.pk]) in page


# What each role is offered on the page.
OFFERED = {
    Role.PROSTHETIST: {"measure", "appointment_new", "child_edit", "socket_new", "sheets"},
    Role.THERAPIST: {"measure", "sheets"},
    Role.COORDINATOR: {"appointment_new", "child_edit", "sheets"},
}


@pytest.mark.parametrize("role", OFFERED)
def test_actions_follow_the_role(client, clinic, prosthetist, role):
    child = measured_child(clinic, prosthetist)
    client.force_login(make_staff(role, clinics=[clinic]))
    page = shown(client, child)
    limb = child.limbs.get()
    links = {name: reverse(name, args=[child.case_number]) for name in ("measure", "appointment_new", "child_edit")}
    links |= {name: reverse(name, args=[limb.pk]) for name in ("socket_new", "sheets")}
    assert {name for name, link in links.items() if f'href="{link}"' in page} == OFFERED[role]


@pytest.mark.parametrize("role", [Role.PROSTHETIST, Role.COORDINATOR, Role.THERAPIST])
def test_another_clinics_child_is_not_found(client, db, role):
    child = make_child(make_clinic("Eastgate"))
    client.force_login(make_staff(role, clinics=[make_clinic("Tern Island")]))
    assert client.get(reverse("case", args=[child.case_number])).status_code == 404


@pytest.mark.parametrize("role", [Role.MONITOR, Role.ADMINISTRATOR])
def test_only_readers_of_records_get_in(client, clinic, role):
    child = make_child(clinic)
    client.force_login(make_staff(role, clinics=[clinic]))
    assert client.get(reverse("case", args=[child.case_number])).status_code == 403


def test_the_number_of_queries_does_not_grow(signed_in, clinic, prosthetist, django_assert_num_queries):
    child = measured_child(clinic, prosthetist)
    with CaptureQueriesContext(connection) as few:
        shown(signed_in, child)
    other = make_limb(child, side=Limb.Side.RIGHT)
    for days in range(1, 6):
        visit = make_visit(child, prosthetist, TODAY - timedelta(days=days))
        make_girths(visit, other, GIRTHS)
        make_appointment(child, noon(TODAY + timedelta(days=days)))
        socket = make_socket(visit, other, GIRTHS, layers_mm=[1.0], retired_on=TODAY, why_retired="loose")
    make_present_fit(visit, socket)
    repromise(other, as_of=TODAY, why="visit", now=noon(TODAY))
    with django_assert_num_queries(len(few)):
        shown(signed_in, child)


def test_inches_are_shown_where_the_clinic_reads_inches(signed_in, clinic, prosthetist):
    clinic.length_unit = "in"
    clinic.save()
    page = shown(signed_in, measured_child(clinic, prosthetist))
    assert "3.74 in" in page
    assert "95 mm" not in page
