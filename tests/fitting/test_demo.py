"""The whole invented scenario, loaded once: what it holds, and each story on the due list.

On SQLite only, for it takes a while; management/test_demo_command.py loads a part of it on both databases.
"""

from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest
from django.core.management import call_command
from django.db import models, transaction
from django.test import override_settings

from fitting.calc.takes import closest_two_mean
from fitting.calc.units import age_years
from fitting.demo.families import DEMO_PASSWORD
from fitting.demo.scenario import load_scenario
from fitting.demo.tables import demo_rows
from fitting.due import DueState, due_limbs, in_state
from fitting.models import (
    Appointment,
    Forecast,
    Layer,
    LevelSettings,
    MuscleRecording,
    Reading,
    Sleeve,
    SleeveDesign,
    Socket,
    Visit,
)
from fitting.muscle_record import site_rows
from fitting.quantities import parse_length_mm, parse_weight_kg
from patients.models import Child, Clinic, Guardian, Limb, Staff
from patients.roles import Role

pytestmark = pytest.mark.sqlite

NOW = datetime(2026, 5, 4, 15, 30, tzinfo=UTC)  # a Monday in every clinic's time zone
TODAY = NOW.date()
FAST_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORY_OF = {f"{row['given_name']} {row['family_name']}": row["story"] for row in demo_rows("children")}

# The state each story is found under on the due list; the stories left out show on the case alone.
PROMISED_STATE = {
    "fit_problem": DueState.FIT_PROBLEM,
    "open_skin": DueState.FIT_PROBLEM,
    "overgrowth": DueState.FIT_PROBLEM,
    "loose": DueState.FIT_PROBLEM,
    "overdue": DueState.OVERDUE,
    "layer_due": DueState.OVERDUE,
    "longer_sleeve": DueState.OVERDUE,
    "stale": DueState.REMEASURE,
    "weight_change": DueState.REMEASURE,
    "maturing": DueState.MATURING,
    "no_socket": DueState.NO_SOCKET,
}
NEXT_ACTION = {
    "overgrowth": Forecast.NextAction.SURGEON,
    "layer_due": Forecast.NextAction.LAYER_OUT,
    "longer_sleeve": Forecast.NextAction.LENGTHEN,
    "overdue": Forecast.NextAction.START_REFIT,
    "weight_change": Forecast.NextAction.REMEASURE,
    "no_socket": Forecast.NextAction.MAKE_SOCKET,
}


