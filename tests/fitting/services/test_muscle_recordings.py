"""Receiving, reading and reading again; a worker that dies, and one that takes up what it left."""

import json
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from fitting.calc.muscle.recording import Cue
from fitting.management.commands.worker import close_dead_tasks
from fitting.models import MuscleRecording
from fitting.services import muscle_reading
from fitting.services.muscle_reading import read_file
from fitting.services.muscle_recordings import DEAD_AFTER, RecordingIn, read_again, receive_recording, take_up_dead
from fitting.services.steps import StepError
from tests import factories as make
from tests.fitting.muscle_simulator import as_csv, simulate

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)
State = MuscleRecording.State


@pytest.fixture(scope="module")
def file():
    return as_csv(simulate(seed=1, repetitions=2, hold_s=1.5, rate_hz=1000))


@pytest.fixture
def site():
    return make.make_muscle_site(make.make_limb())


def receive(site, data, submission=None, now=NOW, **said):
    what = RecordingIn(**{"site": site, "on": make.TODAY, "time_unit": "s", "unit": "mV", **said})
    return receive_recording(site.limb, site.observer, what, data, "arm.csv", submission or uuid4(), now)


def fresh(row):
    return MuscleRecording.objects.get(pk=row.pk)


def test_a_recording_is_kept_as_it_came_and_read(site, file):
    row = fresh(receive(site, file))
    with row.file.open("rb") as kept:
        assert kept.read() == file
    assert (row.state, row.attempts, row.error) == (State.DONE, 1, {})
    assert (row.size_bytes, row.file_name, len(row.sha256)) == (len(file), "arm.csv", 64)
    (channel,) = row.result["channels"]
    assert channel["verdict"] == "usable"
    assert json.dumps(row.result, allow_nan=False)


def test_a_second_submit_gets_the_first_recording(site, file):
    submission = uuid4()
    assert receive(site, file, submission).pk == receive(site, file, submission).pk
    assert MuscleRecording.objects.count() == 1


def test_typed_cues_go_before_those_of_the_file(site, file):
    typed = (Cue("rest", 0.0, 1.5), Cue("hard", 4.5, 6.0))
    result = fresh(receive(site, file, cues=typed)).result
    assert [(cue["level"], cue["start_s"]) for cue in result["cues"]] == [("rest", 0.0), ("hard", 4.5)]


@pytest.mark.parametrize(
    ("data", "said", "code"),
    [
        (b"nothing of use", {}, "no_rows"),
        (b"0,1\n1,=2\n", {}, "number"),
        (
            b"t,a\n" + b"\n".join(b"%f,%d" % (n / 1000, n % 7) for n in range(4000)),
            {"cues": (Cue("rest", 0, 1, 1),)},
            "cue_channel",
        ),
    ],
)
def test_what_cannot_be_read_is_kept_and_says_why(site, data, said, code):
    row = fresh(receive(site, data, **said))
    assert (row.state, row.error["code"], row.result) == (State.UNREADABLE, code, {})
    assert row.size_bytes == len(data)


def test_faults_are_advice_and_do_not_keep_a_record_from_being_kept(site):
    slow = as_csv(simulate(seed=1, repetitions=2, rate_hz=400))
    row = fresh(receive(site, slow))
    assert row.state == State.DONE
    assert [fault["code"] for fault in row.result["faults"]] == ["rate_too_low"]
    assert row.result["channels"] == []


def test_a_file_that_was_altered_is_not_used(site, file):
    row = receive(site, file)
    MuscleRecording.objects.filter(pk=row.pk).update(state=State.WAITING, sha256="0" * 64)
    read_file(row.pk, NOW)
    assert (fresh(row).state, fresh(row).error["code"]) == (State.UNREADABLE, "altered")


