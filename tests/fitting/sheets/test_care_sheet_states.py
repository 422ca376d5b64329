"""What the care sheet says when the arm should stay off, dates are withheld, or the child is new to wearing."""

import re
from datetime import date, timedelta

import pytest

from patients.models import Limb
from tests.factories import (
    TODAY,
    make_appointment,
    make_forecast,
    make_limb,
    noon,
)
from tests.fitting.sheets.care_sheet_text import (
    LEAVE_OFF,
    TOO_SMALL,
    UNTIL_SAID,
    WEAR_STEPS,
    Next,
    State,
    blocks_of,
    care_limb,
    html_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def limb():
    return care_limb()


@pytest.mark.parametrize(
    ("fields", "words", "worn"),
    [
        ({"state": State.FIT_PROBLEM, "next_action": Next.FIT_PROBLEM}, "Stop wearing the arm. Call us today.", False),
        ({"next_action": Next.SURGEON}, "Call us this week. A doctor needs to look at the end of the arm.", False),
        ({"next_action": Next.FIT_PROBLEM}, "Call us this week. The socket is too loose.", True),
    ],
)
def test_a_problem_seen_at_the_last_visit_comes_before_wearing(limb, fields, words, worn):
    make_forecast(limb, early=None, act_on=TODAY, **fields)
    html = html_of(limb)
    assert f'<p class="boxed">{words}</p>' in html
    assert ("Play together" in html) == worn
    assert (WEAR_STEPS in html) == worn and (LEAVE_OFF in html) != worn


def test_a_finding_that_harms_prints_no_day_of_outgrowth(limb):
    make_forecast(limb, state=State.FIT_PROBLEM, next_action=Next.FIT_PROBLEM, act_on=TODAY)
    html = html_of(limb)
    assert "too small between" not in html and "2027" not in html
    assert UNTIL_SAID in html


@pytest.mark.parametrize(
    ("forecast", "past"),
    [
        ({"early": TODAY}, True),
        ({"early": TODAY - timedelta(days=200)}, True),
        ({"early": TODAY + timedelta(days=1)}, False),
        ({"room": [{"girth_mm": 190.1, "outgrown_above_mm": 190}]}, True),
        ({"room": [{"girth_mm": 190, "outgrown_above_mm": 190}]}, False),
        ({"room": [{"girth_mm": None, "outgrown_above_mm": 190}]}, False),
    ],
)
def test_past_the_limit_the_arm_stays_off_and_no_range_is_printed(limb, forecast, past):
    make_forecast(limb, **forecast)
    html = html_of(limb)
    assert (f'<p class="boxed">{TOO_SMALL}</p>' in html) == past
    assert (LEAVE_OFF in html) == past
    assert ("Put the arm on" in html) != past and (WEAR_STEPS in html) != past and ("too small between" in html) != past
    assert not (past and "Come and be measured by" in html)


def test_past_the_limit_the_sheet_has_no_date_but_that_of_a_visit(limb):
    make_forecast(limb, early=date(2025, 6, 1))
    make_appointment(limb.child, noon(date(2026, 6, 9)))
    days = set(re.findall(r"\d+ [A-Z][a-z]+ \d{4}", " ".join(blocks_of(html_of(limb)))))
    assert days == {"9 June 2026", "4 May 2026"}  # the visit, and the day the estimate was made


@pytest.mark.parametrize("fields", [{"fitted_on": None}, {"retired_on": TODAY, "why_retired": "outgrown_girth"}])
def test_without_a_socket_in_use_nothing_is_put_on(limb, fields):
    limb.sockets.update(**fields)
    make_forecast(limb, early=None, state=State.NO_SOCKET, next_action=Next.MAKE_SOCKET, act_on=TODAY)
    html = html_of(limb)
    assert "No arm is fitted now. Do not put on an old arm." in html
    assert "We will measure the arm and make a socket." in html
    assert "Put the arm on" not in html and WEAR_STEPS not in html and LEAVE_OFF in html


@pytest.mark.parametrize(("remeasure_by", "dated"), [(TODAY + timedelta(days=1), True), (TODAY, False)])
def test_stale_readings_give_no_range_and_ask_to_measure(limb, remeasure_by, dated):
    make_forecast(limb, remeasure_by=remeasure_by, act_on=remeasure_by)
    html = html_of(limb)
    assert ("too small between" in html) == dated
    assert ("It is time to measure the arm again." in html) != dated


def test_stale_readings_of_a_loose_socket_ask_for_both(limb):
    make_forecast(limb, remeasure_by=TODAY, next_action=Next.FIT_PROBLEM, act_on=TODAY)
    html = html_of(limb)
    assert "The socket is too loose." in html and "It is time to measure the arm again." in html
    assert "too small between" not in html


def test_under_two_the_arm_is_measured_every_three_months_and_no_range_is_printed(limb):
    make_forecast(limb)
    limb.child.birth_date = date(2024, 5, 6)
    html = html_of(limb)
    assert "We will measure the arm every three months." in html and "too small between" not in html


def test_a_window_wider_than_two_years_is_left_out(limb):
    make_forecast(limb, late=TODAY + timedelta(days=300 + 731))
    html = html_of(limb)
    assert "too small between" not in html and "31 October 2026" in html  # the day to be measured again


def test_a_layer_still_in_makes_room_first(limb):
    make_forecast(limb, layer_on=TODAY + timedelta(days=250))
    assert "We can make room first." in html_of(limb)


def test_with_both_limbs_affected_there_is_no_sound_arm_to_look_at(limb):
    assert "Look at the other arm." in html_of(limb) and "next to the other arm" in html_of(limb)
    make_limb(limb.child, side=Limb.Side.RIGHT)
    html = html_of(limb)
    assert "other arm" not in html
    assert "Think back to yesterday." in html and "It looks short for your child." in html


def test_the_stop_box_names_pain_and_sends_a_magnet_that_is_gone_to_the_red_box(limb):
    html = html_of(limb)
    box = html[html.index("Stop and call us the same day") :]
    box = box[: box.index("</section>")]
    assert "<li>pain or swelling</li>" in box and "<li>a loose magnet. Is one gone? Read the red box.</li>" in box


def test_a_visit_earlier_today_is_not_a_next_date(limb):
    make_appointment(limb.child, noon(TODAY))
    make_appointment(limb.child, noon(TODAY) - timedelta(minutes=1))
    assert "Visit at" not in html_of(limb)
    make_appointment(limb.child, noon(TODAY) + timedelta(minutes=1))
    assert html_of(limb).count("Visit at") == 1
