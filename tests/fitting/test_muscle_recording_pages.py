"""Sending a muscle recording, its page, trying and setting levels, the export."""

import json
import re
from datetime import timedelta
from uuid import uuid4

import pytest
import time_machine
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fitting.forms import muscle_recording
from fitting.models import LevelSettings, MuscleRecording, MuscleSite
from fitting.services.muscle_recordings import RecordingIn, receive_recording
from patients.roles import Role
from tests import factories as make
from tests.fitting.muscle_simulator import as_csv, simulate

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
NOW = make.noon(make.TODAY)


@pytest.fixture
def at_noon():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture(scope="module")
def file():
    return as_csv(simulate(seed=1, channels=2, repetitions=2, hold_s=1.5, rate_hz=1000))


@pytest.fixture
def limb():
    return make.make_limb(make.make_child(make.make_clinic("Tern Island")))


@pytest.fixture
def staff(client, limb):
    staff = make.make_staff(clinics=[limb.child.clinic])
    client.force_login(staff)
    return staff


@pytest.fixture
def site(limb, staff):
    return make.make_muscle_site(limb, staff)


def send(site, data, on=make.TODAY, **said):
    what = RecordingIn(**{"site": site, "on": on, "time_unit": "s", "unit": "mV", **said})
    row = receive_recording(site.limb, site.observer, what, data, "arm.csv", uuid4(), NOW)
    return MuscleRecording.objects.get(pk=row.pk)


@pytest.fixture
def recording(site, file):
    other = make.make_muscle_site(site.limb, site.observer, muscle="wrist_flexors")
    return send(site, file, second_site=other)


def text_of(response):
    return " ".join(response.content.decode().split())


# Recordings


def typed_recording(site, file, **changed):
    upload = SimpleUploadedFile("arm.csv", file, "text/csv")
    said = {"site": site.pk, "on": "2026-05-04", "time_unit": "s", "unit": "mV", "submission": str(uuid4())}
    return {"file": upload, **said, **changed}


def test_without_a_site_there_is_nothing_to_record(client, limb, staff):
    page = text_of(client.get(reverse("muscle_recording_new", args=[limb.pk])))
    assert "A recording belongs to a site." in page


def test_a_recording_is_sent_and_its_page_says_everything(client, site, file):
    other = make.make_muscle_site(site.limb, site.observer, muscle="wrist_flexors")
    url = reverse("muscle_recording_new", args=[site.limb_id])
    response = client.post(url, typed_recording(site, file, second_site=other.pk), follow=True)
    page = text_of(response)
    assert "Channel 1: wrist extensors" in page.replace("</h2>", "")
    assert "% in the wrong level, between" in page
    assert "fixed at 25 / 50 / 75 % of the strongest" in page
    assert "come from recordings of adults" in page
    assert "implanted devices" in page
    assert page.count('role="slider"') == 6
    assert 'hx-trigger="every 1s"' not in page


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"cues_text": "rest 0-10\nlight"}, "cues_text", "Line 2 is not a cue."),
        ({"on": "2026-05-05"}, "on", "This day is in the future."),
        ({"unit": "stone"}, "unit", "Select a valid choice."),
        ({"mv_per_count": "0"}, "mv_per_count", "Ensure this value is greater than or equal to"),
    ],
)
def test_what_is_said_about_a_file_is_checked(client, site, file, changed, field, sentence):
    url = reverse("muscle_recording_new", args=[site.limb_id])
    form = client.post(url, typed_recording(site, file, **changed)).context["form"]
    assert list(form.errors) == [field]
    assert form.errors[field][0].startswith(sentence)


