"""What one more visit is expected to do, held against visits that were drawn from the forecast itself."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from fitting.calc.capacity import Layer, Socket, SocketStation
from fitting.calc.crossing import Dates
from fitting.calc.followed import GIRTHS, Followed
from fitting.calc.outgrowth import LimbFacts, LimbOutlooks, Outgrowth, outgrowth
from fitting.calc.outlook import Observation
from fitting.calc.sharpen import sharpening, visit_days, window_days
from fitting.calc.tolerances import Tolerances

BIRTH, LAST = date(2018, 1, 1), date(2026, 1, 5)
TOLERANCES = Tolerances()


def case(visits=3, error_sd=2.0, allowance_mm=9.0, layers=()):
    days = [LAST - timedelta(days=180 * i) for i in reversed(range(visits))]
    start = {"girth:0": 190.0, "girth:40": 172.0}
    readings = {
        part: tuple(Observation(on, mm - 5.0 * (visits - 1 - i), error_sd) for i, on in enumerate(days))
        for part, mm in start.items()
    }
    followed = {GIRTHS: Followed(GIRTHS, readings, "F", BIRTH, (), (), 1.0)}
    outlooks = LimbOutlooks(girths=followed[GIRTHS].outlook())
    stations = tuple(SocketStation(part, mm + allowance_mm, mm) for part, mm in start.items())
    socket = Socket(made_on=LAST, fitted_on=LAST, stations=stations, layers=layers)
    facts = LimbFacts("transradial", BIRTH, LAST, girths_now_mm=start)
    return followed, outlooks, socket, facts, TOLERANCES, outgrowth(outlooks, socket, facts, TOLERANCES)


def test_a_visit_narrows_the_window_and_a_later_one_more():
    known = case()
    widths = [sharpening(*known, [LAST + timedelta(days=ahead)]).expected_days for ahead in (60, 180, 300)]
    now = window_days(known[-1].dates, "late")
    assert now > widths[0] > widths[1] > widths[2] > 0


def test_the_width_told_is_what_drawn_visits_give_on_average():
    """A slow twin: the visit's readings are drawn from the forecast, and the windows they leave are averaged."""
    followed, outlooks, socket, facts, tolerances, grown = case()
    on = LAST + timedelta(days=180)
    told = sharpening(followed, outlooks, socket, facts, tolerances, grown, [on])
    rng, girths, widths = np.random.default_rng(3), outlooks.girths, []
    for _draw in range(60):
        j = rng.choice(len(girths.weights), p=girths.weights)
        ln_mm = rng.multivariate_normal(girths.mean_ln[j, :, 6], girths.cov_ln[j, 6])
        seen = {
            part: (*rows, Observation(on, float(np.exp(ln)) + 2 * rng.normal(), 2.0))
            for (part, rows), ln in zip(followed[GIRTHS].readings.items(), ln_mm, strict=True)
        }
        after = LimbOutlooks(girths=replace(followed[GIRTHS], readings=seen).outlook())
        width = window_days(outgrowth(after, socket, facts, tolerances).dates, "late")
        if width is not None:
            widths.append(width)
    assert len(widths) > 50
    assert told.expected_days == pytest.approx(np.mean(widths), rel=0.2)


def test_the_earliest_visit_that_halves_the_window_is_named():
    known = case(visits=1, error_sd=4.0)
    days = [LAST + timedelta(days=30 * step) for step in range(1, 13)]
    found = sharpening(*known, days)
    alone = {on: sharpening(*known, [on]) for on in days}
    halving = [on for on, one in alone.items() if one.halves]
    wanted = halving[0] if halving else min(days, key=lambda on: alone[on].expected_days)
    assert found.visit_on == wanted


def test_layers_do_not_change_what_a_visit_does():
    bare, layered = case(allowance_mm=9.0), case(allowance_mm=9.0 - 2 * np.pi, layers=(Layer(1.0),))
    on = [LAST + timedelta(days=120)]
    assert sharpening(*layered, on).expected_days == pytest.approx(sharpening(*bare, on).expected_days, abs=3)


def test_without_a_late_day_the_window_runs_to_the_likely_one():
    followed, outlooks, socket, facts, tolerances, grown = case()
    short = Outgrowth(Dates(grown.dates.early, grown.dates.likely, None), None, grown.limiting)
    found = sharpening(followed, outlooks, socket, facts, tolerances, short, [LAST + timedelta(days=180)])
    assert found.until == "likely"
    assert found.window_days == (grown.dates.likely - grown.dates.early).days


def test_no_window_or_no_day_left_gives_no_advice():
    followed, outlooks, socket, facts, tolerances, grown = case()
    endless = Outgrowth(Dates(grown.dates.early, None, None), None, grown.limiting)
    days = [LAST + timedelta(days=180)]
    assert sharpening(followed, outlooks, socket, facts, tolerances, endless, days) is None
    assert sharpening(followed, outlooks, socket, facts, tolerances, grown, []) is None


def test_visits_are_spread_up_to_the_start_of_the_refit():
    assert visit_days(LAST, LAST + timedelta(days=200)) == [LAST + timedelta(days=d) for d in (50, 100, 150, 200)]
    assert visit_days(LAST, LAST + timedelta(days=2000))[-1] == LAST + timedelta(days=365)
    assert visit_days(LAST, LAST + timedelta(days=20)) == []
    assert visit_days(LAST, LAST - timedelta(days=20)) == []
    assert visit_days(LAST, None) == []
