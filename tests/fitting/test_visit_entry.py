"""From typed texts to readings: takes, the settled value, the change and its noise, alerts and their answers."""

import json
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.alert_words import SENTENCES, SHORT, answered_words
from fitting.calc.tolerances import Tolerances
from fitting.models import Reading, Visit
from fitting.visit_alerts import NO_BECAUSE, NOT_ANSWERED, NOT_REMEASURED, asked_text, read_entries, reading_in
from fitting.visit_entry import Occasion, change_since_last, noise_of
from fitting.visit_places import History, Place, limb_places, proposed_stations_mm, sound_measures
from patients.models import Child, Clinic, Limb
from tests.factories import noon

M = Reading.Measure
TODAY, LAST_DAY = date(2026, 5, 4), date(2026, 1, 12)
CLINIC = Clinic(pk=1, length_unit="mm", weight_unit="kg", time_zone="UTC")
CHILD = Child(pk=1, clinic=CLINIC, birth_date=date(2018, 3, 14), growth_reference="F")
LIMB = Limb(pk=7, child=CHILD, side="left", level="transradial", cause="transverse")
STATION = Place(M.GIRTH, LIMB, "cubital_fold", 25.0)
LENGTH = Place(M.RESIDUAL_LENGTH, LIMB, "medial_epicondyle")
SOUND = Place(M.SOUND_FOREARM_LENGTH, LIMB)
STATURE, WEIGHT = Place(M.STATURE), Place(M.WEIGHT)


def past(place, value, on=LAST_DAY, **visit):
    facts = {"at": noon(on), "covering": "bare", "instrument": "tape_1mm", **visit}
    return Reading(
        measure=place.measure,
        limb=place.limb,
        landmark=place.landmark,
        station_mm=place.station_mm,
        value=value,
        visit=Visit(**facts),
    )


def occasion(*readings, covering="bare", instrument="tape_1mm", clinic=CLINIC, at=TODAY):
    CHILD.clinic = clinic
    return Occasion(CHILD, noon(at), covering, instrument, Tolerances(), History(readings, noon(at)))


def data_of(place, *takes, **more):
    return {**{f"{place.key}-take{number}": text for number, text in enumerate(takes, start=1)}, **more}


def entry_of(place, *takes, readings=(), others=(), **facts):
    """One entry, with the others' data typed too."""
    data = data_of(place, *takes)
    for other, texts in others:
        data |= data_of(other, *texts)
    return read_entries([place, *(other for other, _ in others)], data, occasion(*readings, **facts))[place.key]


def codes(entry):
    return [question.code for question in entry.questions]


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


# Alerts


def test_an_impossible_value_is_an_error_without_an_answer():
    entry = entry_of(STATION, "700")
    (question,) = entry.questions
    assert (question.code, question.answerable) == ("out_of_range", False)
    assert question.sentence == "700 mm is not possible here: from 60 mm to 450 mm is. Check the unit."
    assert not entry.ready


def test_an_impossible_value_says_what_a_mixed_up_unit_would_mean():
    entry = entry_of(STATION, "17.1", readings=[past(STATION, 170)])
    assert entry.questions[0].sentence.endswith("Was 171 mm meant?")
    assert entry.believed is None


def test_one_impossible_take_of_two_is_found():
    assert codes(entry_of(STATION, "17.1", "171", readings=[past(STATION, 170)])) == ["out_of_range"]


@pytest.mark.parametrize(
    ("place", "before", "typed", "meant"),
    [(LENGTH, 102, "10.2", "102 mm"), (STATION, 170, "66", "168 mm"), (STATURE, 1180, "464", "1179 mm")],
)
def test_a_unit_slip_says_what_was_meant(place, before, typed, meant):
    entry = entry_of(place, typed, readings=[past(place, before)])
    assert codes(entry) == ["unit_slip"]
    assert f"was {meant} meant?" in entry.questions[0].sentence


