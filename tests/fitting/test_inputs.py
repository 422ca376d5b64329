"""The door between records and computation: which readings count, with which error, under which birth date."""

from datetime import date, timedelta
from math import hypot, sqrt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fitting.inputs import error_sd, limb_inputs, part_name, settings_of, tolerances_of
from fitting.models import ClinicSettings, Reading, Visit
from patients.models import Limb
from tests import factories as make

pytestmark = pytest.mark.django_db
M = Reading.Measure


def measured(limb, on, girths, stature=None, sound_forearm=None, **visit):
    row = make.make_visit(limb.child, on=on, **visit)
    make.make_girths(row, limb, girths)
    if stature:
        make.make_reading(row, M.STATURE, stature)
    if sound_forearm:
        make.make_reading(row, M.SOUND_FOREARM_LENGTH, sound_forearm, limb)
    return row


def test_settings_rows_and_calc_tolerances_have_the_same_defaults():
    clinic = make.make_clinic()
    from fitting.calc.tolerances import Tolerances

    assert tolerances_of(settings_of(clinic)) == Tolerances()
    ClinicSettings.objects.create(clinic=clinic, buffer_days=14)
    assert tolerances_of(settings_of(clinic)).buffer_days == 14


def test_a_station_of_another_landmark_is_another_part():
    assert part_name(Limb.Level.TRANSRADIAL, "cubital_fold", 60) == "girth:60"
    assert part_name(Limb.Level.TRANSRADIAL, "", 60) == "girth:60"
    assert part_name(Limb.Level.TRANSRADIAL, "olecranon", 60) == "girth:olecranon:60"


def test_stations_are_followed_over_visits_and_corrections_count_once():
    limb = make.make_limb()
    first = measured(limb, date(2025, 5, 1), {0: 180, 25: 172})
    second = measured(limb, date(2025, 11, 1), {0: 183, 25: 175})
    slip = first.readings.get(station_mm=0)
    corrected = make.make_reading(first, M.GIRTH, 181, limb, station_mm=0, supersedes=slip, why="read 18.1")
    inputs = limb_inputs(limb)
    assert inputs.outlooks.girths.parts == ("girth:0", "girth:25")
    assert slip.pk not in inputs.reading_ids
    assert corrected.pk in inputs.reading_ids
    assert inputs.facts.girths_now_mm == {"girth:0": 183, "girth:25": 175}
    assert inputs.facts.last_measured_on == date(2025, 11, 1)
    assert inputs.newest_visit == second


def test_girths_over_a_sock_are_not_mixed_with_bare_ones():
    limb = make.make_limb()
    measured(limb, date(2025, 1, 1), {0: 190}, covering=Visit.Covering.SOCK)
    measured(limb, date(2025, 7, 1), {0: 180})
    alone = make.make_limb(make.make_child())
    measured(alone, date(2025, 7, 1), {0: 180})
    mixed, plain = (limb_inputs(row).outlooks.girths for row in (limb, alone))
    assert mixed.mean_ln == pytest.approx(plain.mean_ln)


def test_surgery_starts_a_new_series():
    limb = make.make_limb(cause=Limb.Cause.ACQUIRED, acquired_on=date(2024, 6, 1))
    measured(limb, date(2024, 1, 1), {0: 230})
    measured(limb, date(2026, 3, 1), {0: 180})
    before = limb_inputs(limb).outlooks.girths
    other = make.make_limb(cause=Limb.Cause.ACQUIRED, acquired_on=date(2024, 6, 1))
    measured(other, date(2026, 3, 1), {0: 180})
    assert before.mean_ln == pytest.approx(limb_inputs(other).outlooks.girths.mean_ln)


def test_a_coarse_tape_adds_its_rounding():
    limb = make.make_limb()
    fine = measured(limb, date(2025, 1, 1), {0: 180}).readings.get()
    coarse = measured(limb, date(2025, 2, 1), {0: 180}, instrument=Visit.Instrument.TAPE_5MM).readings.get()
    tolerances = tolerances_of(settings_of(limb.child.clinic))
    assert error_sd(fine, tolerances) == 2
    assert error_sd(coarse, tolerances) == pytest.approx(hypot(2, 5 / sqrt(12)))
    weight = make.make_reading(fine.visit, M.WEIGHT, 20)
    stature = make.make_reading(fine.visit, M.STATURE, 1100)
    assert error_sd(weight, tolerances) == 0.2
    assert error_sd(stature, tolerances) == 5


