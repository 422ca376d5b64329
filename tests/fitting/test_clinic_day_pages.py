"""The pages of clinic days and plans: what stands on them, what they refuse, and that nothing is asked row by row."""

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.models import Appointment, ClinicDay, PlanProposal
from fitting.plan_words import NO_DAY, WHY, chance_words, why_words
from patients.roles import Role
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)


def ahead(days):
    return make.TODAY + timedelta(days=days)


@pytest.fixture(autouse=True)
def at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def clinic():
    return make.make_clinic("Tern Island")


@pytest.fixture
def staff(client, clinic):
    staff = make.make_staff(Role.COORDINATOR, clinics=[clinic], first_name="Noa", last_name="Reed")
    client.force_login(staff)
    return staff


def typed(**changed):
    return {"on": f"{ahead(7)}", "opens_at": "09:00", "minutes": "240", "rooms": "1", "interpreter": "", **changed}


def due_limb(clinic, early=60, **child):
    limb = make.make_limb(make.make_child(clinic, **child))
    make.make_forecast(limb, early=ahead(early))
    return limb


def text(response):
    return " ".join(response.content.decode().split())


def test_a_day_is_opened_and_shown_with_its_bookings(client, staff, clinic):
    url = reverse("clinic_days")
    maren = make.make_staff(clinics=[clinic], first_name="Maren", last_name="Holloway")
    assert client.post(url, typed(staff=[maren.pk], interpreter="es")).status_code == 302
    make.make_appointment(make.make_child(clinic, given_name="Ada"), make.noon(ahead(7)), minutes=60)
    page = text(client.get(url))
    for shown in ("11 May 2026", "60 of 240 minutes booked", "Maren Holloway", "interpreter: Spanish", "Ada", "12:00"):
        assert shown in page


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"on": "2026-05-03"}, "on", "This day is past. Choose a later one."),
        ({"on": ""}, "on", "This field is required."),
        ({"minutes": "10"}, "minutes", "Ensure this value is greater than or equal to 15."),
        ({"rooms": "0"}, "rooms", "Ensure this value is greater than or equal to 1."),
        ({"opens_at": "25:00"}, "opens_at", "Enter a valid time."),
    ],
)
def test_a_day_that_cannot_be_opened_is_refused_at_its_field(client, staff, changed, field, sentence):
    page = client.post(reverse("clinic_days"), typed(**changed))
    assert page.context["form"].errors == {field: [sentence]}
    assert sentence in text(page) and not ClinicDay.objects.exists()


def test_staff_of_another_clinic_are_not_offered(client, staff, clinic):
    elsewhere = make.make_staff(clinics=[make.make_clinic("Millbrook")])
    form = client.get(reverse("clinic_days")).context["form"]
    here = make.make_staff(clinics=[clinic])
    assert list(form.fields["staff"].queryset) == [here], (elsewhere, staff)  # a coordinator sees no children


def test_another_clinics_days_are_not_shown(client, staff):
    other = make.make_clinic("Millbrook")
    make.make_clinic_day(other, ahead(7))
    page = client.get(reverse("clinic_days"), {"clinic": other.pk})
    assert page.context["clinic"] is None and "11 May" not in text(page)


def test_a_day_is_changed_and_two_people_do_not_undo_each_other(client, staff, clinic):
    day = make.make_clinic_day(clinic, ahead(7))
    url = reverse("clinic_day", args=[day.pk])
    assert client.post(url, typed(minutes="300", opened_version=1)).status_code == 302
    page = client.post(url, typed(minutes="200", opened_version=1))
    assert [(one.typed, one.saved) for one in page.context["differences"]] == [("200", "300")]
    assert ClinicDay.objects.get().minutes == 300
    assert client.post(url, typed(minutes="200", opened_version=2)).status_code == 302
    assert ClinicDay.objects.get().minutes == 200


def test_a_day_is_closed_unless_somebody_is_booked(client, staff, clinic):
    day = make.make_clinic_day(clinic, ahead(7))
    url = reverse("clinic_day", args=[day.pk])
    booked = make.make_appointment(make.make_child(clinic), make.noon(ahead(7)))
    page = client.post(url, {"close": "yes", "opened_version": 1}, follow=True)
    assert "1 booking stands on this day. Move or cancel it first." in text(page)
    booked.delete()
    stale = client.post(url, {"close": "yes", "opened_version": 7}, follow=True)
    assert "Not closed: somebody changed this day meanwhile." in text(stale)
    assert "The day is closed." in text(client.post(url, {"close": "yes", "opened_version": 1}, follow=True))
    assert not ClinicDay.objects.exists()


def test_a_booking_on_a_full_day_is_refused_at_the_day(client, staff, clinic):
    make.make_clinic_day(clinic, ahead(7), minutes=30)
    child = make.make_child(clinic)
    sent = {"clinic": clinic.pk, "day": f"{ahead(7)}", "time": "09:30", "minutes": 45, "kind": "refit", "note": "x"}
    form = client.post(reverse("appointment_new", args=[child.case_number]), sent).context["form"]
    full = "11 May 2026 is full: 30 of 30 minutes are free. Choose another day or open one."
    assert form.errors == {"day": [full]} and form["note"].value() == "x"


