"""A first visit in a real browser: measure with a unit slip, answer it, see the date, hold both sheets."""

import io

import pytest
from django.utils.formats import date_format
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from fitting.models import Forecast, Reading, Visit
from patients.models import Child

pytestmark = pytest.mark.browser

LENGTH = "Residual length, to the soft-tissue end, from the medial epicondyle"
SLIP = "A unit may be mixed up"
MOST_TABS = 200


@pytest.fixture
def nell(few_children) -> Child:
    """A girl whose residual length was last read as about ten centimetres, at a clinic that shows millimetres."""
    return Child.objects.get(given_name="Nell")


def newest(child: Child, measure: str, **place) -> float:
    """The newest value [mm or kg] that stands."""
    standing = Reading.objects.current().filter(visit__child=child, measure=measure, **place)
    return standing.latest("visit__at").value


def say_how_the_socket_fits(page: Page):
    for group, answer in {"Donning": "goes on fully", "Hold": "holds well", "Marks": "no marks", "Pain": "0"}.items():
        pick(page.get_by_role("group", name=group), answer)


def pick(within, answer: str):
    """Choose by the words one sees."""
    within.locator("label").get_by_text(answer, exact=True).click()


def type_takes(page: Page, place: str, *takes: str):
    for number, take in enumerate(takes, start=1):
        field = page.get_by_label(f"{place}, take {number}", exact=True)
        field.fill(take)
        field.press("Tab")


def opened_pdf(page: Page, button: str) -> str:
    """Text of the PDF a button opens; the page with the button is there again afterwards.

    The bytes are kept on their way: the browser's own viewer hands out its page instead of the document.
    """
    received = []

    def keep(route):
        response = route.fetch()
        received.append(response)
        route.fulfill(response=response)

    page.route("**/*.pdf*", keep)
    with page.expect_response(lambda response: ".pdf" in response.url):
        page.get_by_role("button", name=button).click()
    page.go_back()
    page.unroute("**/*.pdf*")
    (response,) = received
    assert (response.status, response.headers["content-type"]) == (200, "application/pdf")
    return " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(response.body())).pages)


def test_a_visit_with_a_unit_slip_ends_in_a_date_and_two_sheets(open_page, nell):
    page, length_mm = open_page("maren"), newest(nell, "residual_length")
    page.get_by_role("link", name="Nell Abara").first.click()
    page.get_by_role("link", name="Measure", exact=True).click()
    say_how_the_socket_fits(page)
    type_takes(page, LENGTH, f"{length_mm / 10:.1f}")
    expect(page.get_by_text(SLIP)).to_be_visible()

    page.get_by_role("button", name="Save the visit").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    expect(page.get_by_label(f"{LENGTH}, take 1")).to_have_value(f"{length_mm / 10:.1f}")
    expect(page.get_by_label("holds well")).to_be_checked()

    pick(page, "remeasured")
    type_takes(page, LENGTH, f"{length_mm / 10:.1f} cm", f"{length_mm:.0f}")
    expect(page.locator(".asked").get_by_text(SLIP)).to_have_count(0)
    for station_mm in (0, 25, 50):
        girth_mm = round(newest(nell, "girth", station_mm=station_mm))
        type_takes(page, f"Girth at {station_mm} mm", f"{girth_mm // 10},{girth_mm % 10} cm", f"{girth_mm + 1}")
    page.get_by_role("button", name="Save the visit").click()
    expect(page.get_by_text("The visit is saved")).to_be_visible()

    promise = Forecast.objects.get(current_for__limb__child=nell)
    assert promise.visit == Visit.objects.filter(child=nell).latest("at")
    assert page.url.endswith(f"/cases/{nell.case_number}/")
    expect(page.locator("main")).to_contain_text(date_format(promise.start_refit_by, "j M Y"))
    read = promise.visit.readings.get(measure="residual_length")
    assert read.value == pytest.approx(length_mm, abs=1)
    assert [(alert["code"], alert["answer"]) for alert in read.alerts] == [("unit_slip", "remeasured")]

    page.get_by_role("link", name="Sheets").first.click()
    care, fitting = opened_pdf(page, "Open the care sheet"), opened_pdf(page, "Open the fitting sheet")
    assert "Do not wait for symptoms" in care and "555-0140" in care
    assert "Nell Abara" in fitting and "LEFT" in fitting


