import pytest
from django.core.management import CommandError, call_command

from fitting.demo import scenario
from fitting.demo.families import DEMO_PASSWORD
from fitting.demo.tables import demo_rows
from fitting.models import Forecast, Reading
from patients.models import Clinic

FEW = 4


@pytest.fixture
def few_children(monkeypatch):
    """The scenario with its first children only."""

    def rows(name):
        return demo_rows(name)[:FEW] if name == "children" else demo_rows(name)

    monkeypatch.setattr(scenario, "demo_rows", rows)


def test_prints_names_roles_clinics_stories_and_the_password(db, settings, capsys, few_children):
    settings.DEBUG = True
    call_command("demo")
    said = capsys.readouterr().out
    for word in ("maren", "Prosthetist, Therapist", "Tern Island", DEMO_PASSWORD, "corrected two days later"):
        assert word in said


def test_refuses_outside_debug(db):
    with pytest.raises(CommandError, match="Everybody knows the demo's password"):
        call_command("demo")
    assert not Clinic.objects.exists()


def test_a_failure_half_way_leaves_nothing(db, settings, monkeypatch, few_children):
    settings.DEBUG = True

    def fail(*_):
        raise RuntimeError("half way")

    monkeypatch.setattr(scenario, "make_sleeves", fail)
    with pytest.raises(RuntimeError):
        call_command("demo")
    assert not Clinic.objects.exists()


def test_is_the_same_for_the_same_day(db, few_children):
    from datetime import UTC, datetime

    from django.db import transaction

    def loaded():
        with transaction.atomic():
            scenario.load_scenario(datetime(2026, 5, 4, 15, 30, tzinfo=UTC), lambda *_: None)
            rows = list(Reading.objects.order_by("pk").values_list("measure", "station_mm", "value", "typed"))
            promises = list(Forecast.objects.order_by("pk").values_list("as_of", "state", "early", "likely", "late"))
            transaction.set_rollback(True)
        return rows, promises

    first, second = loaded(), loaded()
    assert len(first[0]) > 100
    assert first == second
