"""The forecast check: what counts as a test, what is said of it, and who adopts what."""

from datetime import date, timedelta

import numpy as np
import pytest
import time_machine
from auditlog.models import LogEntry
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.calc.calibration import AGREES, TOO_FEW, TOO_NARROW, TOO_WIDE, Judged, Share
from fitting.calc.own_error import Estimate
from fitting.check_rows import check_rows, in_arrays
from fitting.forecast_check import Group, GroupRow, _summary, forecast_check
from fitting.inputs import settings_of
from fitting.models import ClinicSettings, CurrentForecast, Forecast, Reading, Socket, Visit
from fitting.proposals import WhyNot, proposals
from fitting.services.clinic_settings import adopt
from fitting.services.promises import repromise
from fitting.services.steps import StepError
from patients.models import Limb
from patients.roles import Role
from tests import factories as make

pytestmark = pytest.mark.django_db
M = Reading.Measure
DAY = date(2025, 3, 3)
LATER = DAY + timedelta(days=180)


@pytest.fixture
def clinic():
    return make.make_clinic("Millbrook")


def seen(limb, on, girths, stature=None, sound_forearm=None, promised=True, **visit):
    """A visit with its readings, and the promise made from it a little later."""
    row = make.make_visit(limb.child, on=on, **visit)
    make.make_girths(row, limb, girths)
    if stature:
        make.make_reading(row, M.STATURE, stature)
    if sound_forearm:
        make.make_reading(row, M.SOUND_FOREARM_LENGTH, sound_forearm, limb)
    if promised:
        repromise(limb, on, "visit", make.noon(on) + timedelta(hours=1))
    return row


def followed_limb(clinic, **fields):
    return make.make_limb(make.make_child(clinic), **fields)


def test_a_later_reading_tests_every_station_length_and_height(clinic):
    limb = followed_limb(clinic)
    seen(limb, DAY, {0: 180, 25: 172}, stature=1200, sound_forearm=180)
    seen(limb, LATER, {0: 183, 25: 175}, stature=1230, sound_forearm=185)
    found = check_rows([clinic])
    assert sorted(row.family for row in found.outcomes) == ["girth", "girth", "length", "stature"]
    assert {row.ahead_days for row in found.outcomes} == {180}
    assert all(0 < row.reached < 1 for row in found.outcomes)
    assert {family: len(rows) for family, rows in found.misses.items()} == {"girth": 1, "length": 1, "stature": 1}
    assert in_arrays(found.outcomes).independent == 1


def test_what_is_read_high_was_reached_with_high_probability(clinic):
    limb = followed_limb(clinic)
    seen(limb, DAY, {0: 180, 25: 172})
    seen(limb, LATER, {0: 215, 25: 160})
    reached = [row.reached for row in check_rows([clinic]).outcomes]
    assert reached == [pytest.approx(1, abs=0.001), pytest.approx(0, abs=0.01)]


def test_a_promise_is_never_tested_by_a_reading_it_knew(clinic):
    limb = followed_limb(clinic)
    seen(limb, DAY, {0: 180}, promised=False)
    seen(limb, LATER, {0: 183}, promised=False)
    repromise(limb, LATER, "settings", make.noon(LATER) + timedelta(days=1))
    assert check_rows([clinic]).outcomes == []


def test_of_two_promises_from_one_day_of_reading_the_newer_counts(clinic):
    limb = followed_limb(clinic)
    seen(limb, DAY, {0: 180})
    repromise(limb, DAY, "fitted", make.noon(DAY) + timedelta(days=20))
    seen(limb, LATER, {0: 183})
    found = check_rows([clinic])
    assert (found.promises, len(found.outcomes)) == (3, 1)


def test_each_earlier_day_of_reading_is_tested_and_only_the_newest_misses(clinic):
    limb = followed_limb(clinic)
    for step in range(4):
        seen(limb, DAY + timedelta(days=120 * step), {0: 180 + 2 * step})
    found = check_rows([clinic])
    assert sorted(row.ahead_days for row in found.outcomes) == [120, 120, 120, 240, 240, 360]
    assert len(found.misses["girth"]) == 3
    assert in_arrays(found.outcomes).independent == 3


def test_other_conditions_other_stations_and_far_days_test_nothing(clinic):
    limb = followed_limb(clinic)
    seen(limb, DAY, {0: 180})
    seen(limb, LATER, {0: 190}, covering=Visit.Covering.SOCK, promised=False)
    seen(limb, LATER + timedelta(days=1), {40: 170}, promised=False)
    seen(limb, DAY + timedelta(days=900), {0: 200}, promised=False)
    assert check_rows([clinic]).outcomes == []


