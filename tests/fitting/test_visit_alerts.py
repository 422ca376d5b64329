"""The questions typed readings raise, and their answers."""

import json
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.alert_words import SENTENCES, SHORT, answered_words
from fitting.visit_alerts import NO_BECAUSE, NOT_ANSWERED, NOT_REMEASURED, asked_text, read_entries, reading_in
from fitting.visit_places import Place
from patients.models import Limb
from tests.typed_visit import (
    CHILD,
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


@pytest.mark.parametrize(
    ("place", "before", "typed"),
    [(STATION, 170, "210"), (SOUND, 180, "225"), (STATURE, 1280, "1520"), (WEIGHT, 25, "41"), (LENGTH, 100, "140")],
)
def test_more_than_growth_explains(place, before, typed):
    days_ago = past(place, before, on=TODAY - timedelta(days=5))
    entry = entry_of(place, typed, readings=[days_ago])
    assert codes(entry) == ["grown_too_much"]
    assert entry.questions[0].sentence.endswith("Was the sound arm, or another child, measured?")
    assert codes(entry_of(place, f"{before}", readings=[days_ago])) == []


def test_more_than_growth_explains_says_what_would_be_the_most():
    """Noise 2.77 x 2 mm = 5.5 mm and a year of 12 %: 170 + 5.5 + 20.4."""
    before = past(STATION, 170, on=date(2025, 5, 4))
    assert (
        "last time 170 mm, so at most 196 mm now" in entry_of(STATION, "200", readings=[before]).questions[0].sentence
    )
    assert codes(entry_of(STATION, "195", readings=[before])) == []


def test_over_a_sock_or_since_surgery_nothing_grew_too_much():
    assert codes(entry_of(STATION, "220", readings=[past(STATION, 170, covering="sock")])) == []


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
