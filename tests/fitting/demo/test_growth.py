"""The invented children grow like children: inside the references, never shrinking, by their plates' share."""

import numpy as np
import pytest

from fitting.calc.limb import Level
from fitting.calc.lms import z_score
from fitting.calc.parts import part_of
from fitting.calc.references import lms_table
from fitting.calc.residual_growth import Plates
from fitting.demo.growth import new_grower
from fitting.demo.readings import inches_text
from fitting.demo.residual import Residual
from fitting.quantities import parse_length_mm

MEASURES = ("stature", "weight", "forearm_length", "upper_arm_length", "forearm_girth", "wrist_girth")


def grower(seed, sex="M"):
    return new_grower(sex, np.random.default_rng(seed))


@pytest.mark.parametrize("measure", MEASURES)
def test_sizes_stay_within_three_standard_deviations(measure):
    ages = np.arange(30.0, 216.0, 6)
    for seed in range(40):
        sex = "FM"[seed % 2]
        sizes = grower(seed, sex).size(measure, ages)
        z = z_score(lms_table(part_of(measure).table), sex, ages, sizes)
        assert np.abs(z).max() < 3.2


def test_children_differ_and_a_seed_repeats():
    sizes = [float(grower(seed).size("stature", 100.0)) for seed in range(20)]
    assert np.std(sizes) > 30
    assert sizes[3] == float(grower(3).size("stature", 100.0))


def test_lengths_never_shrink():
    ages = np.arange(24.0, 150.0, 3)
    for seed in range(20):
        assert np.diff(grower(seed).size("stature", ages)).min() > 0


def residual(level, percent, plates, **other):
    known = {"bulbous": False, "now_months": 96.0, "first_months": 60.0}
    return Residual(level=level, grower=grower(5), percent=percent, plates=plates, **{**known, **other})


def test_a_transradial_limb_without_its_distal_plates_grows_by_the_proximal_share():
    """Ulna, distal plate 90 % at 5 y and 95 % at 8 y (Pritchett 1991): the rest is 5 to 10 % of the growth."""
    limb = residual(Level.TRANSRADIAL, 50, Plates(distal_lost=True, length_ratio=0.5))
    sound = limb.grower.size("forearm_length", np.array([60.0, 96.0]))
    grown = limb.length_mm(96.0) - limb.length_mm(60.0)
    assert limb.length_mm(96.0) == pytest.approx(sound[1] / 2)
    assert 0.05 < grown / (sound[1] - sound[0]) < 0.10


def test_a_disarticulation_grows_with_the_sound_side():
    limb = residual(Level.WRIST_DISARTICULATION, 97, Plates())
    sound = limb.grower.size("forearm_length", np.array([60.0, 96.0]))
    assert limb.length_mm(96.0) - limb.length_mm(60.0) == pytest.approx(sound[1] - sound[0])


def test_girths_taper_keep_their_stations_and_swell_after_a_loss():
    plates = Plates(distal_lost=True, length_ratio=0.5)
    steady, new = residual(Level.TRANSRADIAL, 50, plates), residual(Level.TRANSRADIAL, 50, plates, acquired_months=58.0)
    girths = list(steady.girths_mm(60.0).values())
    assert girths == sorted(girths, reverse=True)
    assert steady.girths_mm(60.0).keys() == steady.girths_mm(96.0).keys()
    assert new.girths_mm(60.0)[0] > 1.03 * steady.girths_mm(60.0)[0]
    assert new.girths_mm(96.0)[0] == pytest.approx(steady.girths_mm(96.0)[0], rel=1e-3)


def test_no_girths_at_the_shoulder():
    assert residual(Level.SHOULDER_DISARTICULATION, 0, Plates()).stations_mm == ()


@pytest.mark.parametrize(("marks", "text"), [(108, "6 3/4"), (96, "6"), (5, "5/16"), (8, "1/2"), (33, "2 1/16")])
def test_inches_are_typed_as_a_ruler_is_read(marks, text):
    assert inches_text(marks) == text
    assert parse_length_mm(text, "in") == pytest.approx(marks / 16 * 25.4)
