import pytest
from django.db import connection

from fitting.bench.due import due_page
from fitting.bench.limb_record import make_limb_record
from fitting.bench.registry import AS_OF, make_registry
from fitting.bench.scratch import scratch_database
from fitting.due import DueState, counts, due_limbs
from fitting.models import Forecast
from patients.models import Child, Limb

pytestmark = pytest.mark.django_db


def test_the_registry_holds_every_state_worth_sorting():
    member = make_registry(200, seed=1)
    limbs = due_limbs(member, AS_OF)
    assert limbs.count() == Child.objects.count() == 200
    found = counts(limbs, AS_OF)
    for state in (DueState.FIT_PROBLEM, DueState.OVERDUE, DueState.START_30, DueState.REMEASURE, DueState.NO_SOCKET):
        assert found[state], state
    days = [limb.first_day for limb in limbs if limb.urgency]
    assert days == sorted(days)


def test_the_due_page_asks_as_often_for_few_as_for_many(django_assert_num_queries):
    member = make_registry(90, seed=1)
    assert member.roles
    with django_assert_num_queries(3):
        assert len(due_page(member)) == 40


def test_the_record_of_the_sheets_has_a_dated_promise():
    limb = make_limb_record()
    forecast = limb.current_forecast.forecast
    assert forecast.state == Forecast.State.DATED
    assert forecast.early < forecast.likely < forecast.late


def test_the_scratch_database_is_another_and_goes_away():
    make_limb_record()
    usual = connection.settings_dict["NAME"]
    with scratch_database() as path:
        assert path.exists()
        assert connection.settings_dict["NAME"] == str(path) != usual
        assert not Limb.objects.exists()
    assert not path.exists()
    assert connection.settings_dict["NAME"] == usual
    assert Limb.objects.count() == 1