def test_a_correction_tests_with_the_right_value(clinic):
    limb = followed_limb(clinic)
    seen(limb, DAY, {0: 180})
    slip = seen(limb, LATER, {0: 18.3}, promised=False).readings.get()
    make.make_reading(slip.visit, M.GIRTH, 183, limb, station_mm=0, supersedes=slip, why="cm")
    assert 0.05 < check_rows([clinic]).outcomes[0].reached < 0.95


def test_height_of_a_child_with_two_limbs_counts_once(clinic):
    limb = followed_limb(clinic)
    other = make.make_limb(limb.child, side=Limb.Side.RIGHT)
    for on, mm in ((DAY, 1200), (LATER, 1230)):
        make.make_reading(make.make_visit(limb.child, on=on), M.STATURE, mm)
        for one in (limb, other):
            repromise(one, on, "visit", make.noon(on) + timedelta(hours=1))
    assert [row.family for row in check_rows([clinic]).outcomes] == ["stature"]


def test_a_limb_that_still_settles_is_not_tested(clinic):
    limb = followed_limb(clinic, cause=Limb.Cause.ACQUIRED, acquired_on=DAY - timedelta(days=60))
    make.make_socket(seen(limb, DAY, {0: 180}, promised=False), limb, {0: 186})
    repromise(limb, DAY, "fitted", make.noon(DAY) + timedelta(hours=2))
    seen(limb, LATER, {0: 170}, promised=False)
    assert Forecast.objects.get().state == Forecast.State.MATURING
    assert check_rows([clinic]).outcomes == []


def test_rows_from_before_bands_were_stored_are_tested_by_their_picture(clinic):
    limb = followed_limb(clinic)
    make.make_socket(seen(limb, DAY, {0: 180, 25: 172}, promised=False), limb, {0: 186, 25: 178})
    made = repromise(limb, DAY, "visit", make.noon(DAY) + timedelta(hours=1))
    seen(limb, LATER, {0: 183, 25: 176}, promised=False)
    part = made.fan["part"]
    full = {0: 183, 25: 176}
    stored = [row.reached for row in check_rows([clinic]).outcomes]
    Forecast.objects.update(bands=[])
    found = check_rows([clinic])
    assert len(found.outcomes) == 1
    assert found.outcomes[0].reached == pytest.approx(stored[list(full).index(int(part.split(":")[1]))], abs=0.02)
    assert not found.misses["girth"]


def test_takes_and_repeated_visits_tell_the_error(clinic):
    limb = followed_limb(clinic)
    for ahead, mm, takes in ((0, 181, [180, 182]), (6, 184, [184, 184]), (200, 190, [189, 190])):
        visit = make.make_visit(limb.child, on=DAY + timedelta(days=ahead))
        make.make_reading(visit, M.GIRTH, mm, limb, station_mm=0, takes=takes)
    found = check_rows([clinic])
    assert found.takes["girth"] == [-2, 0, -1]
    assert found.repeats["girth"] == [3]


def worn_until(limb, on, why):
    socket = make.make_socket(seen(limb, DAY, {0: 180}, promised=False), limb, {0: 186})
    promise = repromise(limb, DAY, "fitted", make.noon(DAY) + timedelta(hours=2))
    repromise(limb, DAY, "settings", make.noon(DAY) + timedelta(days=9))
    Socket.objects.filter(pk=socket.pk).update(retired_on=on, why_retired=why)
    return promise


def test_a_socket_outgrown_is_held_against_its_first_dates(clinic):
    limb = followed_limb(clinic)
    promise = worn_until(limb, None, "")
    outgrown = promise.likely + timedelta(days=21)
    Socket.objects.update(retired_on=outgrown, why_retired=Socket.WhyRetired.OUTGROWN_GIRTH)
    errors = forecast_check([clinic], outgrown).dates[0].errors
    assert (errors.n, errors.median_weeks, errors.late_by_weeks) == (1, 3, 3)
    assert errors.between.share == 1


def test_sockets_given_up_for_other_reasons_are_left_out_and_worn_ones_counted(clinic):
    worn_until(followed_limb(clinic), LATER, Socket.WhyRetired.BROKEN)
    promise = worn_until(followed_limb(clinic), None, "")
    before, after = (forecast_check([clinic], promise.late + timedelta(days=d)) for d in (-1, 1))
    assert (before.dates, before.outlasted, after.outlasted) == ([], 0, 1)


def registry(clinic, limbs=16, visits=5, spread_mm=0.0, seed=2):
    """Limbs whose girth goes up two millimetres a visit; its speed wanders by spread_mm."""
    rng = np.random.default_rng(seed)
    settings, _made = ClinicSettings.objects.get_or_create(clinic=clinic)
    for _one in range(limbs):
        limb, grown, speed_mm = followed_limb(clinic), 0.0, 2.0
        for step in range(visits):
            speed_mm += spread_mm * rng.normal()
            grown += speed_mm
            seen(limb, DAY + timedelta(days=120 * step), {0: 180 + grown, 25: 172 + grown})
    return settings