@pytest.fixture(scope="module")
def scenario(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock(), override_settings(PASSWORD_HASHERS=FAST_HASHERS), transaction.atomic():
        said = []
        load_scenario(NOW, lambda done, of: said.append((done, of)))
        yield said
        transaction.set_rollback(True)


@pytest.fixture
def everywhere(scenario, db):
    """A prosthetist who serves every clinic."""
    member = Staff.objects.create_user("everywhere", password="")
    member.roles_held.create(role=Role.PROSTHETIST)
    member.clinics.set(Clinic.objects.all())
    return member


def limbs_of(story):
    names = [name for name, told in STORY_OF.items() if told == story]
    limbs = Limb.objects.select_related("child__clinic", "current_forecast__forecast")
    return [limb for limb in limbs if str(limb.child) in names]


def test_holds_what_it_promises(scenario, db):
    assert [clinic.name for clinic in Clinic.objects.order_by("pk")] == ["Tern Island", "Millbrook", "Eastgate"]
    assert {(c.length_unit, c.weight_unit, c.paper) for c in Clinic.objects.all()} == {
        ("mm", "kg", "A4"),
        ("in", "lb", "Letter"),
        ("cm", "kg", "A4"),
    }
    assert len(set(Clinic.objects.values_list("time_zone", flat=True))) == 3
    assert Child.objects.count() == 60
    ages = [age_years(child.birth_date, TODAY) for child in Child.objects.all()]
    assert 1 <= min(ages) < 2 and 17 < max(ages) < 19
    assert {limb.level for limb in Limb.objects.all()} == set(Limb.Level.values)
    assert {limb.side for limb in Limb.objects.all()} == set(Limb.Side.values)
    assert {limb.cause for limb in Limb.objects.all()} == set(Limb.Cause.values)
    visits = Child.objects.annotate(seen=models.Count("visits")).values_list("seen", flat=True)
    assert min(visits) == 2 and max(visits) == 8
    assert {child.language for child in Child.objects.all()} == {"en", "es"}
    assert Guardian.objects.values("child").distinct().count() == 60
    assert scenario[-1] == (60, 60)


def test_staff_hold_all_roles_and_sign_in_with_the_printed_password(scenario, db, client):
    staff = Staff.objects.all()
    assert len(staff) == 8
    assert {role for member in staff for role in member.roles} == set(Role.values)
    assert sum(Role.ADMINISTRATOR in member.roles for member in staff) == 1
    assert sum(len(member.roles) == 2 for member in staff) == 1
    for member in staff:
        assert client.login(username=member.username, password=DEMO_PASSWORD)


def test_phones_are_from_ranges_kept_for_fiction(scenario, db):
    """555-01xx: North American Numbering Plan; 01632 960xxx: the British range for drama. Both from memory."""
    phones = [*Clinic.objects.values_list("phone", "out_of_hours_phone"), *Guardian.objects.values_list("phone")]
    assert all("555-01" in phone or phone.startswith("01632 960") for row in phones for phone in row)


def test_every_limb_has_a_promise_and_every_measured_one_a_history(scenario, db):
    assert all(limb.current_forecast.forecast.limb_id == limb.pk for limb in Limb.objects.all())
    assert Forecast.objects.count() > 3 * Limb.objects.count()


def test_sockets_are_in_use_replaced_and_lose_layers(scenario, db):
    assert Socket.objects.in_use().count() == Limb.objects.count() - len(limbs_of("no_socket"))
    assert {Socket.WhyRetired.OUTGROWN_GIRTH, Socket.WhyRetired.OUTGROWN_LENGTH} <= set(
        Socket.objects.values_list("why_retired", flat=True)
    )
    assert Layer.objects.filter(out_on__isnull=False).exists()
    assert set(SleeveDesign.objects.values_list("name", flat=True)) == {
        "Comet",
        "Tidepool",
        "Fern",
        "Circuit",
        "Kite",
        "Lantern",
    }
    assert Sleeve.objects.count() == Socket.objects.filter(fitted_on__isnull=False).count()


def test_appointments_today_at_each_clinic_coming_kept_and_missed(scenario, db):
    for clinic in Clinic.objects.all():
        booked = Appointment.objects.booked().filter(clinic=clinic)
        assert sum(clinic.day_of(appointment.at) == TODAY for appointment in booked) >= 3
        assert any(clinic.day_of(appointment.at) > TODAY for appointment in booked)
    statuses = Counter(Appointment.objects.values_list("status", flat=True))
    assert statuses["noshow"] == 3 and statuses["fulfilled"] > 20


def test_nothing_lies_in_the_future_or_before_birth(scenario, db):
    for visit in Visit.objects.select_related("child"):
        assert visit.child.birth_date < visit.at.date() < TODAY
    assert not Socket.objects.filter(fitted_on__gte=TODAY).exists()
    assert not Forecast.objects.filter(made_at__gt=NOW).exists()


def test_what_was_typed_reads_as_what_was_stored(scenario, db):
    readings = Reading.objects.select_related("visit__child__clinic")
    for reading in readings:
        clinic = reading.visit.child.clinic
        weight = reading.measure == Reading.Measure.WEIGHT
        parse, unit = (parse_weight_kg, clinic.weight_unit) if weight else (parse_length_mm, clinic.length_unit)
        assert reading.takes == pytest.approx([parse(text, unit) for text in reading.typed])
        assert reading.value == pytest.approx(closest_two_mean(reading.takes))


def test_every_story_is_told(scenario, db):
    assert {row["story"] for row in demo_rows("stories")} == set(STORY_OF.values()) - {""}


@pytest.mark.parametrize(("story", "state"), PROMISED_STATE.items())
def test_story_is_found_on_the_due_list(everywhere, story, state):
    found = in_state(due_limbs(everywhere, TODAY), state, TODAY)
    assert limbs_of(story)
    assert {limb.pk for limb in limbs_of(story)} <= {limb.pk for limb in found}


@pytest.mark.parametrize(("story", "action"), NEXT_ACTION.items())
def test_story_says_what_to_do_next(scenario, db, story, action):
    assert {limb.current_forecast.forecast.next_action for limb in limbs_of(story)} == {action}


def test_paused_and_handed_over_children_are_off_the_due_list(everywhere):
    away = limbs_of("paused") + limbs_of("handed_over")
    assert len(away) == 3
    assert not {limb.pk for limb in away} & {limb.pk for limb in due_limbs(everywhere, TODAY)}


def test_may_not_outgrow_and_under_two(scenario, db):
    (grown,), (young,) = limbs_of("may_not_outgrow"), limbs_of("under_two")
    assert grown.current_forecast.forecast.state == Forecast.State.MAY_NOT_OUTGROW
    assert age_years(young.child.birth_date, TODAY) < 2


def test_spurt_is_remeasured_sooner(scenario, db):
    for limb in limbs_of("spurt"):
        forecast = limb.current_forecast.forecast
        measured = limb.child.clinic.day_of(forecast.visit.at)
        assert forecast.remeasure_by - measured == timedelta(days=90)


def test_the_child_born_early_is_read_at_the_corrected_age(scenario, db):
    (limb,) = limbs_of("born_early")
    assert limb.child.gestation_weeks == 31
    assert "corrected_age" in limb.current_forecast.forecast.notes


def test_both_limbs_are_estimated_from_height(scenario, db):
    limbs = limbs_of("bilateral")
    assert len(limbs) == 6
    assert all("estimated_length" in limb.current_forecast.forecast.notes for limb in limbs)


def test_the_unit_slip_is_corrected_and_says_why(scenario, db):
    (correction,) = Reading.objects.filter(supersedes__isnull=False)
    assert correction.value == pytest.approx(10 * correction.supersedes.value)
    assert correction.why and correction.supersedes.alerts
    assert str(correction.visit.child) in [name for name, told in STORY_OF.items() if told == "unit_slip"]


def test_implants_are_recorded(scenario, db):
    (household,), (child,) = limbs_of("implant_household"), limbs_of("implant_child")
    assert household.child.implant == Child.Implant.HOUSEHOLD
    assert child.child.implant == Child.Implant.CHILD


def test_a_second_run_changes_nothing(scenario, db, settings, capsys):
    settings.DEBUG = True
    before = row_counts()
    call_command("demo")
    said = capsys.readouterr().out
    assert "This database holds clinics already, so nothing was changed." in said
    assert all(row["sign_in_name"] in said for row in demo_rows("staff"))
    assert row_counts() == before


def row_counts():
    kinds = (Clinic, Staff, Child, Limb, Visit, Reading, Socket, Forecast, Appointment)
    return [kind.objects.count() for kind in kinds]


def test_one_limb_has_muscle_sites_a_recording_that_was_read_and_levels(scenario, db):
    (recording,) = MuscleRecording.objects.all()
    assert recording.state == MuscleRecording.State.DONE
    assert [channel["verdict"] for channel in recording.result["channels"]] == ["usable", "usable"]
    assert recording.result["faults"] == []
    assert LevelSettings.objects.get().limb == recording.limb
    assert recording.on <= TODAY
    assert len(site_rows(recording.limb)) == 2
