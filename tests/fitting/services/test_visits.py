"""Recording and correcting: one transaction, one visit a submission, nothing overwritten."""

from datetime import date, timedelta
from uuid import uuid4

import pytest

from fitting.models import CurrentForecast, Forecast, PresentFit, Reading, Visit
from fitting.services import visits
from fitting.services.visits import AlreadyCorrectedError, FitIn, ReadingIn, VisitIn, correct_reading, record_visit
from tests import factories as make
from tests.factories import noon

pytestmark = pytest.mark.django_db
M = Reading.Measure
DAY = date(2026, 3, 2)


@pytest.fixture
def limb():
    return make.make_limb()


@pytest.fixture
def by(limb):
    return make.make_staff(clinics=[limb.child.clinic])


def girth(limb, station_mm, *takes):
    return ReadingIn(M.GIRTH, takes, tuple(f"{t:g}" for t in takes), limb, "cubital_fold", station_mm)


def visit_in(on=DAY, **facts):
    return VisitIn(**{"at": noon(on), "kind": "remeasure", "submission": uuid4(), **facts})


def current(limb) -> Forecast:
    return CurrentForecast.objects.get(limb=limb).forecast


def test_a_visit_stores_readings_and_a_promise(limb, by):
    visit = record_visit(limb.child, by, visit_in(), [girth(limb, 0, 180, 181)], [], noon(DAY))
    reading = visit.readings.get()
    assert (reading.value, reading.takes, reading.typed) == (180.5, [180, 181], ["180", "181"])
    assert current(limb).visit == visit
    assert current(limb).inputs["readings"] == [reading.pk]


def test_three_takes_settle_on_the_closest_two(limb, by):
    visit = record_visit(limb.child, by, visit_in(), [girth(limb, 0, 180, 190, 181)], [], noon(DAY))
    assert visit.readings.get().value == 180.5


def test_a_double_submit_makes_one_visit(limb, by):
    what = visit_in()
    first = record_visit(limb.child, by, what, [girth(limb, 0, 180)], [], noon(DAY))
    again = record_visit(limb.child, by, what, [girth(limb, 0, 180)], [], noon(DAY))
    assert first == again
    assert Visit.objects.count() == Reading.objects.count() == Forecast.objects.count() == 1


def test_a_visit_that_cannot_be_promised_leaves_nothing(limb, by, monkeypatch):
    def fail(*args, **kwargs):
        raise RuntimeError("power cut")

    monkeypatch.setattr(visits, "repromise", fail)
    with pytest.raises(RuntimeError, match="power cut"):
        record_visit(limb.child, by, visit_in(), [girth(limb, 0, 180)], [], noon(DAY))
    assert not Visit.objects.exists()


def test_the_present_fit_comes_before_any_date(limb, by):
    cast = record_visit(limb.child, by, visit_in(), [girth(limb, 0, 180)], [], noon(DAY))
    socket = make.make_socket(cast, limb, {0: 186})
    later = DAY + timedelta(days=60)
    fit = FitIn(limb, socket, {"marks": PresentFit.Marks.STAY, "pain": 5})
    record_visit(limb.child, by, visit_in(later), [], [fit], noon(later))
    forecast = current(limb)
    assert forecast.state == Forecast.State.FIT_PROBLEM
    assert forecast.next_action == Forecast.NextAction.FIT_PROBLEM
    assert forecast.act_on == later
    assert forecast.inputs["findings"]["red"] == ["marks_stay", "pain"]


def test_a_correction_supersedes_and_keeps_the_old_promise(limb, by):
    visit = record_visit(limb.child, by, visit_in(), [girth(limb, 0, 18.0)], [], noon(DAY))
    before = current(limb)
    old = visit.readings.get()
    new = correct_reading(old, by, (180.0,), ("180",), "typed in cm", noon(DAY))
    old.refresh_from_db()
    assert (old.value, new.value, new.supersedes, new.why) == (18.0, 180.0, old, "typed in cm")
    assert list(Reading.objects.current()) == [new]
    assert current(limb) != before
    assert Forecast.objects.filter(pk=before.pk, inputs__readings=[old.pk]).exists()


def test_a_second_correction_of_the_same_reading_is_refused(limb, by):
    old = record_visit(limb.child, by, visit_in(), [girth(limb, 0, 18)], [], noon(DAY)).readings.get()
    correct_reading(old, by, (180.0,), ("180",), "typed in cm", noon(DAY))
    with pytest.raises(AlreadyCorrectedError):
        correct_reading(old, by, (181.0,), ("181",), "typed in cm", noon(DAY))


def test_a_body_reading_corrected_promises_every_limb(limb, by):
    other = make.make_limb(limb.child, side="right")
    stature = ReadingIn(M.STATURE, (125.0,), ("125",))
    visit = record_visit(limb.child, by, visit_in(), [stature], [], noon(DAY))
    count = Forecast.objects.count()
    correct_reading(visit.readings.get(), by, (1250.0,), ("1250",), "cm", noon(DAY))
    assert Forecast.objects.count() == count + 2
    assert current(other).why == "correction"
