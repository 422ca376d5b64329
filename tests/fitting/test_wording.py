import inspect
import re
from datetime import date, timedelta

import pytest
from django.utils import translation

from fitting import inputs, wording
from fitting.calc import promise
from fitting.calc.limb import LENGTH_BANDS
from fitting.calc.next_action import ORDER
from fitting.calc.present_fit import _loose, _outgrown, _red, _remeasure
from fitting.models import Forecast
from patients.models import Limb

TODAY = date(2026, 5, 4)
STATE, NEXT = Forecast.State, Forecast.NextAction


def forecast(**fields):
    limb = Limb(level=Limb.Level.TRANSRADIAL, side=Limb.Side.LEFT)
    defaults = {
        "as_of": TODAY,
        "state": STATE.DATED,
        "early": date(2027, 1, 9),
        "likely": date(2027, 5, 1),
        "late": date(2027, 12, 24),
        "limiting": "girth:60",
        "remeasure_by": date(2026, 10, 31),
        "start_refit_by": date(2026, 12, 5),
        "fitted_by": date(2027, 1, 2),
        "next_action": NEXT.REMEASURE,
        "act_on": date(2026, 10, 31),
    }
    return Forecast(limb=limb, **{**defaults, **fields})


def test_a_dated_limb_says_when_and_what_runs_out_first():
    assert wording.why(forecast(), "mm", TODAY) == (
        "May be outgrown from 9 January 2027, likely around 1 May 2027. "
        "First to run out: the girth 60 mm from the cubital fold."
    )


def test_the_likely_day_is_left_out_when_it_is_beyond_the_search():
    said = wording.why(forecast(likely=None, late=None, limiting="end_gap"), "mm", TODAY)
    assert said == "May be outgrown from 9 January 2027. First to run out: the gap at the end."


@pytest.mark.parametrize(
    ("days_on", "said"),
    [
        (0, "Remeasure by 31 October 2026."),
        (180, "Remeasure now."),
    ],
)
def test_the_next_step_is_read_as_of_a_day(days_on, said):
    assert wording.next_step(forecast(), TODAY + timedelta(days=days_on)) == said


@pytest.mark.parametrize(
    ("made_on", "said"), [(1, "It was due on 1 April 2026."), (2, "It would have had to start by 1 April 2026.")]
)
def test_a_start_that_has_passed_is_now_and_was_due_only_if_it_was_promised(made_on, said):
    passed = forecast(
        as_of=date(2026, 4, made_on),
        start_refit_by=date(2026, 4, 1),
        next_action=NEXT.START_REFIT,
        act_on=date(2026, 4, 1),
    )
    assert wording.next_step(passed, TODAY) == f"Start the refit now: measure and order. {said}"


def room_row(girth_mm, outgrown_above_mm, layers_mm=0.0):
    full_mm = outgrown_above_mm - 4
    rows = {"girth_mm": girth_mm, "outgrown_above_mm": outgrown_above_mm}
    return rows | {"capacity_mm": full_mm - layers_mm, "full_mm": full_mm}


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"early": date(2026, 1, 9)}, "May be outgrown by now, likely around 1 May 2027. "),
        ({"early": TODAY, "likely": None}, "May be outgrown by now. "),
        ({"early": date(2026, 1, 9), "likely": TODAY}, "Probably outgrown by now. "),
        (
            {"early": date(2026, 1, 9), "room": [room_row(150.0, 158.0), room_row(162.5, 162.0)]},
            "Already past its limit as measured on 20 April 2026. ",
        ),
        ({"room": [room_row(162.0, 162.0)]}, "May be outgrown from 9 January 2027"),
        (
            {"early": date(2026, 4, 20), "likely": date(2026, 4, 20), "findings": {"outgrown": ["end_gap"]}},
            "Already past its limit as seen on 20 April 2026. ",
        ),
    ],
)
def test_a_date_that_has_passed_is_not_told_as_one_to_come(fields, said):
    known = {"last_reading": "2026-04-20", "findings": fields.get("findings", {})}
    row = forecast(inputs=known, **{name: value for name, value in fields.items() if name != "findings"})
    assert wording.dates_sentence(row, "mm", TODAY).startswith(said)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        (
            {"layer_on": date(2026, 4, 1)},
            "As worn, with its layers in, likely full since 1 April 2026. "
            "With every layer out, may be outgrown from 9 January 2027, likely around 1 May 2027. ",
        ),
        (
            {"layer_on": date(2026, 6, 1), "likely": None},
            "As worn, with its layers in, likely full from 1 June 2026. "
            "With every layer out, may be outgrown from 9 January 2027. ",
        ),
        ({"room": [room_row(140.0, 158.0, 7.5)]}, "With every layer out, may be outgrown from 9 January 2027"),
        (
            {"layer_on": TODAY, "early": TODAY},
            "As worn, with its layers in, likely full since 4 May 2026. "
            "With every layer out, may be outgrown by now, likely around 1 May 2027. ",
        ),
        ({"room": [room_row(159.0, 158.0, 7.5)]}, "Already past its limit, even with every layer out, as measured on"),
    ],
)
def test_with_layers_in_the_date_names_what_it_assumes_and_the_socket_as_worn(fields, said):
    assert wording.dates_sentence(forecast(**fields), "mm", TODAY).startswith(said)