def test_born_early_and_under_two_reads_at_the_corrected_age():
    child = make.make_child(birth_date=date(2025, 1, 1), gestation_weeks=30)
    limb = make.make_limb(child)
    measured(limb, date(2025, 12, 1), {0: 130})
    inputs = limb_inputs(limb)
    assert inputs.notes == ("corrected_age",)
    assert inputs.facts.birth_on == date(2025, 1, 1) + timedelta(weeks=10)


def test_without_a_sound_side_the_length_comes_from_stature_and_says_so():
    child = make.make_child()
    left, right = (make.make_limb(child, side=side) for side in Limb.Side)
    measured(left, date(2026, 1, 1), {0: 180}, stature=1250)
    track = limb_inputs(left).outlooks.forearm
    assert track.estimated
    # 7.8-year-old girl of median height: the 1977 elbow-wrist median is about 180 mm.
    assert track.expected_mm()[0] == pytest.approx(180, rel=0.05)
    assert limb_inputs(right).outlooks.girths is None


def test_a_sound_forearm_is_followed_as_it_is():
    limb = make.make_limb()
    measured(limb, date(2026, 1, 1), {0: 180}, stature=1250, sound_forearm=186)
    track = limb_inputs(limb).outlooks.forearm
    assert not track.estimated
    assert track.expected_mm()[0] == pytest.approx(186, rel=0.01)


def test_under_two_there_is_no_length_reference_but_a_girth_one():
    limb = make.make_limb(make.make_child(birth_date=date(2025, 3, 1)))
    measured(limb, date(2026, 1, 1), {0: 130}, stature=720, sound_forearm=110)
    outlooks = limb_inputs(limb).outlooks
    assert outlooks.forearm is None
    assert outlooks.girths is not None


def test_a_level_without_girths_has_no_girth_outlook():
    limb = make.make_limb(level=Limb.Level.SHOULDER_DISARTICULATION)
    make.make_reading(make.make_visit(limb.child), M.STATURE, 1200)
    assert limb_inputs(limb).outlooks.girths is None


def test_queries_do_not_grow_with_visits():
    limb, long = make.make_limb(), make.make_limb()
    make.make_socket(measured(limb, date(2024, 1, 1), {0: 170}), limb, {0: 180})
    for month in range(1, 9):
        visit = measured(long, date(2024, month, 1), {0: 170 + month / 2})
    socket = make.make_socket(visit, long, {0: 180}, layers_mm=[1.2, 1.5])
    make.make_present_fit(visit, socket)
    counts = []
    for row in (limb, long):
        row = Limb.objects.select_related("child__clinic").get(pk=row.pk)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            limb_inputs(row)
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 8


def test_takes_that_differ_more_than_declared_widen_the_error():
    limb = make.make_limb()
    visit = make.make_visit(limb.child, on=date(2026, 1, 1))
    for station_mm in range(0, 60, 10):
        make.make_reading(visit, M.GIRTH, 180, limb, station_mm=station_mm, takes=[175, 185], typed=["175", "185"])
    inputs = limb_inputs(limb)
    assert inputs.tolerances.tem_girth_mm == pytest.approx(10 / sqrt(2))
    assert inputs.tolerances.tem_length_mm == 3
    assert "takes_differ" in inputs.notes
    for reading in visit.readings.all():
        reading.takes = [179, 181]
        reading.save()
    assert limb_inputs(limb).tolerances.tem_girth_mm == 2
    assert "takes_differ" not in limb_inputs(limb).notes


def test_weight_counts_against_the_day_the_limb_was_measured():
    limb = make.make_limb()
    cast = measured(limb, date(2025, 1, 1), {0: 180})
    make.make_reading(cast, M.WEIGHT, 20)
    socket = make.make_socket(cast, limb, {0: 186})
    again = measured(limb, date(2026, 1, 1), {0: 184})
    make.make_reading(again, M.WEIGHT, 24)
    make.make_present_fit(again, socket)
    assert limb_inputs(limb).fit.remeasure == ()
    weighed = make.make_visit(limb.child, on=date(2026, 6, 1))
    make.make_reading(weighed, M.WEIGHT, 27)
    make.make_present_fit(weighed, socket)
    assert limb_inputs(limb).fit.remeasure == ("weight",)
