"""From typed texts to values: takes, the settled value, the change and its noise, the places of a visit."""

from datetime import date, timedelta

import pytest

from fitting.models import Visit
from fitting.visit_alerts import read_entries
from fitting.visit_entry import change_since_last, noise_of
from fitting.visit_places import History, Place, limb_places, proposed_stations_mm, sound_measures
from patients.models import Clinic, Limb
from tests.factories import noon
from tests.typed_visit import (
    CHILD,
    LAST_DAY,
    LENGTH,
    LIMB,
    SOUND,
    STATION,
    STATURE,
    TODAY,
    WEIGHT,
    M,
    codes,
    data_of,
    entry_of,
    occasion,
    past,
)

# Typing


@pytest.mark.parametrize(
    ("unit", "text", "value_mm"),
    [
        ("mm", "190", 190.0),
        ("mm", "19,0 cm", 190.0),
        ("mm", "7 1/2 in", 190.5),
        ("cm", "19.05", 190.5),
        ("in", "7 1/2", 190.5),
        ("in", "190 mm", 190.0),
    ],
)
def test_a_bare_number_is_in_the_clinics_unit(unit, text, value_mm):
    entry = entry_of(STATION, text, clinic=Clinic(length_unit=unit, time_zone="UTC"))
    assert entry.takes == pytest.approx((value_mm,))
    assert entry.filled == (text,)


def test_a_weight_is_in_the_clinics_unit():
    entry = entry_of(WEIGHT, "50", clinic=Clinic(weight_unit="lb", time_zone="UTC"))
    assert entry.value == pytest.approx(22.68, abs=0.01)


def test_an_unreadable_take_is_named_and_kept():
    entry = entry_of(STATION, "170", "abc")
    assert entry.typed == ("170", "abc", "")
    assert list(entry.errors) == [2]
    assert "cannot be read as a measurement" in entry.errors[2]
    assert entry.value is None
    assert not entry.ready


def test_an_empty_place_is_ready_and_says_nothing():
    entry = entry_of(STATION, readings=[past(STATION, 170)])
    assert (entry.filled, entry.value, entry.questions, entry.ready) == ((), None, (), True)


# Takes


@pytest.mark.parametrize(
    ("place", "takes", "asked"),
    [
        (STATION, ("170", "175"), False),
        (STATION, ("170", "175.5"), True),
        (LENGTH, ("90", "97"), False),
        (LENGTH, ("90", "97.5"), True),
        (WEIGHT, ("25", "25.2"), False),
        (WEIGHT, ("25", "25.3"), True),
        (STATION, ("170", "180", "171"), False),
    ],
)
def test_a_third_take_is_asked_for(place, takes, asked):
    assert entry_of(place, *takes).wants_third is asked


def test_the_closest_two_of_three_settle():
    assert entry_of(STATION, "170", "180", "172").value == 171
    assert entry_of(STATION, "170", "175", "180").value == 175


def test_until_the_takes_agree_nothing_else_is_asked():
    entry = entry_of(STATION, "150", "158", readings=[past(STATION, 170)])
    assert codes(entry) == ["third_take"]
    assert "differ by 8 mm, more than 5 mm" in entry.questions[0].sentence


# Change


@pytest.mark.parametrize(
    ("now", "code", "words"),
    [
        ("175", "noise", "+5 mm: inside the noise of ±6 mm"),
        ("165", "noise", "−5 mm: inside the noise of ±6 mm"),
        ("170", "noise", "±0 mm: inside the noise of ±6 mm"),
        ("176", "up", "+6 mm since 12 Jan 2026"),
        ("164", "down", "−6 mm since 12 Jan 2026"),
    ],
)
def test_a_change_inside_the_noise_is_never_called_growth(now, code, words):
    held = occasion(past(STATION, 170))
    entry = read_entries([STATION], data_of(STATION, now), held)[STATION.key]
    change = change_since_last(entry, held)
    assert (change.code, change.words) == (code, words)


@pytest.mark.parametrize(
    ("place", "noise"),
    [(STATION, 2.77 * 2), (LENGTH, 2.77 * 3), (STATURE, 2.77 * 5), (WEIGHT, 2.77 * 0.2)],
)
def test_the_noise_is_2_77_tem_of_the_measure(place, noise):
    """TEM defaults: girth 2, length 3, stature 5 mm, weight 0.2 kg (fitting.calc.tolerances names their sources)."""
    assert noise_of(entry_of(place), occasion()) == pytest.approx(noise)
    assert noise_of(entry_of(place, readings=[past(place, 100)]), occasion()) == pytest.approx(noise)


