"""Opening, changing and closing days, and what a day refuses."""

from datetime import UTC, datetime, timedelta

import pytest

from fitting.day_books import book_of, day_books
from fitting.models import Absence, Appointment, ClinicDay
from fitting.services.appointments import book, move
from fitting.services.clinic_days import change_day, close_day, open_day
from fitting.services.steps import StepError
from patients.services import StaleVersionError
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)
MONDAY = make.TODAY + timedelta(days=7)


@pytest.fixture
def clinic():
    return make.make_clinic("Tern Island")


def booking(child, hour=10, minutes=60, on=MONDAY, **fields):
    at = datetime(on.year, on.month, on.day, hour, tzinfo=UTC)
    return Appointment(child=child, clinic=child.clinic, at=at, minutes=minutes, **fields)


def refused(step):
    with pytest.raises(StepError) as refusal:
        step()
    return str(refusal.value), refusal.value.field


def test_a_day_opens_once_and_not_in_the_past(clinic):
    maren = make.make_staff(clinics=[clinic])
    day = open_day(ClinicDay(clinic=clinic, on=MONDAY), [maren], NOW)
    assert list(day.staff.all()) == [maren]
    again = refused(lambda: open_day(ClinicDay(clinic=clinic, on=MONDAY), [], NOW))
    assert again == ("This day is open already. Change it in the list.", "on")
    past = refused(lambda: open_day(ClinicDay(clinic=clinic, on=make.TODAY - timedelta(days=1)), [], NOW))
    assert past == ("This day is past. Choose a later one.", "on")


def test_a_clinic_without_days_books_as_it_likes(clinic):
    assert book(booking(make.make_child(clinic)), NOW).pk


def test_a_closed_day_is_refused_once_the_clinic_plans_by_days(clinic):
    make.make_clinic_day(clinic, MONDAY + timedelta(days=1))
    sentence, field = refused(lambda: book(booking(make.make_child(clinic)), NOW))
    assert sentence == ("Tern Island is closed on 11 May 2026. Choose an open day, or open this one under Clinic days.")
    assert field == "day"


def test_a_full_day_is_refused(clinic):
    make.make_clinic_day(clinic, MONDAY, minutes=100)
    book(booking(make.make_child(clinic)), NOW)
    sentence, field = refused(lambda: book(booking(make.make_child(clinic), hour=12), NOW))
    assert sentence == "11 May 2026 is full: 40 of 100 minutes are free. Choose another day or open one."
    assert field == "day"


def test_a_booking_is_not_in_its_own_way(clinic):
    make.make_clinic_day(clinic, MONDAY, minutes=100)
    row = book(booking(make.make_child(clinic)), NOW)
    row.at += timedelta(hours=1)
    assert move(row, 1, NOW).version == 2


def test_of_two_people_moving_one_booking_the_second_is_refused(clinic):
    row = book(booking(make.make_child(clinic)), NOW)
    first, second = Appointment.objects.get(pk=row.pk), Appointment.objects.get(pk=row.pk)
    first.at += timedelta(hours=1)
    second.at += timedelta(hours=2)
    move(first, 1, NOW)
    with pytest.raises(StaleVersionError):
        move(second, 1, NOW)


def test_a_wrong_clinic_is_refused(clinic):
    row = booking(make.make_child(make.make_clinic("Millbrook"), given_name="Ada", family_name="Quill"))
    row.clinic = clinic
    assert refused(lambda: book(row, NOW)) == (
        "Ada Quill is seen at Millbrook. Book there, or change the child's clinic first.",
        "clinic",
    )


def test_somebody_away_or_not_working_is_refused(clinic):
    maren = make.make_staff(clinics=[clinic], first_name="Maren", last_name="Holloway")
    tobias = make.make_staff(clinics=[clinic], first_name="Tobias", last_name="Reed")
    make.make_clinic_day(clinic, MONDAY, [maren])
    child = make.make_child(clinic)
    sentence, field = refused(lambda: book(booking(child, with_staff=tobias), NOW))
    assert sentence == "Tobias Reed does not work on 11 May 2026. Choose another day or another person."
    Absence.objects.create(staff=maren, first_on=MONDAY - timedelta(days=2), last_on=MONDAY)
    sentence, field = refused(lambda: book(booking(child, with_staff=maren), NOW))
    assert sentence == "Maren Holloway is away on 11 May 2026. Choose another day or another person."
    assert field == "with_staff"


def test_minutes_are_as_many_as_rooms_and_staff_have(clinic):
    maren, tobias = make.make_staff(clinics=[clinic]), make.make_staff(clinics=[clinic])
    make.make_clinic_day(clinic, MONDAY, minutes=300, rooms=2)
    assert book_of(clinic, MONDAY).minutes == 600
    ClinicDay.objects.get().staff.set([maren])
    assert book_of(clinic, MONDAY).minutes == 300
    ClinicDay.objects.get().staff.set([maren, tobias])
    assert book_of(clinic, MONDAY).minutes == 600
    Absence.objects.create(staff=maren, first_on=MONDAY, last_on=MONDAY)
    assert book_of(clinic, MONDAY).minutes == 300
    Absence.objects.create(staff=tobias, first_on=MONDAY, last_on=MONDAY)
    assert book_of(clinic, MONDAY).minutes == 0


def test_a_day_with_bookings_is_neither_closed_nor_cut_short(clinic):
    day = make.make_clinic_day(clinic, MONDAY)
    book(booking(make.make_child(clinic)), NOW)
    assert refused(lambda: close_day(day, 1)) == (
        "1 booking stands on this day. Move or cancel it first.",
        None,
    )
    day = ClinicDay.objects.get()
    day.minutes = 45
    assert refused(lambda: change_day(day, [], 1)) == (
        "60 minutes are booked on this day and 45 would be left. Move bookings first.",
        "minutes",
    )
    assert ClinicDay.objects.get().minutes == 360


def test_a_day_is_closed_by_who_saw_it_last(clinic):
    day = make.make_clinic_day(clinic, MONDAY)
    change_day(ClinicDay.objects.get(), [], 1)
    with pytest.raises(StaleVersionError):
        close_day(day, 1)
    close_day(ClinicDay.objects.get(), 2)
    assert not ClinicDay.objects.exists()


@pytest.mark.parametrize("days", [1, 9])
def test_as_many_queries_for_one_day_as_for_nine(clinic, days, django_assert_num_queries):
    maren = make.make_staff(clinics=[clinic])
    for number in range(days):
        make.make_clinic_day(clinic, MONDAY + timedelta(days=number), [maren])
        make.make_appointment(make.make_child(clinic), make.noon(MONDAY + timedelta(days=number)))
    with django_assert_num_queries(4):
        books = day_books(clinic, MONDAY, MONDAY + timedelta(days=20))
        assert sum(day.used for day in books) == 45 * days
