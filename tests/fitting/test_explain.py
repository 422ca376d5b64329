"""Why a forecast says what it says: stored when it was made, told in words and in numbers."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from fitting.calc.plan_days import calendar_refit_on
from fitting.explain import explanation
from fitting.models import Forecast, Reading
from fitting.services.promises import repromise
from fitting.wording import day_words
from tests import factories as make

pytestmark = pytest.mark.django_db
M = Reading.Measure
DAY = date(2026, 3, 2)


@pytest.fixture
def limb():
    return make.make_limb()


def promised(limb, design_mm=190, **socket):
    """Three visits half a year apart, a socket from the last one, and what the engine promises of it."""
    for back in (2, 1, 0):
        visit = make.make_visit(limb.child, on=DAY - timedelta(days=180 * back))
        make.make_girths(visit, limb, {0: 181 - 3 * back, 25: 172 - 3 * back})
        make.make_reading(visit, M.SOUND_FOREARM_LENGTH, 185 - 4 * back, limb)
        make.make_reading(visit, M.RESIDUAL_LENGTH, 110 - 2 * back, limb)
    make.make_socket(visit, limb, {0: design_mm, 25: design_mm - 5}, **{"end_gap_mm": 30, **socket})
    return repromise(limb, DAY, "visit", make.noon(DAY))


def test_a_girth_that_runs_out_is_told_with_its_growth_and_what_the_socket_holds(limb):
    forecast = promised(limb)
    told = explanation(forecast, "mm", DAY)
    growth = forecast.drivers["growth_mm_per_year"]
    assert told.plain[0] == (
        f"What runs out first is the girth at the cubital fold. It measures about {forecast.drivers['size_mm']:.0f} mm "
        f"now and grows about {growth:.0f} mm a year."
    )
    assert 178 < forecast.drivers["size_mm"] < 182
    assert told.plain[1] == "The socket is too small there above 194 mm."
    assert told.plain[2].startswith("We give a window and not a day, mostly because every child speeds up")
    assert 3 < growth < 12


def test_the_numbers_add_up_and_name_what_was_used(limb):
    forecast = promised(limb)
    numbers = dict(explanation(forecast, "mm", DAY).numbers)
    assert numbers["read on"] == "3 days"
    assert numbers["TEM, lambda in use"] == "2 mm, 1"
    assert sum(forecast.drivers[name] for name in ("by_error", "by_wander", "by_rest")) == pytest.approx(1, abs=0.002)
    weeks = round((forecast.late - forecast.early).days / 7)
    assert numbers["window, early (10 %) to late (90 %)"] == f"{weeks} weeks"


def test_the_gap_at_the_end_is_told_by_the_other_arm(limb):
    forecast = promised(limb, design_mm=260, end_gap_mm=4)
    assert forecast.limiting == "end_gap"
    told = explanation(forecast, "cm", DAY)
    assert told.plain[0].startswith("What runs out first is the gap at the end. The same part of the other arm is 18")
    assert len(told.plain) == 2
    assert dict(told.numbers)["TEM, lambda in use"] == "3 mm, 1.15"


def test_what_one_more_visit_does_is_stored_and_told_until_its_day(limb):
    forecast = promised(limb)
    stored = forecast.sharper
    on = date.fromisoformat(stored["visit_on"])
    assert DAY < on <= forecast.start_refit_by
    assert stored["window_days"] == (forecast.late - forecast.early).days > stored["expected_days"]
    assert day_words(on) in explanation(forecast, "mm", DAY).sharper
    assert "narrow the window from" in explanation(forecast, "mm", DAY).sharper
    assert explanation(forecast, "mm", on + timedelta(days=1)).sharper == ""


def test_a_visit_that_halves_the_window_is_said_to_halve_it(limb):
    sharper = {"visit_on": "2026-05-12", "window_days": 280, "expected_days": 140, "until": "late"}
    forecast = make.make_forecast(limb, DAY, drivers=promised(limb).drivers, sharper=sharper)
    assert explanation(forecast, "mm", DAY).sharper == (
        "A visit on 12 May 2026 is expected to halve the window, from 40 weeks to 20 weeks."
    )


def test_nothing_is_explained_where_nothing_was_stored_or_dated(limb):
    assert explanation(make.make_forecast(limb), "mm", DAY) is None
    undated = repromise(make.make_limb(), DAY, "visit", make.noon(DAY))
    assert (undated.drivers, undated.sharper) == ({}, {})
    assert explanation(undated, "mm", DAY) is None


def test_late_promises_have_no_visit_left_to_sharpen_them(limb):
    forecast = promised(limb, design_mm=176)
    assert forecast.start_refit_by <= DAY
    assert forecast.sharper == {}


def test_the_case_page_tells_it_beside_the_calendar_rule(client, limb):
    forecast = promised(limb)
    client.force_login(make.make_staff(clinics=[limb.child.clinic]))
    page = " ".join(client.get(reverse("case", args=[limb.child.case_number])).content.decode().split())
    rule = calendar_refit_on(DAY, limb.child.birth_date)
    for text in ("Why these dates", "In numbers", f"It would give one on {day_words(rule)}", day_words(forecast.early)):
        assert text in page
    assert page.count(day_words(rule)) == 1


def test_old_rows_still_show(client, limb):
    make.make_forecast(limb)
    client.force_login(make.make_staff(clinics=[limb.child.clinic]))
    page = client.get(reverse("case", args=[limb.child.case_number]))
    assert page.status_code == 200
    assert "Why these dates" not in page.content.decode()
    assert Forecast.objects.get().bands == []
