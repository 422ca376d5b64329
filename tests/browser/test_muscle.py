"""A boundary dragged, moved by key and typed; levels set on the recording's page."""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from django.utils import timezone

from fitting.models import LevelSettings
from patients.models import Staff
from tests import factories as make
from tests.fitting.muscle_simulator import as_csv, simulate

pytestmark = pytest.mark.browser


@pytest.fixture
def site(mila):
    limb = mila.limbs.first()
    return make.make_muscle_site(limb, Staff.objects.get(username=prosthetist_of(mila)), on=timezone.now().date())


def prosthetist_of(child):
    return Staff.objects.filter(clinics=child.clinic, roles_held__role="prosthetist").first().username


@pytest.fixture
def page(open_page, mila, site, tmp_path):
    """The page of a recording just sent, through the form."""
    file = tmp_path / "arm.csv"
    file.write_bytes(as_csv(simulate(seed=1, repetitions=2, hold_s=1.5, rate_hz=1000)))
    page = open_page(prosthetist_of(mila))
    page.goto(reverse("muscle_recording_new", args=[site.limb_id]))
    page.get_by_label("File of the recording").set_input_files(str(file))
    page.get_by_role("button", name="Send the recording").click()
    page.wait_for_url(re.compile(r"/muscle-recordings/\d+/"))
    page.get_by_role("slider").first.wait_for()
    return page


def value(page, number):
    return float(page.locator(f"[name=c0-boundary_{number}]").input_value())


def tried(page, act):
    """Do something and wait for the replay it asks for."""
    with page.expect_response(lambda response: response.request.method == "POST"):
        act()
    page.get_by_text("With the levels as typed").wait_for()


def drag(page, number, dy):
    knob = page.locator(f'[data-boundary-line="{number}"] .knob')
    knob.scroll_into_view_if_needed()
    box = knob.bounding_box()
    x, y = box["x"] + 10, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y + dy, steps=4)
    page.mouse.up()


def test_a_boundary_is_dragged_and_the_replay_follows(page):
    before = value(page, 1)
    tried(page, lambda: drag(page, 1, -15))
    assert value(page, 1) > before * 1.1


def test_a_boundary_never_passes_its_neighbour(page):
    tried(page, lambda: drag(page, 0, -400))
    assert value(page, 0) < value(page, 1)


def test_a_boundary_moves_by_key_and_says_so(page):
    before = value(page, 0)
    slider = page.get_by_role("slider", name="Boundary between rest and light")
    slider.focus()
    tried(page, lambda: page.keyboard.press("ArrowUp"))
    assert value(page, 0) == pytest.approx(before * 1.02, rel=1e-3)
    assert float(slider.get_attribute("aria-valuenow")) == value(page, 0)


def test_a_typed_boundary_moves_its_line(page):
    line = page.locator('[data-boundary-line="2"]')
    before = line.get_attribute("transform")
    page.locator("[name=c0-boundary_2]").fill("0.25")
    assert line.get_attribute("transform") != before


def test_a_mark_of_the_trade_off_chooses_and_the_levels_are_set(page, site):
    page.locator('[data-choice][data-hysteresis="0.3"][data-debounce="180"]').click(force=True)
    assert page.locator("[name=c0-debounce_ms]").input_value() == "180"
    page.get_by_label("The family's word for hard").fill("key")
    page.get_by_role("button", name="Set these levels").click()
    page.get_by_text("The levels are set").wait_for()
    row = LevelSettings.objects.get()
    assert (row.hysteresis_ln, row.debounce_ms, row.gestures["hard"]["word"]) == (0.3, 180, "key")


def test_the_muscle_pages_are_accessible_narrow_enough_and_quiet(page, site):
    said = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    recording = page.url
    others = ("muscle_sites", "muscle_site_new", "muscle_recording_new")
    for url in (recording, f"{recording}again/", *(reverse(name, args=[site.limb_id]) for name in others)):
        page.set_viewport_size({"width": 1280, "height": 900})
        page.goto(url)
        found = Axe().run(page).response["violations"]
        assert [row["id"] for row in found if row["impact"] in ("serious", "critical")] == [], url
        page.set_viewport_size({"width": 390, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= 390, url
    assert said == []
