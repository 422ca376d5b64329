"""The cost of a rule for new sockets, by hand and against a day-by-day count."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.refit_rules import EARLY_WEEKS, WEEKS_PER_YEAR, rule_cost

NEVER = np.inf


def test_four_sockets_by_hand():
    """Half a year late; a year early; never replaced nor outgrown; replaced on the day."""
    cost = rule_cost([1.5, 1.0, NEVER, 2.0], [1.0, 2.0, NEVER, 2.0], [3, 3, 3, 3])
    assert cost.sockets == 4
    assert cost.outgrown_weeks == pytest.approx(0.5 * WEEKS_PER_YEAR / 4)
    assert cost.outgrown_share == 0.25
    assert cost.thrown_away == 0.25
    assert cost.unused_weeks == pytest.approx(WEEKS_PER_YEAR / 4)


def test_nothing_counts_after_the_child_was_last_seen():
    late, early = rule_cost([5.0], [1.0], [1.5]), rule_cost([1.0], [NEVER], [1.2])
    assert late.outgrown_weeks == pytest.approx(0.5 * WEEKS_PER_YEAR)
    assert early.unused_weeks == pytest.approx(0.2 * WEEKS_PER_YEAR)
    assert early.thrown_away == 0  # less than half a year is known to be left
    assert rule_cost([2.0], [2.5], [1.0]) == rule_cost([NEVER], [NEVER], [1.0])


days = st.integers(0, 1200)


@given(st.lists(st.tuples(days, days, days), min_size=1, max_size=6))
def test_against_a_count_of_days(sockets):
    replaced, outgrown, seen = np.array(sockets).T
    cost = rule_cost(replaced / 365.25, outgrown / 365.25, seen / 365.25)
    late = [sum(o <= day < r for day in range(s)) for r, o, s in sockets]
    unused = [sum(r <= day < o for day in range(s)) for r, o, s in sockets]
    assert cost.outgrown_weeks * 7 == pytest.approx(np.mean(late))
    assert cost.unused_weeks * 7 == pytest.approx(np.mean(unused))
    assert cost.thrown_away == pytest.approx(np.mean([weeks > EARLY_WEEKS * 7 for weeks in unused]), abs=1e-9)