def test_a_look_owed_after_a_fitting_says_so():
    fresh = forecast(check_on=date(2026, 5, 18), act_on=date(2026, 5, 18))
    assert wording.next_step(fresh, TODAY) == "Look at the fit and remeasure by 18 May 2026."
    assert wording.why(fresh, "mm", TODAY).startswith(
        "A new socket is looked at within two weeks of the fitting, at six"
    )
    late = date(2026, 5, 20)
    assert wording.next_step(fresh, late) == "Look at the fit and remeasure now. It was due on 18 May 2026."
    assert wording.next_step(forecast(check_on=date(2026, 10, 31)), TODAY) == "Remeasure by 31 October 2026."


def test_a_limb_never_measured_is_not_called_stale():
    new = forecast(
        state=STATE.NO_SOCKET, early=None, start_refit_by=None, remeasure_by=TODAY, inputs={"last_reading": None}
    )
    assert wording.why(new, "mm", TODAY) == "Never measured. No socket is in use."
    assert wording.next_step(new, TODAY) == "Measure the limb."


def test_stale_readings_come_before_a_refit_that_is_due():
    both = forecast(
        start_refit_by=date(2026, 4, 1),
        next_action=NEXT.START_REFIT,
        act_on=date(2026, 4, 1),
        remeasure_by=date(2026, 4, 20),
    )
    assert wording.next_step(both, date(2026, 4, 10)).startswith("Start the refit now")
    assert wording.next_step(both, TODAY) == "Remeasure now."
    assert wording.why(both, "mm", TODAY).startswith("The readings are stale since 20 April 2026. May be outgrown")


def test_a_finding_that_asks_for_new_readings_is_due_before_the_stored_stale_day():
    asked = forecast(act_on=TODAY, inputs={"findings": {"remeasure": ["weight"]}})
    assert wording.next_step(asked, TODAY) == "Remeasure now."
    seen = "Seen at the last visit: weight changed by a tenth or more since the limb was measured."
    assert wording.why(asked, "mm", TODAY).startswith(seen)


def test_a_fit_problem_names_what_was_found_and_comes_first():
    problem = forecast(
        state=STATE.FIT_PROBLEM,
        next_action=NEXT.FIT_PROBLEM,
        act_on=TODAY,
        remeasure_by=TODAY,
        inputs={"findings": {"loose": ["slipping"], "red": ["open_skin", "pain"]}},
    )
    said = "Seen at the last visit: open skin or a blister, pain, slips off on a pull."
    assert wording.why(problem, "mm", TODAY) == said
    assert wording.next_step(problem, TODAY) == "See the child about the fit now. Until then the arm stays off."
    assert wording.family_next_step(problem, TODAY) == "Stop wearing the arm. Call us today."


def test_a_loose_socket_is_seen_without_telling_to_stop():
    loose = forecast(next_action=NEXT.FIT_PROBLEM, act_on=TODAY, inputs={"findings": {"loose": ["loose"]}})
    assert wording.next_step(loose, TODAY) == "See the child about the loose fit."
    assert wording.family_next_step(loose, TODAY) == "Call us this week. The socket is too loose."


def test_a_limb_smaller_by_the_tape_is_to_be_looked_at_and_not_called_loose():
    smaller = forecast(inputs={"findings": {"remeasure": ["girth_smaller"]}})
    said = wording.why(smaller, "mm", TODAY)
    assert said.startswith(
        "By the tape smaller than when the socket was made: have the fit looked at. May be outgrown from"
    )
    assert "loose" not in said + wording.next_step(smaller, TODAY)


