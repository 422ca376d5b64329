"""Booking, moving and closing appointments: in the clinic's time, never twice at once."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from fitting.forms.appointment import clinic_time
from fitting.models import Appointment
from fitting.services.appointments import book, close, move
from fitting.services.steps import StepError
from patients.roles import Role
from patients.services import StaleVersionError
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)
MADRID = ZoneInfo("Europe/Madrid")


@pytest.fixture(autouse=True)
def at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def clinic():
    return make.make_clinic("Tern Island", time_zone="Europe/Madrid")


@pytest.fixture
def staff(client, clinic):
    staff = make.make_staff(Role.COORDINATOR, clinics=[clinic])
    client.force_login(staff)
    return staff


@pytest.fixture
def prosthetist(clinic):
    return make.make_staff(clinics=[clinic], first_name="Maren", last_name="Holloway")


@pytest.fixture
def child(clinic):
    return make.make_child(clinic)


def typed(clinic, **changed):
    when = {"day": "2026-05-11", "time": "09:30", "minutes": 45}
    return {"clinic": clinic.pk, **when, "kind": "remeasure", "with_staff": "", "note": "", **changed}


def test_a_time_is_the_clinics_own(client, staff, clinic, child, prosthetist):
    sent = typed(clinic, with_staff=prosthetist.pk)
    response = client.post(reverse("appointment_new", args=[child.case_number]), sent)
    booked = Appointment.objects.get()
    assert response.url == reverse("appointment", args=[booked.pk])
    assert booked.at == datetime(2026, 5, 11, 7, 30, tzinfo=UTC)
    assert (booked.child, booked.with_staff, booked.status) == (child, prosthetist, "booked")
    page = client.get(response.url)
    assert page.context["when"] == "11 May 2026 at 9:30 a.m."
    assert 'value="09:30"' in page.content.decode()


def test_the_page_opens_on_the_childs_clinic_and_a_day_asked_for(client, staff, clinic, child):
    page = client.get(reverse("appointment_new", args=[child.case_number]), {"day": "2026-05-20"})
    assert page.context["form"]["clinic"].value() == clinic.pk
    assert 'value="2026-05-20"' in page.content.decode()


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"day": "2026-05-04", "time": "13:59"}, "time", "This time is past. Choose a later one."),
        (
            {"day": "2027-03-28", "time": "02:30"},
            "time",
            "The clock at the clinic skips this time on that day. Choose another.",
        ),
        ({"time": "25:00"}, "time", "Enter a valid time."),
        ({"day": ""}, "day", "This field is required."),
        ({"minutes": "4"}, "minutes", "Ensure this value is greater than or equal to 5."),
        ({"minutes": "481"}, "minutes", "Ensure this value is less than or equal to 480."),
    ],
)
def test_refused_at_its_field_with_nothing_lost(client, staff, clinic, child, changed, field, sentence):
    sent = typed(clinic, note="brings the sleeve", **changed)
    form = client.post(reverse("appointment_new", args=[child.case_number]), sent).context["form"]
    assert form.errors == {field: [sentence]}
    assert form["note"].value() == "brings the sleeve"
    assert not Appointment.objects.exists()


def test_noon_itself_is_not_past(client, staff, clinic, child):
    sent = typed(clinic, day="2026-05-04", time="14:00")  # noon UTC
    assert client.post(reverse("appointment_new", args=[child.case_number]), sent).status_code == 302


def test_staff_of_another_clinic_are_refused(client, staff, clinic, child):
    other = make.make_clinic("Millbrook")
    staff.clinics.add(other)
    elsewhere = make.make_staff(clinics=[other], first_name="Tobias", last_name="Quill")
    url = reverse("appointment_new", args=[child.case_number])
    form = client.post(url, typed(clinic, with_staff=elsewhere.pk)).context["form"]
    assert form.errors == {"with_staff": ["Tobias Quill does not work at Tern Island."]}
    unknown = make.make_staff(clinics=[make.make_clinic()])
    assert "with_staff" in client.post(url, typed(clinic, with_staff=unknown.pk)).context["form"].errors


@pytest.mark.parametrize(
    "who", [{"is_active": False}, {"roles": [Role.ADMINISTRATOR]}, {"roles": [Role.MONITOR]}], ids=str
)
def test_only_staff_who_see_children_are_offered(client, staff, clinic, child, who):
    someone = make.make_staff(*who.pop("roles", []), clinics=[clinic], **who)
    form = client.get(reverse("appointment_new", args=[child.case_number])).context["form"]
    assert someone not in form.fields["with_staff"].queryset
    assert staff in form.fields["with_staff"].queryset


def booking(child, at, minutes=45, **fields):
    return Appointment(child=child, clinic=child.clinic, at=at, minutes=minutes, **fields)


TEN = datetime(2026, 5, 11, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    ("start", "minutes", "free"),
    [
        (-45, 45, True),
        (-44, 45, False),
        (0, 5, False),
        (20, 5, False),
        (44, 45, False),
        (45, 45, True),
        (-60, 480, False),
        (-480, 480, True),
        (-479, 480, False),
    ],
)
def test_overlap_of_child_and_of_staff(child, prosthetist, start, minutes, free):
    make.make_appointment(child, TEN, with_staff=prosthetist)
    at = TEN + timedelta(minutes=start)
    same_child = booking(child, at, minutes)
    same_staff = booking(make.make_child(child.clinic), at, minutes, with_staff=prosthetist)
    if free:
        book(same_child, NOW)
        same_staff.with_staff = prosthetist
        book(same_staff, NOW)
        return
    with pytest.raises(StepError, match="has another appointment from noon to 12:45 p.m.") as child_refused:
        book(same_child, NOW)
    with pytest.raises(StepError, match="Maren Holloway has another appointment") as staff_refused:
        book(same_staff, NOW)
    assert (child_refused.value.field, staff_refused.value.field) == ("time", "with_staff")


def test_a_longer_appointment_before_is_seen(child):
    make.make_appointment(child, TEN - timedelta(minutes=470), minutes=480)
    with pytest.raises(StepError):
        book(booking(child, TEN), NOW)


@pytest.mark.parametrize("status", ["cancelled", "noshow", "fulfilled"])
def test_a_closed_appointment_leaves_its_time_free(child, status):
    make.make_appointment(child, TEN, status=status)
    assert book(booking(child, TEN), NOW).pk


def change(row, **changed):
    local = row.at.astimezone(row.clinic.zone)
    stands = {"day": local.date().isoformat(), "time": f"{local:%H:%M}", "opened_version": row.version}
    return typed(row.clinic, minutes=row.minutes, **stands) | changed


def test_moved(client, staff, child):
    row = make.make_appointment(child, TEN)
    response = client.post(reverse("appointment", args=[row.pk]), change(row, day="2026-05-12", time="11:15"))
    assert response.status_code == 302
    row.refresh_from_db()
    assert (row.at, row.version) == (datetime(2026, 5, 12, 9, 15, tzinfo=UTC), 2)


def test_an_appointment_does_not_overlap_itself(client, staff, child):
    row = make.make_appointment(child, TEN)
    assert client.post(reverse("appointment", args=[row.pk]), change(row, time="12:15")).status_code == 302


def test_a_move_to_a_taken_or_past_time_is_refused(client, staff, child):
    row, _other = make.make_appointment(child, TEN), make.make_appointment(child, TEN + timedelta(hours=2))
    url = reverse("appointment", args=[row.pk])
    page = client.post(url, change(row, time="13:30"))
    assert "has another appointment from 2 p.m. to 2:45 p.m." in page.context["form"].errors["time"][0]
    assert page.context["when"] == "11 May 2026 at noon"  # the page still says how it stands
    past = client.post(url, change(row, day="2026-05-01"))
    assert past.context["form"].errors == {"time": ["This time is past. Choose a later one."]}


def test_the_note_of_a_past_appointment_can_still_be_changed(client, staff, child):
    row = make.make_appointment(child, NOW - timedelta(hours=3))
    assert client.post(reverse("appointment", args=[row.pk]), change(row, note="came late")).status_code == 302
    row.refresh_from_db()
    assert row.note == "came late"


def test_a_stale_move_is_refused_with_both_versions_and_nothing_lost(client, staff, child):
    row = make.make_appointment(child, TEN)
    url, mine = reverse("appointment", args=[row.pk]), change(row, time="15:00", note="mine")
    assert client.post(url, change(row, day="2026-05-13", note="theirs")).status_code == 302
    page = client.post(url, mine)
    assert {(d.label, d.typed, d.saved) for d in page.context["differences"]} == {
        ("Day", "May 11, 2026", "May 13, 2026"),
        ("Time", "3 p.m.", "noon"),
        ("Note", "mine", "theirs"),
    }
    assert page.context["form"]["time"].value() == "15:00"
    assert 'name="opened_version" value="2"' in page.content.decode()
    assert client.post(url, {**mine, "opened_version": 2}).status_code == 302
    row.refresh_from_db()
    assert (row.note, row.version) == ("mine", 3)


def test_a_stale_copy_of_a_closed_appointment_is_shown_as_closed(client, staff, child):
    row = make.make_appointment(child, TEN)
    url, mine = reverse("appointment", args=[row.pk]), change(row, note="mine")
    client.post(url, {"status": "cancelled", "opened_version": 1})
    assert client.post(url, mine).context["differences"] is not None
    again = client.post(url, {**mine, "opened_version": 2})
    assert again.context["form"].non_field_errors() == ["This appointment is closed: book a new one."]


@pytest.mark.parametrize(
    ("hours", "status", "sentence"),
    [
        (-2, "fulfilled", "Marked: kept."),
        (2, "fulfilled", "Marked: kept."),  # later the same day: the child came early
        (48, "fulfilled", "This appointment is on a later day: it cannot have been kept yet."),
        (-2, "noshow", "Marked: missed."),
        (2, "noshow", "This appointment has not begun: it cannot have been missed yet."),
        (48, "cancelled", "Marked: cancelled."),
        (-2, "booked", "Nothing was changed."),
    ],
)
def test_kept_missed_or_cancelled(client, staff, child, hours, status, sentence):
    row = make.make_appointment(child, NOW + timedelta(hours=hours))
    page = client.post(reverse("appointment", args=[row.pk]), {"status": status, "opened_version": 1}, follow=True)
    assert sentence in page.content.decode()
    row.refresh_from_db()
    assert row.status == (status if sentence.startswith("Marked") else "booked")


def test_a_closed_appointment_stays_closed(client, staff, child):
    row = make.make_appointment(child, TEN, status="cancelled")
    url = reverse("appointment", args=[row.pk])
    page = client.post(url, {"status": "fulfilled", "opened_version": 1}, follow=True)
    assert "This appointment is closed already." in page.content.decode()
    assert page.context["closable"] is False
    with pytest.raises(StepError, match="book a new one"):
        move(row, 1, NOW)


def test_closing_a_stale_copy_is_refused(client, staff, child):
    row = make.make_appointment(child, TEN)
    url = reverse("appointment", args=[row.pk])
    client.post(url, change(row, day="2026-05-13"))
    page = client.post(url, {"status": "cancelled", "opened_version": 1}, follow=True)
    assert "Not saved: somebody changed this appointment meanwhile." in page.content.decode()
    row.refresh_from_db()
    assert row.status == "booked"
    with pytest.raises(StaleVersionError):
        close(row, 1, "cancelled", NOW)


def test_a_therapist_reads_an_appointment_and_changes_nothing(client, clinic, child):
    client.force_login(make.make_staff(Role.THERAPIST, clinics=[clinic]))
    row = make.make_appointment(child, TEN)
    url = reverse("appointment", args=[row.pk])
    assert '<form method="post" novalidate' not in client.get(url).content.decode()
    assert client.post(url, {"status": "cancelled", "opened_version": 1}).status_code == 403
    assert client.post(url, change(row, note="mine")).status_code == 403


@pytest.mark.parametrize(
    ("day", "at", "utc"),
    [
        # Madrid leaves summer time at 3:00 on 25 October 2026 and begins it at 2:00 on 28 March 2027
        # (last Sundays of October and March, Directive 2000/84/EC).
        (date(2026, 10, 25), time(2, 30), datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
        (date(2026, 10, 25), time(3, 0), datetime(2026, 10, 25, 2, 0, tzinfo=UTC)),
        (date(2027, 3, 28), time(2, 0), None),
        (date(2027, 3, 28), time(2, 59), None),
        (date(2027, 3, 28), time(3, 0), datetime(2027, 3, 28, 1, 0, tzinfo=UTC)),
    ],
)
def test_clock_changes(day, at, utc):
    assert clinic_time(day, at, MADRID) == utc


@given(st.integers(0, 15 * 366 * 24 * 60))
def test_every_moment_is_read_back_as_its_wall_clock_time(minutes):
    moment = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    local = moment.astimezone(MADRID)
    read = clinic_time(local.date(), local.time(), MADRID)
    assert read.astimezone(MADRID).replace(tzinfo=None) == local.replace(tzinfo=None)
    assert read - moment in (timedelta(0), timedelta(hours=-1))