def test_a_recording_that_is_taken_or_done_is_left_alone(site, file):
    row = receive(site, file)
    for state in (State.DONE, State.READING, State.COMPUTING):
        MuscleRecording.objects.filter(pk=row.pk).update(state=state)
        read_file(row.pk, NOW)
        assert (fresh(row).state, fresh(row).attempts) == (state, 1)


def test_a_failure_of_ours_is_said_and_not_hidden(site, file, monkeypatch):
    row = receive(site, file)
    MuscleRecording.objects.filter(pk=row.pk).update(state=State.WAITING)
    monkeypatch.setattr(muscle_reading, "site_test", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        read_file(row.pk, NOW)
    assert fresh(row).state == State.DIED


# Reading again


def said_of(row, **changed):
    names = ("site", "on", "time_unit", "unit")
    return RecordingIn(**{**{name: getattr(row, name) for name in names}, **changed})


def test_reading_again_supersedes_and_keeps_file_and_first_reading(site, file):
    old = fresh(receive(site, file))
    new = fresh(read_again(old, site.observer, said_of(old, unit="V"), uuid4(), NOW))
    assert (new.supersedes, new.file.name, new.sha256, new.unit) == (old, old.file.name, old.sha256, "V")
    assert fresh(old).result["unit"] == "mV"
    assert "unit" in [fault["code"] for fault in new.result["faults"]]
    assert list(MuscleRecording.objects.current()) == [new]


def test_only_one_may_read_again(site, file):
    old, submission = fresh(receive(site, file)), uuid4()
    new = read_again(old, site.observer, said_of(old), submission, NOW)
    assert read_again(old, site.observer, said_of(old), submission, NOW).pk == new.pk
    with pytest.raises(StepError, match="Somebody read this recording again first"):
        read_again(old, site.observer, said_of(old), uuid4(), NOW)


def test_what_is_being_read_cannot_be_read_again(site):
    row = make.make_muscle_recording(site, ContentFile(b"0,1\n", "a.csv"))
    with pytest.raises(StepError, match="still being read"):
        read_again(row, site.observer, said_of(row), uuid4(), NOW)


# The worker


def stuck(site, file, attempts, minutes=11, state=State.READING):
    row = receive(site, file)
    MuscleRecording.objects.filter(pk=row.pk).update(
        state=state, attempts=attempts, touched_at=NOW - timedelta(minutes=minutes), result={}
    )
    return row


@pytest.mark.parametrize("state", [State.WAITING, State.READING, State.COMPUTING])
def test_what_a_dead_worker_left_is_read_once_more(site, file, state):
    row = stuck(site, file, attempts=1, state=state)
    assert take_up_dead(NOW) == 1
    assert (fresh(row).state, fresh(row).attempts) == (State.DONE, 2)


def test_a_file_that_killed_two_workers_is_given_up(site, file):
    row = stuck(site, file, attempts=2)
    assert take_up_dead(NOW) == 0
    assert fresh(row).state == State.DIED


def test_work_under_way_is_left_alone(site, file):
    row = stuck(site, file, attempts=1, minutes=9)
    assert take_up_dead(NOW) == 0
    assert fresh(row).state == State.READING


@pytest.fixture
def with_worker(settings):
    settings.TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend"}}


@pytest.mark.django_db(transaction=True)
def test_a_web_process_only_leaves_it_to_the_worker(site, file, with_worker):
    row = receive(site, file, now=timezone.now())
    assert fresh(row).state == State.WAITING
    assert DBTaskResult.objects.ready().count() == 1
    call_command("worker", once=True, verbosity=0)
    assert fresh(row).state == State.DONE
    assert DBTaskResult.objects.successful().count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_task_of_a_killed_worker_is_closed(site, file, with_worker):
    receive(site, file)
    now = timezone.now()
    DBTaskResult.objects.update(status="RUNNING", started_at=now - DEAD_AFTER - timedelta(seconds=1))
    assert close_dead_tasks(now) == 1
    assert close_dead_tasks(now) == 0
    assert DBTaskResult.objects.failed().count() == 1
