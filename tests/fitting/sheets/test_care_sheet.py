import io
import re
from datetime import UTC, date, datetime, timedelta

import page
import pytest
import textstat
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import translation
from django.utils.translation import trans_real
from pypdf import PdfReader

from fitting.models import ClinicSettings
from fitting.sheets.care_sheet import care_sheet, usual_wearer
from fitting.sheets.wear_plan import Wearer
from patients.models import Child, Limb
from tests.factories import (
    TODAY,
    make_appointment,
    make_forecast,
    make_limb,
    noon,
)
from tests.fitting.sheets.care_sheet_text import (
    LONGEST_SENTENCE,
    OUT_OF_HOURS,
    PHONE,
    READING_GRADE,
    Next,
    State,
    blocks_of,
    care_limb,
    html_of,
    magnets,
    pdf_of,
    text_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def limb():
    return care_limb()


@pytest.mark.parametrize(
    ("paper", "wearer", "birth_date"),
    [
        ("A4", Wearer.NEW, date(2024, 8, 1)),
        ("Letter", Wearer.NEW, date(2018, 3, 14)),
        ("Letter", Wearer.NEW, date(2010, 3, 14)),
        ("A4", Wearer.EXPERIENCED, date(2010, 3, 14)),
    ],
)
def test_the_sheet_is_accessible_and_two_pages_long(limb, paper, wearer, birth_date, caplog):
    Child.objects.filter(pk=limb.child_id).update(birth_date=birth_date)
    magnets(limb)
    make_forecast(limb, layer_on=date(2026, 9, 1))
    make_appointment(limb.child, noon(date(2026, 6, 9)))
    report = page.validate_pdf_bytes(pdf_of(Limb.objects.get(pk=limb.pk), paper, wearer=wearer), profile="ua1")
    assert report.is_compliant, [(f.rule_id, f.message) for f in report.failures]
    assert report.document.page_count == 2
    assert not caplog.records  # nothing the renderer complains of


def test_language_title_and_fonts_stand_in_the_file(limb):
    pdf = PdfReader(io.BytesIO(pdf_of(limb)))
    assert pdf.trailer["/Root"]["/Lang"] == "en"
    assert pdf.metadata.title == "Wren: care and wear"
    fonts = {
        font.get_object()["/BaseFont"].partition("+")[2]
        for sheet in pdf.pages
        for font in sheet["/Resources"]["/Font"].values()
    }
    assert fonts == {"DejaVu-Sans", "DejaVu-Sans-Bold"}  # both in fonts-dejavu-core


def test_the_red_box_comes_before_everything_else(limb):
    html = html_of(limb)
    order = ["Go to emergency now.", "Do not wait for symptoms.", "Tonight", "Stop and call us the same day"]
    order += ["Check the skin", "Magnets and small parts", "step by step", "Signs that the arm is too small"]
    places = [html.index(words) for words in order]
    assert places == sorted(places)
    assert text_of(pdf_of(limb)).startswith("Magnet swallowed? Go to emergency now. Do not wait for symptoms.")


def test_both_numbers_the_side_and_the_caution_are_printed(limb):
    text = text_of(pdf_of(limb))
    for words in (PHONE, OUT_OF_HOURS, "Wren’s left arm", "Your licensed prosthetist, who fits the arm, decides."):
        assert words in text
    foot = "An estimate. Your licensed prosthetist decides. Local rules come first."
    assert text.count(foot) == 2  # at the foot of both pages
    assert "Follow those first." in text


def test_a_right_limb_says_right(limb):
    limb.side = Limb.Side.RIGHT
    text = text_of(pdf_of(limb))
    assert "right arm" in text and "left" not in text


@pytest.mark.parametrize(
    ("forecast", "child"),
    [
        ({}, {}),
        ({"early": None, "state": State.FIT_PROBLEM, "next_action": Next.FIT_PROBLEM, "act_on": TODAY}, {}),
        ({"next_action": Next.SURGEON, "act_on": TODAY}, {}),
        ({"remeasure_by": TODAY - timedelta(days=1)}, {}),
        ({"layer_on": TODAY - timedelta(days=1)}, {}),
        ({"layer_on": TODAY + timedelta(days=300)}, {}),
        ({"early": TODAY - timedelta(days=1)}, {}),
        ({}, {"implant": Child.Implant.CHILD}),
        ({}, {"birth_date": date(2023, 3, 14)}),
        ({}, {"birth_date": date(2025, 3, 14)}),
        (None, {}),
    ],
    ids=[
        "default",
        "fit problem",
        "surgeon",
        "stale",
        "layer due",
        "layer later",
        "past the limit",
        "implant",
        "under five",
        "under two, both limbs",
        "no socket",
    ],
)
def test_it_reads_at_or_below_sixth_grade_in_short_sentences(limb, forecast, child):
    magnets(limb)
    Child.objects.filter(pk=limb.child_id).update(**{"implant": Child.Implant.NONE, **child})
    if forecast is None:
        limb.sockets.update(retired_on=TODAY, why_retired="loose")
    else:
        make_forecast(limb, **forecast)
    if child.get("birth_date", TODAY) > date(2025, 1, 1):
        make_limb(limb.child, side=Limb.Side.RIGHT)
    limb = Limb.objects.select_related("child__clinic").get(pk=limb.pk)
    blocks = blocks_of(html_of(limb))
    running = [block for block in blocks if block.count(" ") > 2]
    assert textstat.flesch_kincaid_grade(" ".join(blocks)) <= READING_GRADE
    assert textstat.flesch_kincaid_grade(" ".join(running)) <= READING_GRADE
    sentences = re.split(r"(?<=[.!?:])\s+", " ".join(blocks))
    assert [s for s in sentences if len(s.split()) > LONGEST_SENTENCE] == []


def test_the_grade_is_the_published_formula():
    """Flesch-Kincaid: 0.39 words a sentence + 11.8 syllables a word - 15.59."""
    text = "Wipe the socket each day. Let it dry."  # 8 words, 2 sentences, 9 syllables
    assert textstat.flesch_kincaid_grade(text) == pytest.approx(0.39 * 8 / 2 + 11.8 * 9 / 8 - 15.59, abs=0.01)


def test_no_word_of_the_trade_or_of_the_program_reaches_the_family(limb):
    magnets(limb)
    make_forecast(limb, layer_on=date(2026, 9, 1))
    text = " ".join(blocks_of(html_of(limb))).lower()
    for word in (
        "transradial",
        "girth",
        "station",
        "forecast",
        "refit",
        "residual",
        "stump",
        "doff",
        "electrode",
        "tem",
    ):
        assert not re.search(rf"\b{word}", text), word


@pytest.mark.parametrize("minutes", [15, 25])
def test_the_clinics_limit_for_marks_is_the_one_printed(limb, minutes):
    ClinicSettings.objects.create(clinic=limb.child.clinic, mark_limit_minutes=minutes)
    html = html_of(limb)
    for words in (
        "Wait {} minutes.",
        "gone in {} minutes.",
        "longer than {} minutes",
        "gone in {} min?",
        "after {} minutes",
    ):
        assert words.format(minutes) in html


def test_a_step_waits_for_clear_marks_and_has_a_date_to_write_and_boxes_to_tick(limb):
    html = html_of(limb)
    assert "Go to the next step only when all marks are gone in 20 minutes." in html
    assert html.count("☐ yes: next step") == html.count("☐ no: call us") == 7
    assert html.count('<td class="write">&#160;</td>') == 7


def test_childrens_short_starts_say_they_are_common_practice_and_the_adult_plan_says_so_too(limb):
    assert "common practice" in html_of(limb) and "plan for adults" not in html_of(limb)
    limb.child.birth_date = date(2010, 3, 14)
    assert "plan for adults" in html_of(limb) and "common practice" not in html_of(limb)
    assert "common practice" in html_of(limb, Wearer.EXPERIENCED)


def test_naps_are_named_for_the_small_only(limb):
    assert "naps" not in html_of(limb)
    limb.child.birth_date = date(2023, 3, 14)
    assert "Arm off for naps too." in html_of(limb)


def test_the_first_wear_is_in_play_for_children_only(limb):
    assert "Play together." in html_of(limb)
    limb.child.birth_date = date(2010, 3, 14)
    assert "Play together." not in html_of(limb)


def test_the_magnets_on_the_childs_own_sleeves_are_counted(limb):
    assert "Write the number here" in html_of(limb)
    magnets(limb, 6)
    magnets(limb, 1)
    magnets(limb, 9, retired_on=TODAY)
    html = html_of(limb)
    assert "<b>6 magnets</b>" in html and "<b>1 magnet</b>" in html and "9 magnets" not in html


@pytest.mark.parametrize(
    ("implant", "words"),
    [
        (Child.Implant.UNKNOWN, "We have not asked you yet."),
        (Child.Implant.CHILD, "You told us: your child has an implant."),
        (Child.Implant.HOUSEHOLD, "You told us: someone at home has an implant."),
        (Child.Implant.BOTH, "You told us: your child has an implant."),
    ],
)
def test_what_is_known_of_implants_stands_in_a_box(limb, implant, words):
    limb.child.implant = implant
    html = html_of(limb)
    assert words in html
    assert "15 cm (6 inches)" in html and "No MRI with the arm on." in html


def test_no_implant_still_says_how_far_to_keep_away(limb):
    limb.child.implant = Child.Implant.NONE
    html = html_of(limb)
    assert "You told us" not in html and "We have not asked" not in html and "15 cm (6 inches)" in html


def test_dates_come_from_the_stored_forecast_and_the_booked_appointments(limb):
    forecast = make_forecast(limb, layer_on=date(2026, 9, 1))
    make_appointment(limb.child, datetime(2026, 6, 10, 1, 30, tzinfo=UTC))  # the evening before in Chicago
    make_appointment(limb.child, noon(date(2026, 7, 9)), status="cancelled")
    make_appointment(limb.child, noon(TODAY - timedelta(days=1)))
    html = html_of(limb)
    assert "Tuesday, 9 June 2026, 8:30 p.m." in html
    assert "9 July" not in html and "3 May" not in html
    assert "Come in by 1 September 2026." in html
    assert "between 28 February 2027 and 15 November 2027" in html
    assert "<dt>Come and be measured by</dt>" in html and "31 October 2026" in html
    assert f"Estimate {forecast.pk} of 4 May 2026" in html


def test_without_a_forecast_there_is_room_to_write_the_next_visit(limb):
    html = html_of(limb)
    assert "Next visit: ____" in html and "Estimate" not in html


def test_a_child_is_experienced_once_an_earlier_socket_was_worn(limb):
    assert usual_wearer(limb, TODAY) == Wearer.NEW
    limb.sockets.update(retired_on=TODAY, why_retired="outgrown_girth")
    assert usual_wearer(limb, TODAY) == Wearer.EXPERIENCED


@pytest.mark.parametrize(("days", "wearer"), [(90, Wearer.NEW), (91, Wearer.EXPERIENCED)])
def test_a_child_is_experienced_three_months_after_the_fitting(limb, days, wearer):
    """More than three months of 30 days, common practice."""
    assert usual_wearer(limb, TODAY + timedelta(days=days)) == wearer


def test_a_socket_not_yet_fitted_makes_no_wearer(limb):
    limb.sockets.update(fitted_on=None)
    assert usual_wearer(limb, TODAY + timedelta(days=365)) == Wearer.NEW


def test_more_rows_ask_no_more_queries(limb):
    def queries():
        fresh = Limb.objects.select_related("child__clinic").get(pk=limb.pk)
        with CaptureQueriesContext(connection) as caught:
            care_sheet(fresh, noon(TODAY), Wearer.NEW)
        return len(caught)

    make_forecast(limb)
    few = queries()
    for day in range(1, 6):
        magnets(limb)
        make_appointment(limb.child, noon(TODAY + timedelta(days=day)))
    assert queries() == few


@pytest.fixture
def pretend_spanish(monkeypatch):
    """A Spanish catalogue that answers every sentence with a mark and a fifth more letters, as Spanish runs longer."""
    catalogue = trans_real.translation("es")

    def mark(text):
        return f"¡{text}{'ñ' * (len(text) // 5)}"

    monkeypatch.setattr(catalogue, "gettext", mark)
    monkeypatch.setattr(catalogue, "ngettext", lambda one, many, n: mark(one if n == 1 else many))


def test_in_spanish_every_sentence_goes_through_the_catalogue(limb, pretend_spanish):
    magnets(limb)
    make_forecast(limb, layer_on=date(2026, 9, 1))
    make_appointment(limb.child, noon(date(2026, 6, 9)))
    with translation.override("es"):
        html = html_of(limb)
    assert '<html lang="es">' in html
    own = {"Wren", "Millbrook", PHONE, OUT_OF_HOURS, limb.child.shown_case_number}
    untranslated = [b for b in blocks_of(html) if "¡" not in b and not any(word in b for word in own)]
    assert [b for b in untranslated if re.search("[a-z]{3}", b.replace("de junio de", "").replace("martes", ""))] == []


def test_a_fifth_longer_the_sheet_still_has_two_pages(limb, pretend_spanish):
    magnets(limb)
    make_forecast(limb, layer_on=date(2026, 9, 1))
    make_appointment(limb.child, noon(date(2026, 6, 9)))
    pdf = PdfReader(io.BytesIO(pdf_of(limb, language="es")))
    assert pdf.trailer["/Root"]["/Lang"] == "es"
    assert len(pdf.pages) == 2