def offered(clinic):
    return {p.setting: p for p in proposals(check_rows([clinic]), settings_of(clinic))}


def test_too_few_are_said_to_be_too_few(clinic):
    registry(clinic, limbs=2, visits=3)
    check = forecast_check([clinic], LATER)
    assert check.summary.startswith("Too few to judge: 4 tests that do not overlap, 62 are needed.")
    assert {row.why_not for row in check.proposals} == {"too few: 4 of 48", "too few: 0 of 48"}
    empty = forecast_check([make.make_clinic()], LATER)
    assert empty.summary == "No promise has been tested yet: that needs a later reading of the same place."
    assert (empty.chart, empty.groups, empty.dates) == (None, [], [])


def test_lively_growth_shows_as_narrow_bands_and_a_larger_lambda(clinic):
    registry(clinic, spread_mm=3)
    check = forecast_check([clinic], LATER)
    assert "too narrow" in check.summary
    girth = offered(clinic)["lambda_girth"]
    assert girth.why_not is None
    assert girth.estimate.low > 1.2
    assert [group.title for group in check.groups] == ["By measure", "By level", "By age", "By time ahead"]
    assert all(sum(row.judged.n for row in group.rows) == check.judged.n for group in check.groups)


def test_a_tem_below_what_takes_show_is_not_believed(clinic):
    registry(clinic, limbs=13)
    Reading.objects.update(takes=[180, 186])
    tem = offered(clinic)["tem_girth_mm"]
    assert tem.why_not == WhyNot.BELOW_TAKES


def test_repeats_speak_for_the_tem_once_there_are_enough(clinic):
    rng, limb = np.random.default_rng(3), followed_limb(clinic)
    for pair in range(50):
        for ahead in (0, 5):
            visit = make.make_visit(limb.child, on=DAY + timedelta(days=40 * pair + ahead))
            make.make_reading(visit, M.GIRTH, 180 + 4 * rng.normal(), limb, station_mm=0)
    tem = offered(clinic)["tem_girth_mm"]
    assert tem.from_repeats
    assert tem.estimate.n == 50
    assert tem.value == pytest.approx(4, rel=0.2)
    assert tem.why_not is None


@pytest.mark.parametrize(
    ("estimate", "now", "wanted"),
    [
        (None, 1.0, WhyNot.TOO_FEW),
        (Estimate(2.0, 1.7, 2.3, 47), 1.0, WhyNot.TOO_FEW),
        (Estimate(2.0, 1.7, 2.3, 48), 1.0, None),
        (Estimate(2.0, 1.7, 2.3, 48), 1.8, WhyNot.AGREES),
        (Estimate(2.0, 1.1, 2.3, 48), 1.0, WhyNot.TOO_WIDE),
        (Estimate(2.0, 1.7, 2.3, 48, at_edge=True), 1.0, WhyNot.AT_EDGE),
    ],
)
def test_when_an_estimate_is_on_offer(estimate, now, wanted):
    from fitting.proposals import _why_not

    assert _why_not(estimate, now, 0.0) == wanted


def test_adopting_changes_the_setting_promises_anew_and_keeps_the_old(clinic):
    settings = registry(clinic, spread_mm=3)
    administrator, stored = make.make_staff(Role.ADMINISTRATOR, clinics=[clinic]), Forecast.objects.count()
    shown = offered(clinic)["lambda_girth"].value
    adopt(clinic, "lambda_girth", shown, administrator, make.noon(make.TODAY))
    settings.refresh_from_db()
    assert settings.lambda_girth == shown
    assert Forecast.objects.count() == stored + 16
    newest = CurrentForecast.objects.select_related("forecast")
    assert {(one.forecast.why, one.forecast.made_by) for one in newest} == {("forecast check", administrator)}


def test_what_is_not_on_offer_is_refused(clinic):
    registry(clinic, spread_mm=3)
    shown = offered(clinic)["lambda_girth"].value
    for setting, value in (
        ("lambda_girth", shown + 0.01),
        ("lambda_length", shown),
        ("buffer_days", shown),
        ("clinic", shown),
    ):
        with pytest.raises(StepError, match="has changed since"):
            adopt(clinic, setting, value, make.make_staff(Role.ADMINISTRATOR), make.noon(make.TODAY))
    assert ClinicSettings.objects.get().lambda_girth == 1.0
    assert not Forecast.objects.filter(why="forecast check").exists()


@pytest.fixture
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