def test_a_weight_in_pounds_at_a_kilogram_clinic():
    entry = entry_of(WEIGHT, "55.1", readings=[past(WEIGHT, 25)])
    assert codes(entry) == ["unit_slip"]
    assert "was 25.0 kg meant?" in entry.questions[0].sentence


def test_a_slip_does_not_accuse_its_neighbours():
    """The station beside a slip is not called rising; the sound side's slip makes no limb longer than it."""
    near = Place(M.GIRTH, LIMB, "cubital_fold", 50.0)
    entry = entry_of(near, "165", others=[(STATION, ("66",))], readings=[past(STATION, 170), past(near, 165)])
    assert codes(entry) == []


def test_longer_than_the_sound_side_as_typed_now_or_as_last_read():
    typed_now = entry_of(LENGTH, "190", others=[(SOUND, ("180",))])
    last_read = entry_of(LENGTH, "190", readings=[past(SOUND, 180)])
    assert codes(typed_now) == codes(last_read) == ["longer_than_sound"]
    assert "190 mm is longer than the sound side, 180 mm" in typed_now.questions[0].sentence
    assert codes(entry_of(LENGTH, "184", others=[(SOUND, ("180",))])) == []


def test_shrinking_beyond_noise():
    entry = entry_of(LENGTH, "90", readings=[past(LENGTH, 100)])
    assert codes(entry) == ["shrinking"]
    assert "90 mm is less than last time, 100 mm, by more than the noise of ±8 mm" in entry.questions[0].sentence
    assert codes(entry_of(LENGTH, "93", readings=[past(LENGTH, 100)])) == []


def test_girth_rising_distally():
    far = Place(M.GIRTH, LIMB, "cubital_fold", 50.0)
    entry = entry_of(far, "180", others=[(STATION, ("160",))])
    assert codes(entry) == ["rising_distally"]
    assert "180 mm is more than a tenth above the station before it, 160 mm" in entry.questions[0].sentence


@pytest.mark.parametrize("facts", [{"level": "wrist_disarticulation"}, {"bulbous_end": True}])
def test_rising_is_not_asked_where_ends_are_wide(facts):
    limb = Limb(pk=9, child=CHILD, side="left", **{"level": "transradial", "cause": "transverse", **facts})
    near, far = (Place(M.GIRTH, limb, "cubital_fold", station) for station in (25.0, 50.0))
    assert codes(entry_of(far, "180", others=[(near, ("160",))])) == []


def test_far_outside_the_growth_reference():
    """Eight-year-old girl: 1.28 m is the median (CDC 2000), 0.85 m is beyond z -6."""
    entry = entry_of(STATURE, "850")
    assert codes(entry) == ["beyond_z"]
    assert "z-score −" in entry.questions[0].sentence or "z-score -" in entry.questions[0].sentence
    assert codes(entry_of(STATURE, "1280")) == []


def test_ages_no_reference_covers_are_not_held_against_one():
    CHILD.birth_date = TODAY - timedelta(days=200)
    try:
        assert codes(entry_of(STATURE, "650")) == []
    finally:
        CHILD.birth_date = date(2018, 3, 14)


def test_every_code_has_its_words():
    assert set(SHORT) == set(SENTENCES) - {"before_birth", "in_future"}


# Answers


def shrunk(typed="90", **form):
    """A residual length typed as shrunk, with what the form remembers and answers."""
    data = data_of(LENGTH, typed, **{f"{LENGTH.key}-{name}": text for name, text in form.items()})
    return read_entries([LENGTH], data, occasion(past(LENGTH, 100)))[LENGTH.key]


def remembered(first="90", last="90", code="shrinking"):
    return json.dumps({code: {"first": [first], "last": [last]}})


def test_an_alert_waits_for_its_answer():
    entry = shrunk()
    assert not entry.ready
    assert entry.questions[0].complaint == NOT_ANSWERED
    assert json.loads(asked_text(entry)) == {"shrinking": {"first": ["90"], "last": ["90"]}}


