import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle import verdict
from fitting.calc.muscle.boundaries import Repetition, fit_levels
from fitting.calc.muscle.recording import Hold


@pytest.mark.parametrize(
    ("d_prime", "word"),
    [(9, "usable"), (1.5, "usable"), (1.49, "marginal"), (1.0, "marginal"), (0.99, "retry"), (-2, "retry")],
)
def test_the_word_for_the_smallest_distance(d_prime, word):
    assert verdict.verdict_of(d_prime) == word


def reps(means_by_level):
    return [
        Repetition(Hold(level, number, 0, 1, 0), mean, 0.01, np.array([mean]))
        for level, means in means_by_level.items()
        for number, mean in enumerate(means)
    ]


def drift(means_by_level):
    repetitions = reps(means_by_level)
    return verdict.drift_of(repetitions, fit_levels(repetitions))


def test_a_steady_fall_is_found_and_warned():
    found = drift({"rest": [0, 0, 0], "light": [1, 0.8, 0.6], "hard": [3, 2.8, 2.6]})
    assert found.ln == pytest.approx(-0.4)
    assert found.error_ln == pytest.approx(0, abs=1e-12)
    assert found.warned


def test_a_small_fall_and_a_noisy_one_are_not_warned():
    assert not drift({"rest": [0, 0], "light": [1, 0.9], "hard": [3, 2.9]}).warned
    assert not drift({"rest": [0, 0, 0], "light": [1, 0.1, 1.6], "hard": [3, 4.0, 2.0]}).warned


def test_rest_does_not_count_as_drift():
    assert drift({"rest": [0, 2, 4], "light": [5, 5, 5], "hard": [6, 6, 6]}).ln == pytest.approx(0)


def test_levels_with_unlike_numbers_of_repetitions_share_one_drift():
    assert drift({"light": [1, 1.25, 1.5], "hard": [3, 3.125, 3.25, 3.375, 3.5]}).ln == pytest.approx(0.5)


def test_too_few_repetitions_leave_the_drift_unknown():
    found = drift({"rest": [0, 0], "hard": [3, 1]})
    assert (found.ln, found.error_ln, found.warned) == (0, float("inf"), False)


@pytest.mark.parametrize(
    ("feedback", "ln", "noise"), [(False, 0.69, True), (False, 0.71, False), (True, 0.39, True), (True, -0.41, False)]
)
def test_a_change_is_noise_below_its_limit(feedback, ln, noise):
    (change,) = verdict.changes_since({"hard": ln, "light": 1}, {"hard": 0.0, "medium": 1}, feedback)
    assert (change.level, change.ln, change.noise) == ("hard", ln, noise)


def test_cocontraction_by_hand():
    assert verdict.cocontraction_of(50, 100, 10, 40) == pytest.approx(0.5)


@given(*[st.floats(0.01, 100)] * 4, st.floats(0.1, 10))
def test_cocontraction_does_not_depend_on_gain(acting, hard, other, other_hard, gain):
    a = verdict.cocontraction_of(acting, hard, other, other_hard)
    assert verdict.cocontraction_of(acting * gain, hard * gain, other, other_hard) == pytest.approx(a)
    assert verdict.cocontraction_of(acting, hard, other * gain, other_hard * gain) == pytest.approx(a)


@pytest.mark.parametrize("levels", [(0, 1, 1, 1), (1, 0, 1, 1), (1, 1, 1, 0)])
def test_a_hard_level_of_nothing_is_refused(levels):
    with pytest.raises(DoorpostError, match="A hard level must be above 0"):
        verdict.cocontraction_of(*levels)