def test_both_channels_cannot_be_on_one_site_and_a_file_may_be_too_large(client, site, file, monkeypatch):
    url = reverse("muscle_recording_new", args=[site.limb_id])
    form = client.post(url, typed_recording(site, file, second_site=site.pk)).context["form"]
    assert form.errors == {"second_site": ["Both channels cannot be on the same site."]}
    monkeypatch.setattr(muscle_recording, "MOST_BYTES", 2**20 // 2**10)
    form = client.post(url, typed_recording(site, file)).context["form"]
    assert form.errors == {"file": ["The file is larger than 0 MB."]}


def test_a_site_of_another_limb_is_no_choice(client, site, file):
    elsewhere = make.make_muscle_site(make.make_limb())
    url = reverse("muscle_recording_new", args=[site.limb_id])
    form = client.post(url, typed_recording(elsewhere, file)).context["form"]
    assert list(form.errors) == ["site"]


def waiting(site, **fields):
    return make.make_muscle_recording(site, ContentFile(b"0,1\n", "a.csv"), **fields)


def test_progress_is_shown_and_asked_for_until_it_is_done(client, site):
    row = waiting(site, state="reading")
    page = text_of(client.get(reverse("muscle_recording", args=[row.pk])))
    assert 'hx-trigger="every 1s"' in page
    assert re.search(r'aria-current="step"[^>]*>reading the file<', page)
    assert "No worker has taken this up" not in page


def test_a_recording_no_worker_takes_up_says_so(client, site):
    row = waiting(site, touched_at=NOW - timedelta(seconds=31))
    assert "No worker has taken this up" in text_of(client.get(reverse("muscle_recording", args=[row.pk])))


def test_what_could_not_be_read_says_why_and_is_kept(client, site):
    row = send(site, b"0,1\n1,=2+3\n")
    page = text_of(client.get(reverse("muscle_recording", args=[row.pk])))
    assert "Line 2 holds \u201c=2+3\u201d, which is not a number. The file is kept." in page
    kept = client.get(reverse("muscle_recording_file", args=[row.pk]))
    assert b"".join(kept.streaming_content) == b"0,1\n1,=2+3\n"
    assert "attachment" in kept["Content-Disposition"]


def test_faults_are_said_refused_ones_first(client, site):
    row = send(site, as_csv(simulate(seed=1, repetitions=2, rate_hz=400)))
    page = text_of(client.get(reverse("muscle_recording", args=[row.pk])))
    assert "<strong>Not computed.</strong> The recording has 400 samples a second." in page


def test_a_recording_is_read_again_under_another_unit(client, recording):
    url = reverse("muscle_recording_again", args=[recording.pk])
    form = client.get(url).context["form"]
    said = {name: form[name].value() or "" for name in form.fields}
    response = client.post(url, {**said, "unit": "uV", "second_site": ""}, follow=True)
    newer = MuscleRecording.objects.current().get()
    assert (newer.unit, newer.supersedes, newer.second_site) == ("uV", recording, None)
    page = text_of(response)
    assert "were said to be microvolts but look like millivolts" in page
    assert "No site is named for this channel" in page
    assert "Open the newer reading" in text_of(client.get(reverse("muscle_recording", args=[recording.pk])))


def test_the_last_recording_of_a_muscle_is_held_against(client, site, file):
    earlier = send(site, file, on=make.TODAY - timedelta(days=30))
    later = send(site, as_csv(simulate(seed=1, channels=2, repetitions=2, hold_s=1.5, rate_hz=1000), factor=3))
    (first, _second) = client.get(reverse("muscle_recording", args=[later.pk])).context["panels"]
    assert first.comparison.earlier == earlier
    assert all(sentence.endswith("+200 %: a real change") for sentence in first.changes)
    MuscleSite.objects.filter(pk=site.pk).update(gain="7")
    moved = make.make_muscle_site(site.limb, site.observer, supersedes=site, why="moved", electrode="another")
    other = send(moved, file)
    (first, _second) = client.get(reverse("muscle_recording", args=[other.pk])).context["panels"]
    assert first.comparison.sentence == "Not compared: another electrode, gain or unit was used then."


# Levels


def typed_levels(client, recording, number=0, **changed):
    form = next(
        panel.form
        for panel in client.get(reverse("muscle_recording", args=[recording.pk])).context["panels"]
        if panel.number == number
    )
    said = {form.add_prefix(name): form[name].value() or "" for name in form.fields}
    return {**said, **{form.add_prefix(name): value for name, value in changed.items()}}


def test_levels_are_tried_without_being_set(client, recording):
    url = reverse("muscle_recording", args=[recording.pk])
    typed = typed_levels(client, recording, boundary_2=0.3, debounce_ms=180)
    first, second = client.post(url, {**typed, "try": "1"}).context["panels"]
    assert first.chart.boundaries[2].value == 0.3
    assert not first.held_out
    assert second.held_out
    assert [point.row.debounce_ms for point in first.trade_chart.points if point.chosen] == [180]
    assert not LevelSettings.objects.exists()


def test_the_fitted_levels_stay_exact_and_held_out_when_only_the_rest_is_tried(client, recording):
    typed = {**typed_levels(client, recording, hysteresis_ln="0.3"), "try": "1"}
    first, _ = client.post(reverse("muscle_recording", args=[recording.pk]), typed).context["panels"]
    assert first.held_out
    assert list(first.form.boundaries) == first.figures["fitted"]


def test_levels_are_set_printed_and_exported(client, recording):
    url = reverse("muscle_recording", args=[recording.pk])
    typed = typed_levels(client, recording, grip_hard="lateral", word_hard="key", note="for school")
    assert client.post(url, typed).status_code == 302
    row = LevelSettings.objects.get()
    assert (row.levels, row.typed, row.gestures["hard"]) == (
        ["rest", "light", "medium", "hard"],
        False,
        {"grip": "lateral", "word": "key"},
    )
    page = text_of(client.get(reverse("muscle_sites", args=[recording.limb_id])))
    assert "Wrist extensors, levels set 4 May 2026" in page
    assert "lateral grip" in page
    response = client.get(reverse("muscle_settings", args=[recording.limb_id]))
    assert "attachment" in response["Content-Disposition"]
    document = json.loads(response.content)
    assert document["format"] == "doorpost level settings 1"
    (muscle,) = document["muscles"]
    assert [level["level"] for level in muscle["levels"]] == row.levels
    assert muscle["levels"][3]["word"] == "key"
    assert muscle["levels"][3]["from"] == row.boundaries[2]
    assert 0 < muscle["levels"][3]["down_step"] < muscle["levels"][3]["up_step"] <= 1023
    assert recording.limb.child.family_name not in response.content.decode()


def test_boundaries_out_of_order_are_refused_at_their_field(client, recording):
    url = reverse("muscle_recording", args=[recording.pk])
    response = client.post(url, typed_levels(client, recording, boundary_1=0.0001))
    (first, _second) = response.context["panels"]
    assert first.form.errors == {"boundary_1": ["This must lie above the boundary before it."]}
    assert 'value="0.0001"' in response.content.decode()


def test_levels_of_a_stale_page_are_refused_and_may_be_sent_again(client, recording):
    url = reverse("muscle_recording", args=[recording.pk])
    stale = typed_levels(client, recording, word_hard="mine")
    client.post(url, typed_levels(client, recording, word_hard="theirs"))
    response = client.post(url, stale)
    (first, _second) = response.context["panels"]
    assert "Somebody set the levels of this muscle meanwhile." in first.form.non_field_errors()[0]
    again = {first.form.add_prefix(name): first.form[name].value() or "" for name in first.form.fields}
    assert client.post(url, again).status_code == 302
    assert LevelSettings.objects.current().get().gestures["hard"]["word"] == "mine"


def test_levels_ask_for_a_retest_when_the_limb_has_grown(client, recording):
    client.post(reverse("muscle_recording", args=[recording.pk]), typed_levels(client, recording))
    page = reverse("muscle_sites", args=[recording.limb_id])
    assert [card.retest for card in client.get(page).context["cards"]] == [False]
    visit = make.make_visit(recording.limb.child, recording.recorded_by)
    make.make_reading(visit, "residual_length", 130, recording.limb)
    assert [card.retest for card in client.get(page).context["cards"]] == [True]


def test_a_reader_sees_everything_and_changes_nothing(client, recording):
    client.force_login(make.make_staff(Role.COORDINATOR, clinics=[recording.limb.child.clinic]))
    page = client.get(reverse("muscle_recording", args=[recording.pk])).content.decode()
    assert "Set these levels" not in page
    assert "Read again" not in page
    assert "Send a recording" not in client.get(reverse("muscle_sites", args=[recording.limb_id])).content.decode()
    url = reverse("muscle_recording", args=[recording.pk])
    typed = typed_levels(client, recording, boundary_2=0.3)
    assert client.post(url, {**typed, "try": "1"}).context["panels"][0].chart.boundaries[2].value == 0.3
    assert client.post(url, typed).status_code == 403
    assert not LevelSettings.objects.exists()


def queries(client, url):
    with CaptureQueriesContext(connection) as captured:
        assert client.get(url).status_code == 200
    return len(captured)


def test_the_page_asks_as_much_for_many_sites_as_for_one(client, recording, file):
    url = reverse("muscle_sites", args=[recording.limb_id])
    client.post(reverse("muscle_recording", args=[recording.pk]), typed_levels(client, recording))
    before = queries(client, url)
    for muscle in ("biceps", "triceps", "supinator"):
        send(make.make_muscle_site(recording.limb, recording.recorded_by, muscle=muscle), file)
    client.post(reverse("muscle_recording", args=[recording.pk]), typed_levels(client, recording, number=1))
    assert queries(client, url) == before