def test_a_value_that_is_right_is_confirmed_with_a_reason(open_page, nell):
    page = open_page("maren")
    page.goto(f"/cases/{nell.case_number}/measure/")
    say_how_the_socket_fits(page)
    shorter = f"{newest(nell, 'residual_length') - 15:.0f}"
    type_takes(page, LENGTH, shorter)
    expect(page.get_by_text("by more than the noise")).to_be_visible()
    page.get_by_label("because", exact=True).fill("swelling has gone down")
    page.get_by_role("button", name="Save the visit").click()
    expect(page.get_by_text("The visit is saved")).to_be_visible()
    (alert,) = Visit.objects.filter(child=nell).latest("at").readings.get().alerts
    assert (alert["answer"], alert["because"]) == ("confirmed", "swelling has gone down")


def tab_to(page: Page, field_id: str):
    """Walk there by Tab alone."""
    for _ in range(MOST_TABS):
        if page.evaluate("document.activeElement.id") == field_id:
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{field_id} is not reached by Tab")


def test_measure_is_filled_and_saved_by_keyboard_alone(open_page, nell):
    page, limb = open_page("maren"), nell.limbs.get()
    page.goto(f"/cases/{nell.case_number}/measure/")
    fit = f"id_fit-{limb.pk}"
    for group in ("donning", "hold", "marks", "pain"):
        tab_to(page, f"{fit}-{group}_0")
        page.keyboard.press("Space")
    tab_to(page, f"l{limb.pk}-girth-0-take1")
    for take in ("168", "169", "160", "161"):
        page.keyboard.type(take)
        page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == f"l{limb.pk}-girth-50-take1"
    tab_to(page, "save")
    page.keyboard.press("Enter")
    expect(page.get_by_text("The visit is saved")).to_be_visible()
    girths = Visit.objects.filter(child=nell).latest("at").readings.order_by("station_mm")
    assert [reading.value for reading in girths] == [168.5, 160.5]


def test_the_station_being_typed_lights_up_in_the_drawing(open_page, nell):
    page = open_page("maren")
    page.goto(f"/cases/{nell.case_number}/measure/")
    assert page.locator(".limb-figure .lit").count() == 0
    page.get_by_label("Girth at 25 mm, take 1").focus()
    lit = page.locator(".limb-figure .lit")
    assert {lit.nth(number).get_attribute("data-station") for number in range(lit.count())} == {"25"}


def test_takes_left_by_mistake_are_there_again(open_page, nell):
    page, said = open_page("maren"), []
    page.on("dialog", lambda dialog: (said.append(dialog.type), dialog.accept()))
    page.goto(f"/cases/{nell.case_number}/measure/")
    low = round(newest(nell, "girth", station_mm=25))
    settled = page.locator(".settled").get_by_text(f"{low + 1} mm", exact=True)
    type_takes(page, "Girth at 25 mm", f"{low}", f"{low + 2}")
    expect(settled).to_be_visible()
    page.get_by_role("link", name="Due list").first.click()
    page.wait_for_url("**/due/")
    assert said == ["beforeunload"]
    page.go_back()
    expect(page.get_by_label("Girth at 25 mm, take 1", exact=True)).to_have_value(f"{low}")
    expect(page.get_by_label("Girth at 25 mm, take 2", exact=True)).to_have_value(f"{low + 2}")
    expect(settled).to_be_visible()


def test_leaving_asks_only_while_something_typed_is_not_saved(open_page, nell):
    page, said = open_page("maren"), []
    page.on("dialog", lambda dialog: (said.append(dialog.type), dialog.dismiss()))
    page.goto(f"/cases/{nell.case_number}/measure/")
    take = page.get_by_label("Girth at 25 mm, take 1", exact=True)
    take.click()
    page.get_by_role("link", name="Leave without saving").click()
    page.wait_for_url(f"**/cases/{nell.case_number}/")
    assert said == []

    page.goto(f"/cases/{nell.case_number}/measure/")
    girth_mm = f"{newest(nell, 'girth', station_mm=25):.0f}"
    take.fill(girth_mm)
    page.get_by_role("link", name="Leave without saving").click()
    expect(take).to_have_value(girth_mm)
    assert said == ["beforeunload"]
    page.get_by_role("button", name="Save the visit").click()
    expect(page.get_by_role("alert")).to_contain_text("Nothing is saved yet")
    page.get_by_role("link", name="Leave without saving").click()
    assert said == ["beforeunload"] * 2

    say_how_the_socket_fits(page)
    page.get_by_role("button", name="Save the visit").click()
    expect(page.get_by_text("The visit is saved")).to_be_visible()
    assert said == ["beforeunload"] * 2
