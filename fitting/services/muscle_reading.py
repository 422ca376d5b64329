"""Reading one recording: file to figures, step by step, so that the page can say how far it is. Run by a worker."""

import hashlib
from datetime import datetime

from django.db import transaction

from fitting.calc.muscle.site_test import site_test
from fitting.models import MuscleRecording
from fitting.muscle_inputs import cues_for, recording_for, result_of
from fitting.recording_files import RecordingFileError, read_recording

State = MuscleRecording.State


def read_file(pk: int, now: datetime) -> None:
    """Read a waiting recording and store its figures; one finished, or taken by another worker, is left alone."""
    row = _take(pk, now)
    if row is None:
        return
    try:
        found = read_recording(_bytes_of(row), row.time_unit)
        cues = cues_for(row, found)
        recording = recording_for(row, found)
        MuscleRecording.objects.filter(pk=pk).update(state=State.COMPUTING)
        result = result_of(site_test(recording, cues), recording, cues)
    except RecordingFileError as error:
        _finish(pk, State.UNREADABLE, error={"code": error.code, "figures": error.figures})
    except Exception:
        _finish(pk, State.DIED)
        raise
    else:
        _finish(pk, State.DONE, result=result)


@transaction.atomic
def _take(pk, now):
    row = MuscleRecording.objects.select_for_update().filter(pk=pk, state=State.WAITING).first()
    if row:
        row.state, row.touched_at, row.attempts = State.READING, now, row.attempts + 1
        row.save(update_fields=["state", "touched_at", "attempts"])
    return row


def _bytes_of(row):
    with row.file.open("rb") as file:
        data = file.read()
    if hashlib.sha256(data).hexdigest() != row.sha256:
        raise RecordingFileError("altered")
    return data


def _finish(pk, state, **figures):
    MuscleRecording.objects.filter(pk=pk).update(state=state, **figures)
