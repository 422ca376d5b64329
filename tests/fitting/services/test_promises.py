"""Promises are rows that stay; the limb points to the newest."""

from datetime import date, timedelta

import pytest

from fitting.models import CurrentForecast, Forecast
from fitting.services.promises import repromise, repromise_clinic
from tests import factories as make
from tests.factories import noon

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)


def test_a_promise_is_added_never_edited():
    limb = make.make_limb()
    make.make_girths(make.make_visit(limb.child, on=DAY), limb, {0: 180})
    first = repromise(limb, DAY, "visit", noon(DAY))
    kept = Forecast.objects.filter(pk=first.pk).values().get()
    second = repromise(limb, DAY + timedelta(days=400), "settings", noon(DAY))
    assert CurrentForecast.objects.get(limb=limb).forecast == second
    assert Forecast.objects.filter(pk=first.pk).values().get() == kept


def test_a_limb_never_measured_asks_for_a_socket():
    forecast = repromise(make.make_limb(), DAY, "new limb", noon(DAY))
    assert forecast.state == Forecast.State.NO_SOCKET
    assert forecast.act_on == DAY


def test_staler_readings_give_a_wider_window():
    limb = make.make_limb()
    visit = make.make_visit(limb.child, on=DAY)
    make.make_girths(visit, limb, {0: 180, 25: 172})
    make.make_socket(visit, limb, {0: 186, 25: 178})
    fresh = repromise(limb, DAY, "visit", noon(DAY))
    assert (fresh.late or date.max) > fresh.likely > fresh.early
    assert fresh.remeasure_by == DAY + timedelta(days=180)


def test_a_clinic_is_promised_anew_and_paused_children_are_left():
    limb = make.make_limb()
    make.make_limb(make.make_child(limb.child.clinic, status="paused"))
    make.make_limb()
    assert repromise_clinic(limb.child.clinic, DAY, "settings", noon(DAY)) == 1
    assert CurrentForecast.objects.get().limb == limb
