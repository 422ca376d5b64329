import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.muscle import expected_error as ee
from fitting.calc.muscle.boundaries import Repetition
from fitting.calc.muscle.recording import LEVELS, Cue, Hold
from fitting.calc.muscle.site_test import site_test
from tests.fitting.muscle_simulator import simulate

HARDER_LN = {"rest": np.log(0.006), "light": np.log(0.03), "medium": np.log(0.06), "hard": np.log(0.12)}


def rep(level, number, *values):
    values = np.array(values, float)
    return Repetition(Hold(level, number, 0, 1, 0), float(values.mean()), float(values.var()), values)


def clear(repetitions=3):
    return [rep(level, r, n, n + 0.01) for n, level in enumerate(LEVELS) for r in range(repetitions)]


def test_each_repetition_is_left_out_once():
    folds = ee.leave_one_out(clear(3))
    assert len(folds) == 3
    for number, (kept, out) in enumerate(folds):
        assert {r.hold.repetition for r in out} == {number}
        assert number not in {r.hold.repetition for r in kept}
        assert len(kept) + len(out) == 12


def test_a_level_held_once_is_never_left_out():
    kept, out = ee.leave_one_out([rep("rest", 0, 0.0), rep("hard", 0, 3.0), rep("hard", 1, 3.0)])[0]
    assert [r.hold.level for r in kept] == ["rest", "hard"]
    assert [r.hold.level for r in out] == ["hard"]


def test_clear_levels_have_no_error_but_an_interval():
    error = ee.expected_error(clear())
    assert (error.share, error.low, error.holds) == (0, 0, 12)
    assert error.high == pytest.approx(3.8414588 / (12 + 3.8414588), abs=1e-6)  # z^2 / (n + z^2), Wilson at no failures


def test_every_hold_counts_once_however_long():
    reps = clear()
    reps[0] = rep("rest", 0, *[2.0] * 1000)
    assert ee.expected_error(reps).share == pytest.approx(1 / 12, abs=0.1)


def seen_and_unseen(seed):
    rng = np.random.default_rng(seed)
    spread = rng.normal(0, 0.4, (4, 2))
    reps = [
        rep(level, r, *rng.normal(0.5 * n + spread[n, r], 0.2, 20)) for n, level in enumerate(LEVELS) for r in (0, 1)
    ]
    boundaries = ee.fitted(reps)
    seen = np.mean([np.mean(ee.classify(r.values, boundaries) != LEVELS.index(r.hold.level)) for r in reps])
    return seen, ee.expected_error(reps).share


def test_judging_boundaries_by_what_they_were_made_from_is_optimistic():
    seen, unseen = np.mean([seen_and_unseen(seed) for seed in range(40)], axis=0)
    assert unseen > seen + 0.05


def test_wilson_against_published_intervals():
    # Newcombe, Stat Med 1998;17:857, table I: 81 of 263, 15 of 148, 1 of 29
    assert ee.wilson(81 / 263, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    assert ee.wilson(15 / 148, 148) == pytest.approx((0.0624, 0.1605), abs=5e-5)
    assert ee.wilson(1 / 29, 29) == pytest.approx((0.0061, 0.1718), abs=5e-5)


@given(st.floats(0, 1), st.integers(1, 200))
def test_wilson_holds_its_share_and_stays_within_0_and_1(share, trials):
    low, high = ee.wilson(share, trials)
    assert 0 <= low <= share + 1e-12
    assert share - 1e-12 <= high <= 1


def test_fixed_boundaries_are_shares_of_the_strongest():
    reps = [rep("rest", 0, np.log(1.0)), rep("hard", 0, np.log(100.0), np.log(50.0))]
    assert np.exp(ee.fixed((0.25, 0.5, 0.75))(reps)) == pytest.approx([25, 50, 75])


def test_fixed_rules_are_compared_only_where_all_levels_were_held():
    assert ee.fixed_errors([r for r in clear() if r.hold.level != "light"]) == {}
    assert set(ee.fixed_errors(clear())) == {"25_50_75", "10_33_66"}


def test_levels_held_once_are_named():
    cues = [Cue("rest", 0, 1), Cue("light", 1, 2), Cue("hard", 2, 3), Cue("hard", 3, 4), Cue("medium", 0, 1, 1)]
    assert ee.lone_levels(cues, 0) == ("light",)


@pytest.mark.parametrize("spread_ln", [0.2, 0.4])
def test_fitted_boundaries_beat_fixed_ones_on_held_out_repetitions(spread_ln):
    right = []
    for seed in range(12):
        site = simulate(seed, HARDER_LN, spread_ln=spread_ln, rate_hz=1000, hold_s=2.0)
        test = site_test(site.recording, site.cues).channels[0]
        errors = [test.expected_error, test.fixed_errors["25_50_75"], test.fixed_errors["10_33_66"]]
        right.append([1 - error.share for error in errors])
    fitted, quarters, thirds = np.mean(right, axis=0)
    assert fitted > quarters + 0.2
    assert fitted > thirds + 0.05
