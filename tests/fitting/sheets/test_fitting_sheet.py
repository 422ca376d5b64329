import io
from datetime import date, timedelta

import page
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from fitting.models import Forecast, Reading, Sleeve, SleeveDesign, Visit
from fitting.sheets.fitting_sheet import (
    TEMPLATE,
    NothingMeasuredError,
    StaleDataError,
    fitting_sheet,
    print_fitting_sheet,
    staleness,
)
from fitting.sheets.render import sheet_html
from patients.models import Limb
from tests.factories import (
    TODAY,
    make_child,
    make_clinic,
    make_forecast,
    make_girths,
    make_limb,
    make_reading,
    make_socket,
    make_visit,
)

pytestmark = pytest.mark.django_db

M = Reading.Measure
CAST_ON, BEFORE_ON = date(2025, 5, 6), date(2025, 11, 4)
REASON = "Family leaves for a year tomorrow."


@pytest.fixture
def limb():
    clinic = make_clinic("Eastgate", phone="555 0100", out_of_hours_phone="555 0199")
    return make_limb(make_child(clinic, given_name="Wren", family_name="Quill"))


@pytest.fixture
def measured(limb):
    """Three visits; the socket in use was made from the first, with one layer out and one in."""
    for on, girths_mm in ((CAST_ON, {0: 180, 60: 160}), (BEFORE_ON, {0: 182, 60: 165}), (TODAY, {0: 185, 60: 172})):
        visit = make_visit(limb.child, on=on)
        make_girths(visit, limb, girths_mm)
        make_reading(visit, M.RESIDUAL_LENGTH, 95, limb, landmark="medial_epicondyle")
        make_reading(visit, M.STATURE, 1200 + (on - CAST_ON).days * 0.1)
    socket = make_socket(limb.child.visits.get(at__date=CAST_ON), limb, {0: 186, 60: 166}, layers_mm=[1.2, 0.8])
    layer = socket.layers.get(number=1)
    layer.out_on, layer.end_gap_after_mm = date(2025, 11, 10), 5
    layer.save()
    make_forecast(limb, socket=socket)
    return limb


def again(limb):
    return Limb.objects.select_related("child__clinic").get(pk=limb.pk)


def html_of(limb, as_of=TODAY, reason=""):
    return sheet_html(TEMPLATE, fitting_sheet(again(limb), as_of, reason), "A4")


def text_of(limb, as_of=TODAY, reason="", paper="A4"):
    pdf = PdfReader(io.BytesIO(print_fitting_sheet(again(limb), as_of, paper, reason)))
    return " ".join(" ".join(sheet.extract_text() for sheet in pdf.pages).split())


def date_words(day):
    return f"{day:%-d} {day:%B} {day.year}"


def stations(limb):
    return {station.row.place.split()[0]: station for station in fitting_sheet(again(limb), TODAY).stations}


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_sheet_is_accessible_and_at_most_two_pages(measured, paper, caplog):
    report = page.validate_pdf_bytes(print_fitting_sheet(again(measured), TODAY, paper), profile="ua1")
    assert report.is_compliant, [(f.rule_id, f.message) for f in report.failures]
    assert report.document.page_count <= 2
    assert not caplog.records


def test_ten_stations_and_every_measure_still_make_two_pages(measured):
    visit = measured.child.visits.get(at__date=TODAY)
    make_girths(visit, measured, {station_mm: 170 for station_mm in range(10, 90, 10) if station_mm != 60})
    for measure in set(M.values) - {M.GIRTH, M.SOUND_GIRTH, M.RESIDUAL_LENGTH, M.STATURE}:
        make_reading(visit, measure, 90, None if measure in Reading.BODY_MEASURES else measured)
    report = page.validate_pdf_bytes(print_fitting_sheet(again(measured), TODAY, "Letter"), profile="ua1")
    assert report.document.page_count == 2


def test_side_level_child_both_numbers_caution_and_forecast_number_are_printed(measured):
    text = text_of(measured)
    forecast = Forecast.objects.get(current_for__limb=measured)
    number = measured.child.shown_case_number
    for words in ("LEFT", "the child’s own left", "transradial", "Wren Quill", number, "555 0100", "555 0199"):
        assert words in text
    assert text.count("The licensed prosthetist decides; local rules come first.") >= 2
    assert f"Forecast {forecast.pk} of 4 May 2026. Method: outgrowth 1. Reference: forearm_girth_us1977." in text


def test_the_right_side_never_says_left(measured):
    Limb.objects.filter(pk=measured.pk).update(side=Limb.Side.RIGHT)
    text = text_of(measured)
    assert "RIGHT" in text and "left" not in text.lower()


