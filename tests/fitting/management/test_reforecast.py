"""The reforecast command: in chunks, resumable, old promises kept."""

from datetime import date

import pytest
from django.core.management import CommandError, call_command

from fitting.inputs import basis_of, settings_of
from fitting.models import ClinicSettings, CurrentForecast, Forecast
from fitting.services import reforecast as service
from fitting.services.promises import repromise
from fitting.services.reforecast import behind
from tests import factories as make

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


def registry(limbs, clinic=None):
    """A clinic's measured limbs, each with a promise under the settings of the day."""
    clinic = clinic or make.make_clinic("Millbrook")
    settings = ClinicSettings.objects.create(clinic=clinic)
    for _one in range(limbs):
        limb = make.make_limb(make.make_child(clinic))
        visit = make.make_visit(limb.child, on=DAY)
        make.make_girths(visit, limb, {0: 180})
        make.make_socket(visit, limb, {0: 186})
        repromise(limb, DAY, "visit", make.noon(DAY))
    return clinic, settings


def changed(settings, **fields):
    ClinicSettings.objects.filter(pk=settings.pk).update(**fields)


def test_a_change_of_settings_leaves_every_limb_behind_until_the_run(capsys):
    clinic, settings = registry(3)
    assert behind(clinic).count() == 0
    changed(settings, lead_time_days=42)
    assert behind(clinic).count() == 3
    before = list(Forecast.objects.values())
    call_command("reforecast", "--chunk", "2")
    assert capsys.readouterr().out.splitlines() == ["Millbrook: 2 of 3 limbs", "Millbrook: 3 of 3 limbs"]
    assert behind(clinic).count() == 0
    assert list(Forecast.objects.filter(pk__in=[row["id"] for row in before]).values()) == before
    newest = CurrentForecast.objects.select_related("forecast")
    assert {one.forecast.why for one in newest} == {"reforecast"}
    assert {(one.forecast.fitted_by - one.forecast.start_refit_by).days for one in newest} == {42}


def test_a_second_run_has_nothing_to_do(capsys):
    registry(2)
    call_command("reforecast")
    assert Forecast.objects.count() == 2
    assert "every promise is up to date" in capsys.readouterr().out


@pytest.mark.parametrize("setting", ["lambda_girth", "tem_girth_mm", "girth_tolerance_mm", "maturing_months"])
def test_whatever_a_promise_rests_on_counts(setting):
    clinic, settings = registry(1)
    changed(settings, **{setting: 3})
    assert behind(clinic).count() == 1


def test_what_no_promise_rests_on_does_not_count():
    clinic, settings = registry(1)
    changed(settings, allowance_mm=9, level_bands="teaching")
    assert behind(clinic).count() == 0


def test_a_new_method_leaves_every_limb_behind(monkeypatch):
    clinic, _settings = registry(1)
    monkeypatch.setattr("fitting.inputs.METHOD", "outgrowth 99")
    assert behind(clinic).count() == 1


def test_rows_from_before_promises_named_their_basis_are_behind():
    limb = make.make_limb()
    make.make_forecast(limb)
    assert list(behind(limb.child.clinic)) == [limb]
    assert CurrentForecast.objects.get().forecast.basis == ""


def test_a_run_broken_off_goes_on_where_it_stopped(monkeypatch):
    """The second chunk breaks at its second limb: it is undone whole, the first stands, the next run ends the work."""
    clinic, settings = registry(5)
    changed(settings, lead_time_days=42)
    made = []

    def breaks(limb, **facts):
        if len(made) == 3:
            raise KeyboardInterrupt
        made.append(limb.pk)
        return repromise(limb, **facts)

    monkeypatch.setattr(service, "repromise", breaks)
    with pytest.raises(KeyboardInterrupt):
        call_command("reforecast", "--chunk", "2")
    assert behind(clinic).count() == 3
    assert Forecast.objects.filter(why="reforecast").count() == 2
    monkeypatch.setattr(service, "repromise", repromise)
    call_command("reforecast", "--chunk", "2")
    assert behind(clinic).count() == 0
    assert Forecast.objects.filter(why="reforecast").count() == 5
    assert Forecast.objects.filter(why="visit").count() == 5


def test_one_clinic_at_a_time():
    clinic, settings = registry(1)
    other, others = registry(1, make.make_clinic("Eastgate"))
    for one in (settings, others):
        changed(one, lead_time_days=42)
    call_command("reforecast", "--clinic", "Eastgate")
    assert (behind(clinic).count(), behind(other).count()) == (1, 0)


def test_children_no_longer_active_are_left():
    clinic, settings = registry(1)
    make.make_limb(make.make_child(clinic, status="paused"))
    assert behind(clinic).count() == 0


def test_bad_words_are_refused():
    with pytest.raises(CommandError, match='no clinic called "Nowhere"'):
        call_command("reforecast", "--clinic", "Nowhere")
    with pytest.raises(CommandError, match="at least 1"):
        call_command("reforecast", "--chunk", "0")


def test_defaults_and_a_settings_row_of_defaults_are_one_basis():
    clinic = make.make_clinic()
    without = basis_of(settings_of(clinic))
    ClinicSettings.objects.create(clinic=clinic)
    assert basis_of(settings_of(clinic)) == without
