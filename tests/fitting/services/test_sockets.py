"""The steps of a socket: made, fitted, a layer out, retired; each that does not follow is refused."""

from datetime import date, timedelta

import pytest

from fitting.models import CurrentForecast, Forecast, Sleeve, SleeveDesign, Socket
from fitting.services.sockets import (
    SocketIn,
    StationIn,
    fit_socket,
    make_sleeve,
    make_socket,
    retire_socket,
    take_layer_out,
)
from fitting.services.steps import StepError
from tests import factories as make
from tests.factories import noon

pytestmark = pytest.mark.django_db
DAY = date(2026, 3, 2)
STATIONS = [StationIn("cubital_fold", mm, 180 - mm / 4, 184 - mm / 4) for mm in (0, 25, 50)]


@pytest.fixture
def limb():
    limb = make.make_limb()
    for days, growth in ((360, 0), (180, 2), (0, 4)):
        visit = make.make_visit(limb.child, on=DAY - timedelta(days=days))
        make.make_girths(visit, limb, {s.station_mm: s.girth_at_cast_mm - 4 + growth for s in STATIONS})
    return limb


@pytest.fixture
def by(limb):
    return make.make_staff(clinics=[limb.child.clinic])


def made(limb, by, layers=(1.2,)):
    what = SocketIn(limb.child.visits.first(), 4, 8, None, DAY)
    return make_socket(limb, by, what, STATIONS, layers, noon(DAY))


def current(limb) -> Forecast:
    return CurrentForecast.objects.get(limb=limb).forecast


def test_versions_count_up(limb, by):
    assert [made(limb, by).version for _ in range(3)] == [1, 2, 3]


def test_a_made_socket_promises_nothing_until_fitted(limb, by):
    socket = made(limb, by)
    assert not Forecast.objects.exists()
    fit_socket(socket, by, DAY, noon(DAY))
    forecast = current(limb)
    assert (forecast.socket, forecast.state) == (socket, Forecast.State.DATED)
    assert forecast.early < forecast.likely
    assert forecast.fitted_by == forecast.early - timedelta(days=7)
    assert forecast.start_refit_by == forecast.early - timedelta(days=35)
    assert [room["station_mm"] for room in forecast.room] == [0, 25, 50]
    assert forecast.fan["part"] in {"girth:0", "girth:25", "girth:50"}


def test_a_new_socket_retires_the_one_in_use(limb, by):
    first = fit_socket(made(limb, by), by, DAY, noon(DAY))
    later = DAY + timedelta(days=30)
    fit_socket(made(limb, by), by, later, noon(later), Socket.WhyRetired.OUTGROWN_GIRTH)
    first.refresh_from_db()
    assert (first.retired_on, first.why_retired) == (DAY + timedelta(days=30), Socket.WhyRetired.OUTGROWN_GIRTH)


def test_more_layers_never_make_it_earlier(limb, by):
    fit_socket(made(limb, by, layers=()), by, DAY, noon(DAY))
    bare = current(limb)
    fit_socket(made(limb, by, layers=(1.2,)), by, DAY, noon(DAY), Socket.WhyRetired.BROKEN)
    layered = current(limb)
    assert layered.early > bare.early
    assert layered.layer_on is not None
    assert bare.layer_on is None


def test_a_layer_out_keeps_the_dates_and_answers_the_layer_day(limb, by):
    socket = fit_socket(made(limb, by), by, DAY, noon(DAY))
    before = current(limb)
    take_layer_out(socket.layers.get(), by, DAY, 5, noon(DAY))
    after = current(limb)
    assert after.why == "layer out"
    assert (after.early, after.layer_on) == (before.early, None)
    assert after.room[0]["capacity_mm"] > before.room[0]["capacity_mm"]


@pytest.mark.parametrize(
    ("again", "sentence"),
    [
        (lambda socket, by: fit_socket(socket, by, DAY, noon(DAY)), "fitted or retired already"),
        (lambda socket, by: retire_socket(socket, by, DAY, "skin", noon(DAY)), "retired already"),
        (lambda socket, by: take_layer_out(socket.layers.get(), by, DAY, 5, noon(DAY)), "out already"),
    ],
)
def test_steps_that_do_not_follow_are_refused(limb, by, again, sentence):
    socket = fit_socket(made(limb, by), by, DAY, noon(DAY))
    take_layer_out(socket.layers.get(), by, DAY, 5, noon(DAY))
    retire_socket(socket, by, DAY, Socket.WhyRetired.SKIN, noon(DAY))
    with pytest.raises(StepError, match=sentence):
        again(socket, by)


def test_a_retired_socket_leaves_the_limb_without_one(limb, by):
    socket = fit_socket(made(limb, by), by, DAY, noon(DAY))
    retire_socket(socket, by, DAY, Socket.WhyRetired.SKIN, noon(DAY))
    assert current(limb).state == Forecast.State.NO_SOCKET
    assert current(limb).next_action == Forecast.NextAction.MAKE_SOCKET


def test_a_sleeve_names_the_versions_it_fits(limb, by):
    socket = made(limb, by)
    design = SleeveDesign.objects.create(name="Kite")
    sleeve = make_sleeve(
        Sleeve(
            limb=limb, design=design, length_mm=180, girth_proximal_mm=200, girth_distal_mm=150, magnets=4, made_on=DAY
        ),
        [socket],
    )
    assert list(sleeve.sockets.all()) == [socket]