def test_confirmed_with_a_reason_is_stored():
    entry = shrunk(asked=remembered(), **{"shrinking-answer": "confirmed", "shrinking-because": "less swelling"})
    assert entry.ready
    (alert,) = reading_in(entry).alerts
    assert (alert["code"], alert["answer"], alert["because"]) == ("shrinking", "confirmed", "less swelling")
    assert alert["figures"]["before"] == 100
    assert answered_words(alert) == "smaller than last time beyond noise; confirmed, because: less swelling"


def test_confirmed_without_a_reason_is_asked_for_one():
    entry = shrunk(asked=remembered(), **{"shrinking-answer": "confirmed"})
    assert (entry.ready, entry.questions[0].complaint) == (False, NO_BECAUSE)


def test_a_confirmation_holds_for_the_value_it_was_given_for_only():
    form = {"shrinking-answer": "confirmed", "shrinking-because": "less swelling"}
    entry = shrunk("80", asked=remembered(last="90"), **form)
    assert not entry.ready
    assert (entry.questions[0].answer, entry.questions[0].because) == ("", "less swelling")


def test_an_answer_to_a_question_never_asked_does_not_count():
    entry = shrunk(**{"shrinking-answer": "confirmed", "shrinking-because": "because"})
    assert not entry.ready


def test_remeasured_needs_a_new_value():
    entry = shrunk(asked=remembered(), **{"shrinking-answer": "remeasured"})
    assert (entry.ready, entry.questions[0].complaint) == (False, NOT_REMEASURED)


def test_remeasured_with_a_value_that_is_still_odd_is_stored():
    entry = shrunk("89", asked=remembered(), **{"shrinking-answer": "remeasured"})
    assert entry.ready
    (alert,) = reading_in(entry).alerts
    assert (alert["answer"], alert["typed_first"]) == ("remeasured", ["90"])


def test_a_new_value_that_answers_by_itself_is_remembered():
    entry = shrunk("101", asked=remembered())
    assert entry.ready
    (alert,) = reading_in(entry).alerts
    assert alert == {"code": "shrinking", "answer": "remeasured", "typed_first": ["90"]}
    assert answered_words(alert) == "smaller than last time beyond noise at 90; remeasured"


def test_a_question_that_went_away_without_a_new_value_was_not_remeasured():
    data = data_of(LENGTH, "90", **{f"{LENGTH.key}-asked": remembered()})
    entry = read_entries([LENGTH], data, occasion())[LENGTH.key]
    assert reading_in(entry).alerts == ()


def test_a_third_take_that_cannot_be_had_is_confirmed():
    data = data_of(STATION, "170", "178")
    data[f"{STATION.key}-asked"] = json.dumps({"third_take": {"first": ["170", "178"], "last": ["170", "178"]}})
    data |= {f"{STATION.key}-third_take-answer": "confirmed", f"{STATION.key}-third_take-because": "child asleep"}
    entry = read_entries([STATION], data, occasion())[STATION.key]
    assert (entry.ready, entry.value) == (True, 174)
    assert reading_in(entry).alerts[0]["because"] == "child asleep"


def test_a_third_take_leaves_no_alert_behind():
    data = data_of(STATION, "170", "178", "171")
    data[f"{STATION.key}-asked"] = json.dumps({"third_take": {"first": ["170", "178"], "last": ["170", "178"]}})
    assert reading_in(read_entries([STATION], data, occasion())[STATION.key]).alerts == ()


@given(st.one_of(st.text(max_size=60), st.recursive(st.none() | st.text(max_size=5), st.lists).map(json.dumps)))
def test_what_a_form_remembers_is_never_trusted(text):
    assert shrunk(asked=text).questions[0].code == "shrinking"


def test_what_is_stored_is_as_typed():
    reading = reading_in(entry_of(STATION, "17,0 cm", "", "6 3/4 in"))
    assert reading.typed == ("17,0 cm", "6 3/4 in")
    assert reading.takes == pytest.approx((170, 171.45))
    assert (reading.limb, reading.landmark, reading.station_mm) == (LIMB, "cubital_fold", 25.0)


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