def test_a_booking_shows_how_the_risk_grows_with_the_day(client, staff, clinic):
    limb = due_limb(clinic, early=60)
    for days in (20, 60, 180):
        make.make_clinic_day(clinic, ahead(days), minutes=100)
    page = client.get(reverse("appointment_new", args=[limb.child.case_number]))
    assert [(risk.on, words) for risk, words in page.context["risks"]] == [
        (ahead(20), "less than 5 in 100"),
        (ahead(60), "about 10 in 100"),
        (ahead(180), "about 50 in 100"),
    ]
    assert f'href="?day={ahead(60)}"' in page.content.decode()


def test_no_risk_is_shown_where_there_are_no_dates(client, staff, clinic):
    child = make.make_child(clinic)
    page = client.get(reverse("appointment_new", args=[child.case_number]))
    assert page.context["risks"] == [] and "What a later day risks" not in text(page)


def test_a_clinic_without_days_shows_the_weeks_ahead(client, staff, clinic):
    limb = due_limb(clinic)
    risks = client.get(reverse("appointment_new", args=[limb.child.case_number])).context["risks"]
    assert [risk.on for risk, _words in risks[:2]] == [ahead(0), ahead(7)] and risks[0][0].free is None


def plan_of(client, clinic):
    url = client.post(reverse("plan_new"), {"clinic": clinic.pk, "horizon_days": 90}).url
    return url, client.get(url)


def test_a_plan_is_asked_for_read_and_booked(client, staff, clinic):
    ada, bo = due_limb(clinic, given_name="Ada"), due_limb(clinic, given_name="Bo")
    make.make_clinic_day(clinic, ahead(35), minutes=90)
    make.make_clinic_day(clinic, ahead(40), minutes=180)
    stands = make.make_appointment(bo.child, make.noon(ahead(40)), kind="refit", minutes=60)
    url, page = plan_of(client, clinic)
    for shown in ("Ada", "Bo", "8 Jun 2026", "not booked", "The best day there is.", "This booking stands"):
        assert shown in text(page)
    assert (page.context["to_book"], page.context["stand"]) == (1, 1)
    row = next(row for row in page.context["rows"] if row.is_open)
    after = client.post(url, {"accept": row.proposed.pk}, follow=True)
    assert "1 booked." in text(after) and after.context["to_book"] == 0
    assert set(Appointment.objects.values_list("child", flat=True)) == {ada.child.pk, bo.child.pk}
    assert Appointment.objects.get(pk=stands.pk).at == make.noon(ahead(40))
    assert "Nothing was booked." in text(client.post(url, {"accept": "all"}, follow=True))


def test_a_plan_says_who_has_no_day_and_what_to_open(client, staff, clinic):
    due_limb(clinic, given_name="Ada")
    _url, page = plan_of(client, clinic)
    for shown in ("No refit found a day.", "The clinic has no open day ahead.", "Days to open", "takes 1 refit"):
        assert shown in text(page)


def test_a_plan_under_way_says_how_far_it_is(client, staff, clinic):
    proposal = make.make_proposal(clinic, staff, state=PlanProposal.State.PLANNING)
    page = client.get(reverse("plan", args=[proposal.pk]))
    assert 'aria-current="step">trying days' in text(page) and 'hx-trigger="every 1s"' in text(page)


def test_a_plan_that_died_says_so(client, staff, clinic):
    proposal = make.make_proposal(clinic, staff, state=PlanProposal.State.DIED)
    assert "The plan was not finished." in text(client.get(reverse("plan", args=[proposal.pk])))


@pytest.mark.parametrize("days", ["", "3", "400"])
def test_a_horizon_that_makes_no_plan_is_refused(client, staff, clinic, days):
    page = client.post(reverse("plan_new"), {"clinic": clinic.pk, "horizon_days": days})
    assert list(page.context["form"].errors) == ["horizon_days"] and not PlanProposal.objects.exists()


def queries(client, url):
    with CaptureQueriesContext(
        connection,
    ) as done:
        assert client.get(url).status_code == 200
    return len(done)


def test_as_many_queries_for_one_row_as_for_many(client, staff, clinic):
    def fill(first, count):
        for number in range(first, first + count):
            due_limb(clinic)
            make.make_clinic_day(clinic, ahead(30 + number), [staff])
            make.make_appointment(make.make_child(clinic), make.noon(ahead(30 + number)), with_staff=staff)

    fill(0, 1)
    day = ClinicDay.objects.first()
    urls = [reverse("clinic_days"), reverse("clinic_day", args=[day.pk]), plan_of(client, clinic)[0]]
    one = [queries(client, url) for url in urls]
    fill(1, 4)
    urls[2] = plan_of(client, clinic)[0]
    assert [queries(client, url) for url in urls] == one


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0, "less than 5 in 100"),
        (0.049, "less than 5 in 100"),
        (0.05, "about 5 in 100"),
        (0.12, "about 10 in 100"),
        (0.13, "about 15 in 100"),
        (0.95, "about 95 in 100"),
        (1, "more than 95 in 100"),
    ],
)
def test_a_chance_in_words(chance, words):
    assert chance_words(chance) == words


def test_every_reason_has_its_sentence():
    from fitting.calc.planner import reasons

    codes = {value for name, value in vars(reasons).items() if name.isupper() and isinstance(value, str)}
    codes -= {reasons.ANY_LANGUAGE, reasons.ANYBODY}
    assert codes == {*WHY, *NO_DAY}
    assert why_words(["better_day_full", "in_time"], ahead(3)) == [
        "A better day, 7 May 2026, is full.",
        "In time: by the last good day.",
    ]