@pytest.mark.parametrize("state", [STATE.NO_SOCKET, STATE.MATURING, STATE.MAY_NOT_OUTGROW, STATE.FIT_PROBLEM])
def test_a_limb_without_dates_says_why_there_is_none(state):
    undated = forecast(state=state, early=None, likely=None, late=None, limiting="")
    assert wording.why(undated, "mm", TODAY) == str(wording.UNDATED[state])
    assert wording.family_outlook(undated, TODAY) == ""


@pytest.mark.parametrize(
    ("notes", "said"),
    [
        (["no_reference_under_24m"], "Under two years there is no growth table"),
        (["stations_not_comparable"], "Some stations of the socket were not measured"),
        ([], "There is no growth table or no comparable reading"),
    ],
)
def test_no_reference_says_which(notes, said):
    undated = forecast(state=STATE.NO_REFERENCE, early=None, notes=notes)
    assert wording.why(undated, "mm", TODAY).startswith(said)


def test_families_hear_of_a_window_of_days():
    window = "The socket may get too small between 9 January 2027 and 24 December 2027."
    assert wording.family_outlook(forecast(), TODAY) == window
    assert wording.family_outlook(forecast(layer_on=date(2026, 12, 1)), TODAY) == f"{window} We can make room first."


@pytest.mark.parametrize(("late", "told"), [(date(2029, 1, 8), True), (date(2029, 1, 9), False), (None, False)])
def test_families_hear_of_no_window_wider_than_two_years(late, told):
    """Two years of 365 days from 9 January 2027, with the leap day of 2028 inside."""
    assert bool(wording.family_outlook(forecast(late=late), TODAY)) == told


def test_a_landmark_of_its_own_is_named():
    said = wording.part_words("girth:olecranon:45", Limb.Level.TRANSRADIAL, "cm")
    assert said == "the girth 4.5 cm from the olecranon"


def codes_in(function):
    """The codes a function of the computation can answer with: the keys of its checks."""
    return set(re.findall(r'^ +"(\w+)":', inspect.getsource(function), re.MULTILINE))


def test_every_code_of_the_computation_has_its_words():
    found = set().union(*(codes_in(function) for function in (_red, _outgrown, _loose, _remeasure)))
    assert len(found) > 10
    assert found | {"overgrowth"} == set(wording.FINDINGS)
    notes = codes_in(promise._notes) | codes_in(inputs._notes)
    assert notes == set(wording.NOTES)


@pytest.mark.parametrize("tables", [(wording.NEXT, wording.NEXT_BY), (wording.FAMILY_NEXT, wording.FAMILY_NEXT_BY)])
def test_every_action_has_its_words(tables):
    assert set().union(*tables) - {wording.LOOSE} == set(ORDER) == set(NEXT.values)
    assert set(wording.NEXT_NOW) == set(wording.NEXT_MISSED) == set(wording.NEXT_BY)
    assert set(wording.DATED) == set(wording.DATED_LAYERS_IN)
    assert set(wording.FAMILY_NEXT_NOW) == set(wording.FAMILY_NEXT_BY)


def test_a_code_without_words_is_shown_rather_than_hidden():
    assert wording.note_sentences(forecast(notes=["something_new"])) == ["something_new"]
    assert wording.finding_words(["something_new"]) == "something new"


def test_days_are_written_in_the_language_in_use():
    assert wording.day_words(date(2026, 5, 4)) == "4 May 2026"
    with translation.override("es"):
        assert "mayo" in wording.day_words(date(2026, 5, 4))


@pytest.mark.parametrize(
    ("on", "said"),
    [
        (date(2024, 2, 29), "0 months"),
        (date(2024, 3, 28), "0 months"),
        (date(2024, 3, 29), "1 month"),
        (date(2025, 2, 28), "11 months"),
        (date(2025, 3, 1), "1 year"),
        (date(2026, 5, 4), "2 years 2 months"),
    ],
)
def test_age_is_told_in_completed_years_and_months(on, said):
    assert wording.age_words(date(2024, 2, 29), on) == said


def test_every_band_of_length_level_has_its_words():
    names = {name for kind in LENGTH_BANDS.values() for bands in kind.values() for _bound, name in bands}
    assert names == set(wording.LENGTH_BANDS)
    assert wording.band_words(None) == ""