def test_a_change_within_2_77_tem_is_noise_and_beyond_it_a_change(measured):
    """TEM of a girth is 2 mm: 5.54 mm is the edge (Br J Nutr 1999;82:165)."""
    rows = stations(measured)
    assert (rows["0"].row.since_cast.code, rows["0"].row.since_cast.text) == ("noise", "+5 mm noise")
    assert (rows["60"].row.since_before.code, rows["60"].row.since_before.text) == ("up", "+7 mm")
    assert (rows["60"].row.since_cast.code, rows["60"].row.since_cast.text) == ("up", "+12 mm")
    html = html_of(measured)
    assert "≈ +5 mm noise" in html and "▲ +12 mm" in html


@pytest.mark.parametrize(("now_mm", "text"), [(165, "±0 mm noise"), (164.8, "±0 mm noise"), (164, "−1 mm noise")])
def test_a_change_too_small_to_show_has_no_direction(measured, now_mm, text):
    Reading.objects.filter(visit__at__date=TODAY, station_mm=60).update(value=now_mm)
    assert stations(measured)["60"].row.since_before.text == text


def test_a_coarse_tape_widens_the_noise(measured):
    """A 5 mm tape adds 5/sqrt(12) mm: noise 6.2 mm when one of the two was read on it, 6.8 mm when both were."""
    visits = measured.child.visits
    visits.filter(at__date=TODAY).update(instrument=Visit.Instrument.TAPE_5MM)
    assert stations(measured)["60"].row.since_before.code == "up"  # 7 mm against 6.2 mm
    visits.filter(at__date=BEFORE_ON).update(instrument=Visit.Instrument.TAPE_5MM)
    assert stations(measured)["60"].row.since_before.code == "up"  # 7 mm against 6.8 mm
    Reading.objects.filter(visit__at__date=TODAY, station_mm=60).update(value=171.5)
    assert stations(measured)["60"].row.since_before.code == "noise"  # 6.5 mm


def test_readings_over_a_sock_are_not_compared_with_bare_skin(measured):
    measured.child.visits.filter(at__date=BEFORE_ON).update(covering=Visit.Covering.SOCK)
    change = stations(measured)["60"].row.since_before
    assert (change.code, change.text) == ("other", "other: over a sock")


def test_a_correction_replaces_the_reading_it_supersedes(measured):
    old = Reading.objects.get(visit__at__date=TODAY, station_mm=60)
    make_reading(old.visit, M.GIRTH, 166, measured, station_mm=60, supersedes=old, why="tape slipped")
    assert stations(measured)["60"].row.now.value == "166 mm"


def test_the_design_says_what_each_station_holds_now_and_with_every_layer_out(measured):
    """A layer of 1.2 mm is 7.54 mm of girth, two of 2.0 mm together 12.57 mm: 2 pi times the thickness."""
    design = stations(measured)["60"].design
    assert (design.design, design.holds_now, design.holds_full) == ("166 mm", "174 mm", "179 mm")
    text = text_of(measured)
    for words in (
        "1.2 mm 8 mm out on 10 November 2025, end gap then 5 mm",
        "0.8 mm 5 mm in",
        "End gap as designed: 8 mm",
    ):
        assert words in text


def test_stations_of_the_socket_that_were_not_measured_are_listed_and_the_other_way_round(measured):
    Reading.objects.filter(station_mm=0).delete()
    make_girths(measured.child.visits.get(at__date=TODAY), measured, {30: 175})
    rows = stations(measured)
    assert rows["0"].row.now is None and rows["0"].design.design == "186 mm"
    assert rows["30"].row.now.value == "175 mm" and rows["30"].design is None


def test_without_a_socket_the_design_is_left_to_fill_in(limb):
    make_girths(make_visit(limb.child), limb, {0: 180})
    sheet = fitting_sheet(again(limb), TODAY)
    assert sheet.socket is None and sheet.stations[0].design is None
    assert "No socket yet. Fill in the design by hand" in text_of(limb)


def test_a_level_without_girths_has_no_empty_table(limb):
    Limb.objects.filter(pk=limb.pk).update(level=Limb.Level.SHOULDER_DISARTICULATION)
    make_reading(make_visit(limb.child), M.SOUND_ELBOW_THUMB_LENGTH, 280, limb)
    report = page.validate_pdf_bytes(print_fitting_sheet(again(limb), TODAY, "A4"), profile="ua1")
    assert report.is_compliant, [(f.rule_id, f.message) for f in report.failures]
    assert "Girths and design" not in html_of(limb)


def test_magnets_of_the_sleeves_in_use_are_counted(measured):
    design = SleeveDesign.objects.create(name="Fern")
    sizes = {"length_mm": 180, "girth_proximal_mm": 180, "girth_distal_mm": 140, "made_on": TODAY}
    for magnets, retired_on in ((4, None), (6, None), (5, TODAY)):
        Sleeve.objects.create(limb=measured, design=design, magnets=magnets, retired_on=retired_on, **sizes)
    assert "counted: 10 on the sleeves" in html_of(measured)


def test_nothing_measured_is_refused(limb):
    make_reading(make_visit(limb.child), M.STATURE, 1200)
    with pytest.raises(
        NothingMeasuredError, match="^Nothing has been measured on this limb yet. Record a visit first.$"
    ):
        fitting_sheet(again(limb), TODAY, REASON)


