"""Sites and levels on the fitting sheet."""

import pytest
from django.core.files.base import ContentFile

from fitting.models import LevelSettings
from fitting.sheets.fitting_sheet import TEMPLATE, fitting_sheet
from fitting.sheets.muscle_card import muscle_cards, sheet_windows, site_lines
from fitting.sheets.render import sheet_html
from tests import factories as make

pytestmark = pytest.mark.django_db


@pytest.fixture
def limb():
    limb = make.make_limb()
    visit = make.make_visit(limb.child)
    make.make_girths(visit, limb, {0: 180, 60: 150})
    make.make_reading(visit, "residual_length", 100, limb)
    return limb


@pytest.fixture
def site(limb):
    return make.make_muscle_site(limb, clock_hour=2)


@pytest.fixture
def settings_row(site):
    recording = make.make_muscle_recording(site, ContentFile(b"0,1\n", "a.csv"))
    return LevelSettings.objects.create(
        limb=site.limb,
        recording=recording,
        channel=0,
        levels=["rest", "light", "hard"],
        boundaries=[0.02, 0.1],
        unit="mV",
        full_scale=0.5,
        hysteresis_ln=0.1,
        debounce_ms=60,
        gestures={"light": {"grip": "open", "word": "wave"}, "hard": {"grip": "power", "word": ""}},
        on=make.TODAY,
        set_by=site.observer,
        recorded_at=make.noon(make.TODAY),
    )


def test_a_site_in_one_line(limb, site):
    (line,) = site_lines(limb)
    assert (line.number, line.muscle) == (1, "wrist extensors")
    assert (line.place, line.look) == ("40 mm from the lateral epicondyle, 2 o'clock", "")


def test_a_site_of_a_limb_that_grew_says_where_to_look(limb, site):
    later = make.make_visit(limb.child, site.observer)
    make.make_reading(later, "residual_length", 120, limb)
    assert site_lines(limb)[0].look == "look at 48 mm and retest"
    assert [(mark.station_mm, mark.retest) for mark in sheet_windows(limb)] == [(pytest.approx(48), True)]


def test_levels_in_steps_and_words(limb, settings_row):
    (card,) = muscle_cards(limb)
    assert (card.hysteresis_percent, card.debounce_ms, card.full_scale, card.retest) == (10, 60, "0.5 mV", False)
    assert [row.word for row in card.rows] == ["rest", "light", "hard"]
    # 0.02 x e^0.1 x 1023 / 0.5 = 45.2 and 0.02 x e^-0.1 x 1023 / 0.5 = 37.03, each up to the next whole step
    assert (card.rows[1].starts, card.rows[1].up_step, card.rows[1].down_step) == ("0.02 mV", 46, 38)
    assert (card.rows[1].grip, card.rows[1].family_word, card.rows[0].grip) == ("open", "wave", "")


def test_a_site_entered_anew_asks_for_a_retest(limb, site, settings_row):
    make.make_muscle_site(limb, site.observer, supersedes=site, why="moved")
    assert [card.retest for card in muscle_cards(limb)] == [True]


def test_the_fitting_sheet_carries_sites_levels_windows_and_cautions(limb, settings_row):
    sheet = fitting_sheet(limb, make.TODAY)
    assert [window.number for window in sheet.drawing.windows] == [1]
    html = " ".join(sheet_html(TEMPLATE, sheet, "A4").split())
    assert "Levels of wrist extensors, set 4 May 2026" in html
    assert "Rash from an adhesive or broken skin: no electrode there." in html
    assert "come from adults" in html


def test_a_sheet_of_a_limb_without_sites_says_nothing_of_muscles(limb):
    assert "Muscle sites and levels" not in sheet_html(TEMPLATE, fitting_sheet(limb, make.TODAY), "A4")
