import io
from datetime import date

import page
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from fitting.models import Reading
from fitting.sheets.measuring_form import TEMPLATE, measuring_form, print_measuring_form
from fitting.sheets.render import sheet_html
from patients.models import Limb
from tests.factories import (
    TODAY,
    make_child,
    make_clinic,
    make_girths,
    make_limb,
    make_reading,
    make_socket,
    make_visit,
)

pytestmark = pytest.mark.django_db

M = Reading.Measure
TEN_STATIONS = {station_mm: 180 - station_mm / 5 for station_mm in range(0, 250, 25)}


def limb_of(level=Limb.Level.TRANSRADIAL, girths_mm=None, with_socket=True, **fields):
    limb = make_limb(make_child(make_clinic(**fields)), level=level)
    if girths_mm:
        visit = make_visit(limb.child)
        make_girths(visit, limb, girths_mm)
        make_reading(visit, M.RESIDUAL_LENGTH, max(girths_mm) + 10, limb, landmark="medial_epicondyle")
        make_reading(visit, M.WEIGHT, 24.6)
        if with_socket:
            make_socket(visit, limb, girths_mm)
    return limb


def again(limb):
    return Limb.objects.select_related("child__clinic").get(pk=limb.pk)


def rows_of(limb):
    return {row.place: row for group in measuring_form(again(limb), TODAY).groups for row in group.rows}


@pytest.mark.parametrize("level", Limb.Level.values)
def test_the_form_of_any_level_is_accessible_and_one_page(level, caplog):
    limb = limb_of(level, {0: 180, 25: 172, 50: 165, 75: 158})
    report = page.validate_pdf_bytes(print_measuring_form(again(limb), TODAY, "Letter"), profile="ua1")
    assert report.is_compliant, [(f.rule_id, f.message) for f in report.failures]
    assert report.document.page_count == 1
    assert not caplog.records


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_ten_stations_still_fit_one_page(paper):
    limb = limb_of(Limb.Level.TRANSHUMERAL, TEN_STATIONS)
    pdf = PdfReader(io.BytesIO(print_measuring_form(again(limb), TODAY, paper)))
    assert len(pdf.pages) == 1


def test_side_child_and_caution_are_printed():
    limb = limb_of(girths_mm={0: 180})
    pdf = PdfReader(io.BytesIO(print_measuring_form(again(limb), TODAY, "A4")))
    text = pdf.pages[0].extract_text()
    for words in ("LEFT", "the child’s own left", limb.child.shown_case_number, "the licensed prosthetist decides"):
        assert words in text


def test_every_place_has_three_boxes_and_the_last_value_with_its_day():
    limb = limb_of(girths_mm={0: 180, 60: 165})
    make_reading(make_visit(limb.child, on=date(2025, 5, 6)), M.STATURE, 1198)
    form, rows = measuring_form(again(limb), TODAY), rows_of(limb)
    assert form.measured_on == TODAY
    assert [rows[place].last for place in ("60 mm from the cubital fold", "weight")] == ["165 mm", "24.6 kg"]
    assert (rows["height, standing"].last, rows["height, standing"].last_day) == ("1198 mm", "6 May 2025")
    assert rows["sitting height"].last == rows["weight"].last_day == ""
    assert sheet_html(TEMPLATE, form, "A4").count('class="write') == 3 * len(rows)


def test_the_stations_are_those_of_the_newest_visit():
    limb = limb_of(girths_mm={0: 180, 60: 165})
    make_girths(make_visit(limb.child, on=date(2025, 5, 6)), limb, {20: 170, 40: 168})
    assert [place for place in rows_of(limb) if "cubital fold" in place] == [
        "0 mm from the cubital fold",
        "60 mm from the cubital fold",
    ]


def test_a_limb_without_stations_has_lines_to_write_them():
    form = measuring_form(again(limb_of()), TODAY)
    blank = [row for row in form.groups[0].rows if row.place == "________ from the cubital fold"]
    assert len(blank) == 6


def test_a_third_take_is_wanted_beyond_5_mm_of_girth_7_mm_of_length_and_200_g():
    """WHO growth study, from memory: 7 mm stature, 5 mm arm girth; PhenX weight protocol: 0.2 kg."""
    rows = rows_of(limb_of(girths_mm={0: 180}))
    assert rows["0 mm from the cubital fold"].third_take_above == "5 mm"
    assert rows["sound forearm girth, largest"].third_take_above == "5 mm"
    assert rows["height, standing"].third_take_above == rows["sound hand length"].third_take_above == "7 mm"
    assert rows["weight"].third_take_above == "0.2 kg"


def test_a_child_with_both_limbs_affected_has_no_sound_side():
    limb = limb_of(girths_mm={0: 180})
    assert "sound hand length" in rows_of(limb)
    make_limb(limb.child, side=Limb.Side.RIGHT)
    assert not [place for place in rows_of(limb) if place.startswith("sound")]


def test_the_fit_is_asked_about_only_when_there_is_a_socket():
    assert measuring_form(again(limb_of(girths_mm={0: 180}, with_socket=False)), TODAY).fit == ()
    questions = {q.text: q.answers for q in measuring_form(again(limb_of(girths_mm={0: 180})), TODAY).fit}
    assert questions["Hold"] == ("holds well", "tight", "loose", "slips off on a pull")
    assert questions["Open skin or blister"] == ("no", "yes")
    assert questions["Pain, 0 to 10"] == tuple(str(number) for number in range(11))


@pytest.mark.parametrize("level", Limb.Level.values)
def test_bony_overgrowth_is_never_asked_about_at_a_disarticulation(level):
    """Revision for overgrowth was never needed after disarticulation (PMID 8747360)."""
    form = measuring_form(again(limb_of(level, {0: 180})), TODAY)
    asked = any(question.text.startswith("Pointed end") for question in form.fit)
    assert asked == (level in (Limb.Level.TRANSRADIAL, Limb.Level.TRANSHUMERAL))


def test_more_visits_ask_no_more_queries():
    limb = limb_of(girths_mm={0: 180, 60: 165})

    def queries():
        fresh = again(limb)
        with CaptureQueriesContext(connection) as caught:
            measuring_form(fresh, TODAY)
        return len(caught)

    few = queries()
    for day in range(1, 5):
        make_girths(make_visit(limb.child, on=date(2026, 3, day)), limb, {0: 180, 60: 165})
    assert queries() == few