def test_an_administrator_adopts_on_the_page_and_the_change_is_on_record(client, clinic, at_noon):
    settings = registry(clinic, spread_mm=3)
    administrator = make.make_staff(Role.ADMINISTRATOR, clinics=[clinic])
    client.force_login(administrator)
    page = client.get(reverse("forecast_check"))
    shown = offered(clinic)["lambda_girth"].value
    assert f'name="shown" value="{shown}"' in page.content.decode()
    sent = {"clinic": clinic.pk, "setting": "lambda_girth", "shown": shown}
    response = client.post(reverse("forecast_check"), sent, follow=True)
    assert "Adopted. Every limb of Millbrook was forecast anew." in response.content.decode()
    entry = LogEntry.objects.get_for_object(settings).filter(action=LogEntry.Action.UPDATE).get()
    assert entry.actor == administrator
    assert entry.changes_dict["lambda_girth"] == ["1.0", str(shown)]
    again = client.post(reverse("forecast_check"), {**sent, "shown": 4.2}, follow=True)
    assert "has changed since this page was opened" in again.content.decode()


def test_others_see_the_estimate_and_cannot_adopt_it(client, clinic, at_noon):
    registry(clinic, spread_mm=3)
    client.force_login(make.make_staff(Role.COORDINATOR, clinics=[clinic]))
    page = client.get(reverse("forecast_check")).content.decode()
    assert "an administrator may adopt it" in page
    assert 'name="shown"' not in page
    assert client.post(reverse("forecast_check"), {}).status_code == 403


def test_another_clinics_settings_cannot_be_adopted(client, clinic, at_noon):
    registry(clinic, spread_mm=3)
    client.force_login(make.make_staff(Role.ADMINISTRATOR, clinics=[make.make_clinic()]))
    sent = {"clinic": clinic.pk, "setting": "lambda_girth", "shown": offered(clinic)["lambda_girth"].value}
    response = client.post(reverse("forecast_check"), sent, follow=True)
    assert "Choose a clinic and one of its estimates." in response.content.decode()
    assert ClinicSettings.objects.get(clinic=clinic).lambda_girth == 1.0


def test_the_picture_has_words_and_a_table_and_no_child_is_named(client, clinic, at_noon):
    registry(clinic, limbs=3)
    limb = Limb.objects.first()
    client.force_login(make.make_staff(clinics=[clinic]))
    page = client.get(reverse("forecast_check")).content.decode()
    assert '<title id="calibration-title">Promised and found</title>' in page
    assert "The picture as a table" in page
    assert limb.child.family_name not in page
    assert limb.child.case_number not in page


def test_several_clinics_are_looked_at_together_or_one_at_a_time(client, clinic, at_noon):
    other = make.make_clinic("Eastgate")
    registry(clinic, limbs=2)
    client.force_login(make.make_staff(clinics=[clinic, other]))
    both = client.get(reverse("forecast_check"))
    assert both.context["check"].judged.n > 0
    assert "choose one above" in both.content.decode()
    alone = client.get(reverse("forecast_check"), {"clinic": other.pk})
    assert alone.context["check"].judged.n == 0
    unknown = client.get(reverse("forecast_check"), {"clinic": make.make_clinic("Millpond").pk})
    assert unknown.context["check"].judged.n == both.context["check"].judged.n


def test_the_number_of_queries_does_not_grow(client, clinic, at_noon):
    client.force_login(make.make_staff(clinics=[clinic]))
    counts = []
    for limbs in (1, 6):
        registry(clinic, limbs=limbs)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            client.get(reverse("forecast_check"))
        counts.append(len(queries))
    assert counts[0] == counts[1]


def judged_as(share, verdict):
    return Judged(90, 80, {80: Share(share, share - 0.05, share + 0.05)}, verdict)


@pytest.mark.parametrize(
    ("groups", "said"),
    [
        (
            {"girths": (0.62, TOO_NARROW), "height": (0.95, TOO_WIDE), "lengths": (0.5, TOO_FEW)},
            "Worst group, girths: 62 (57 to 67), bands too narrow: surer than they should be.",
        ),
        (
            {"girths": (0.76, AGREES), "height": (0.95, TOO_WIDE)},
            "Worst group, height: 95 (90 to 100), bands too wide: less sure than they could be.",
        ),
        ({"girths": (0.76, AGREES), "height": (0.82, AGREES)}, "Worst group, girths: 76 (71 to 81), as promised."),
        ({"lengths": (0.5, TOO_FEW)}, "(95 % interval 69 to 79): as promised."),
    ],
)
def test_the_headline_names_the_worst_group_and_not_only_the_whole(groups, said):
    rows = [GroupRow(label, judged_as(*found)) for label, found in groups.items()]
    told = _summary(judged_as(0.74, AGREES), [Group("By measure", rows)])
    assert told.startswith(
        "All together, the band that should hold 80 of 100 readings held 74 (95 % interval 69 to 79)"
    )
    assert told.endswith(said)
