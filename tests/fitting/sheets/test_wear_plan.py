import csv
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.sheets.wear_plan import WEAR_PLAN_FILE, Wearer, wear_plan

ADULT_AGE = 30
COMMON_PRACTICE, LEAFLET = "common practice", "upper-limb care provider's leaflet for adults"
# Total wear of days 1 to 6, hours:minutes, as the leaflet prints them: three sessions of 30, 45, 60, 90, 120, 150 min.
LEAFLET_TOTALS = ["1:30", "2:15", "3:00", "4:30", "6:00", "7:30"]


def rows():
    with WEAR_PLAN_FILE.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_published_schedule_adds_up_to_the_totals_printed_in_the_leaflet():
    plan = wear_plan(ADULT_AGE, Wearer.NEW)
    totals = [timedelta(minutes=step.minutes * step.sessions_a_day) for step in plan.steps[:-1]]
    assert [str(total)[:-3] for total in totals] == LEAFLET_TOTALS
    assert plan.published
    assert plan.steps[-1].open_ended and plan.steps[-1].minutes == 8 * 60  # day 7 onward, 8 h or more


def test_only_the_published_schedule_cites_the_leaflet_and_all_others_say_common_practice():
    for row in rows():
        assert row["source"].startswith(LEAFLET if row["published"] == "yes" else COMMON_PRACTICE), row


@given(age=st.floats(0, 25), wearer=st.sampled_from(Wearer.values))
def test_any_age_has_one_plan_whose_steps_rise_one_at_a_time_and_end_open(age, wearer):
    steps = wear_plan(age, wearer).steps
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    minutes = [step.minutes for step in steps if not step.open_ended]
    assert minutes == sorted(set(minutes)) and len(minutes) == len(steps) - 1
    assert [step.open_ended for step in steps] == [False] * (len(steps) - 1) + [True]


@given(age=st.floats(0, 18), wearer=st.sampled_from(Wearer.values))
def test_an_experienced_wearer_needs_fewer_steps_and_never_starts_shorter(age, wearer):
    new, experienced = wear_plan(age, Wearer.NEW), wear_plan(age, Wearer.EXPERIENCED)
    assert len(experienced.steps) < len(new.steps)
    assert experienced.steps[0].minutes >= new.steps[0].minutes


@pytest.mark.parametrize("age", [1, 4.99, 5, 11.99])
def test_young_children_start_at_15_to_30_minutes(age):
    """Common practice: shorter starts of 15 to 30 minutes, in play."""
    assert 15 <= wear_plan(age, Wearer.NEW).steps[0].minutes <= 30


def test_the_steps_change_on_the_fifth_and_twelfth_birthday():
    starts = [wear_plan(age, Wearer.NEW).steps[0].minutes for age in (4.999, 5, 11.999, 12)]
    assert starts == [15, 20, 20, 30]