def test_data_past_the_remeasure_day_are_refused_without_a_reason(measured):
    remeasure_by = TODAY + timedelta(days=180)
    assert staleness(again(measured), remeasure_by) == ()
    day_after = remeasure_by + timedelta(days=1)
    sentence = "The newest readings are of 4 May 2026; they were to be renewed by 31 October 2026."
    assert staleness(again(measured), day_after) == (sentence,)
    for reason in ("", "   "):
        with pytest.raises(StaleDataError, match=sentence):
            fitting_sheet(again(measured), day_after, reason)


def test_stale_data_print_with_the_reason_on_the_sheet(measured):
    text = text_of(measured, as_of=TODAY + timedelta(days=181), reason=REASON)
    assert "Stale data, printed all the same" in text and f"Reason: {REASON}" in text


def test_fresh_data_print_no_reason(measured):
    assert REASON not in html_of(measured, reason=REASON)


@pytest.mark.parametrize(("birth_date", "limit_days"), [(date(2018, 3, 14), 180), (date(2022, 3, 14), 90)])
def test_a_socket_not_yet_fitted_is_refused_when_its_own_readings_are_old(limb, birth_date, limit_days):
    limb.child.birth_date = birth_date
    limb.child.save()
    make_girths(make_visit(limb.child), limb, {0: 180})
    socket = make_socket(limb.child.visits.get(), limb, {0: 186}, fitted_on=None)
    make_forecast(limb, remeasure_by=TODAY + timedelta(days=1000))
    assert staleness(again(limb), TODAY + timedelta(days=limit_days)) == ()
    late = TODAY + timedelta(days=limit_days + 1)
    sentence = f"Socket {socket.version} was designed from readings of 4 May 2026 and is not fitted yet."
    assert staleness(again(limb), late) == (sentence,)
    socket.fitted_on = TODAY
    socket.save()
    assert staleness(again(limb), late) == ()


def test_dates_of_another_socket_say_whose_they_are(measured):
    make_socket(measured.child.visits.get(at__date=TODAY), measured, {0: 192, 60: 178}, fitted_on=None)
    sheet = fitting_sheet(again(measured), TODAY)
    assert sheet.socket.socket.version == 2
    assert sheet.promise.other_socket == "These dates are of socket 1, in use now; the design above is of socket 2."


def test_a_forecast_made_before_any_socket_says_so(measured):
    make_forecast(measured, socket=None)
    assert fitting_sheet(again(measured), TODAY).promise.other_socket.endswith("no socket was in use.")


def test_what_hurts_today_comes_before_any_date(measured):
    findings = {"findings": {"red": ["open_skin"]}}
    fit_problem = {"state": Forecast.State.FIT_PROBLEM, "next_action": Forecast.NextAction.FIT_PROBLEM}
    make_forecast(measured, inputs=findings, **fit_problem)
    promise = fitting_sheet(again(measured), TODAY).promise
    assert promise.next_step.startswith("See the child about the fit now.")
    assert promise.present_fit == "Present fit, seen at the last visit: open skin or a blister."
    html = html_of(measured)
    order = [html.index(words) for words in (promise.present_fit, "Forecast: waits for the fit", "No date below holds")]
    assert order == sorted(order)
    before = html[: order[-1]]
    assert "May be outgrown" not in before and date_words(promise.forecast.early) not in before


def test_a_surgeons_finding_makes_the_dates_wait_and_a_loose_fit_does_not(measured):
    make_forecast(measured, next_action=Forecast.NextAction.SURGEON, act_on=TODAY)
    promise = fitting_sheet(again(measured), TODAY).promise
    assert promise.present_fit == "The fit needs looking at before any date is given."  # no finding stored
    make_forecast(measured, next_action=Forecast.NextAction.FIT_PROBLEM, act_on=TODAY)
    assert fitting_sheet(again(measured), TODAY).promise.present_fit == ""
    assert "waits for the fit" not in html_of(measured)


def test_dates_with_a_layer_still_in_say_what_they_assume(measured):
    assert "with every layer out" not in html_of(measured)
    make_forecast(measured, layer_on=date(2026, 9, 1))
    assert "Early, likely and late are with every layer out." in html_of(measured)


def test_inches_when_the_clinic_shows_inches(measured):
    measured.child.clinic.length_unit = "in"
    measured.child.clinic.save()
    assert stations(measured)["2.36"].row.now.value == "6.77 in"


def test_more_visits_ask_no_more_queries(measured):
    def queries():
        fresh = again(measured)
        with CaptureQueriesContext(connection) as caught:
            fitting_sheet(fresh, TODAY)
        return len(caught)

    few = queries()
    for days in range(1, 5):
        make_girths(
            make_visit(measured.child, on=BEFORE_ON + timedelta(days=days)), measured, {0: 183, 60: 166, 30: 170}
        )
    assert queries() == few