def test_a_coarse_tape_widens_the_noise():
    fine, coarse = (noise_of(entry_of(STATION), occasion(instrument=tape)) for tape in ("tape_1mm", "tape_5mm"))
    assert coarse > fine


def test_girths_over_a_sock_are_not_compared_with_bare_ones():
    held = occasion(past(STATION, 170, covering="sock"))
    entry = read_entries([STATION], data_of(STATION, "150"), held)[STATION.key]
    assert change_since_last(entry, held).words == "not compared: last time over a sock"
    assert codes(entry) == []


def test_surgery_starts_a_new_series():
    limb = Limb(pk=8, child=CHILD, side="left", level="transradial", cause="acquired", acquired_on=date(2026, 3, 1))
    place = Place(M.GIRTH, limb, "cubital_fold", 25.0)
    held = occasion(past(place, 170))
    entry = read_entries([place], data_of(place, "150"), held)[place.key]
    assert change_since_last(entry, held).code == "other"
    assert codes(entry) == []


# Places


@pytest.mark.parametrize("level", Limb.Level)
def test_every_level_has_its_places(level):
    limb = Limb(pk=3, child=CHILD, side="right", level=level, cause="transverse")
    places = limb_places(limb, (0.0, 25.0), has_sound_side=True)
    trunk = level in ("shoulder_disarticulation", "scapulothoracic")
    assert bool(places.lengths) is not trunk
    assert len(places.stations) == (0 if trunk else 2)
    assert places.sound
    assert len({place.key for place in places.all}) == len(places.all)


def test_both_limbs_affected_means_no_sound_side():
    assert limb_places(LIMB, (), has_sound_side=False).sound == ()


def test_the_sound_side_of_a_transradial_limb():
    """Common practice: ulna length, elbow to thumb tip, hand, the largest girth, the wrist."""
    assert sound_measures(LIMB) == (
        M.SOUND_FOREARM_LENGTH,
        M.SOUND_ELBOW_THUMB_LENGTH,
        M.SOUND_HAND_LENGTH,
        M.SOUND_FOREARM_GIRTH,
        M.SOUND_WRIST_GIRTH,
    )


def test_stations_are_proposed_along_the_limb():
    assert proposed_stations_mm(LIMB, 70) == (0, 15, 30, 45, 60)
    upper = Limb(pk=4, child=CHILD, side="right", level="transhumeral", cause="transverse")
    assert max(proposed_stations_mm(upper, 150)) < 150 - 25


def test_the_last_reading_is_the_newest_before_the_visit():
    rows = [past(STATION, 160, date(2025, 1, 1)), past(STATION, 170), past(STATION, 180, TODAY + timedelta(days=9))]
    assert entry_of(STATION, readings=rows).last.value == 170
    assert entry_of(STATION, readings=rows, at=date(2025, 6, 1)).last.value == 160


def test_a_reading_without_a_landmark_is_from_the_levels_own():
    bare = past(STATION, 170)
    bare.landmark = ""
    other = past(STATION, 140)
    other.landmark = "olecranon"
    assert entry_of(STATION, readings=[bare, other]).last.value == 170
    assert History([bare, other], noon(TODAY)).last_stations_mm(LIMB) == (25.0,)


def test_a_sound_side_read_for_the_child_alone_counts():
    reading = past(SOUND, 180)
    reading.limb = None
    assert entry_of(LENGTH, "190", readings=[reading]).questions[0].code == "longer_than_sound"


def test_stations_come_from_the_newest_visit_that_has_any():
    old, new = Visit(pk=1, at=noon(date(2025, 1, 1))), Visit(pk=2, at=noon(LAST_DAY))
    rows = []
    for visit, stations in ((old, (0.0, 30.0)), (new, (0.0, 25.0, 50.0))):
        for station_mm in stations:
            row = past(Place(M.GIRTH, LIMB, "cubital_fold", station_mm), 170)
            row.visit = visit
            rows.append(row)
    assert History(rows, noon(TODAY)).last_stations_mm(LIMB) == (0.0, 25.0, 50.0)
