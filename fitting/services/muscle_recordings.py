"""Receiving a recording, reading it again under other assumptions, and taking up what a dead worker left."""

import hashlib
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from fitting.calc.muscle.recording import Cue
from fitting.models import MuscleRecording, MuscleSite
from fitting.services.steps import StepError
from fitting.tasks import read_muscle_recording
from patients.models import Limb, Staff

State = MuscleRecording.State
DEAD_AFTER = timedelta(minutes=10)  # the largest file takes seconds
MOST_ATTEMPTS = 2


@dataclass(frozen=True)
class RecordingIn:
    """What is said about a file."""

    site: MuscleSite
    on: date
    time_unit: str
    unit: str
    second_site: MuscleSite | None = None
    mv_per_count: float | None = None
    cues: tuple[Cue, ...] = ()
    visual_feedback: bool = False
    note: str = ""


def receive_recording(
    limb: Limb, by: Staff, what: RecordingIn, data: bytes, file_name: str, submission: UUID, now: datetime
) -> MuscleRecording:
    """Keep a file as it came and leave it to the worker; a second submit gets the first recording."""
    digest = hashlib.sha256(data).hexdigest()
    with transaction.atomic():
        row, created = MuscleRecording.objects.get_or_create(
            submission=submission,
            defaults={
                **_said(what),
                "limb": limb,
                "file": ContentFile(data, name=f"{digest}.csv"),
                "file_name": file_name[-200:],
                "sha256": digest,
                "size_bytes": len(data),
                "touched_at": now,
                "recorded_by": by,
                "recorded_at": now,
            },
        )
    if created:
        read_muscle_recording.enqueue(row.pk)
    return row


def read_again(old: MuscleRecording, by: Staff, what: RecordingIn, submission: UUID, now: datetime) -> MuscleRecording:
    """The same file under other assumptions, as a new row that supersedes the old one.

    Raises StepError when somebody read it again first, or it is not read yet.
    """
    if old.state in MuscleRecording.UNFINISHED:
        raise StepError(_("This recording is still being read. Wait until it is done."))
    with transaction.atomic():
        if MuscleRecording.objects.filter(supersedes=old).exclude(submission=submission).exists():
            raise StepError(_("Somebody read this recording again first. Open the newer one."))
        row, created = MuscleRecording.objects.get_or_create(
            submission=submission,
            defaults={
                **_said(what),
                **{name: getattr(old, name) for name in ("limb", "file", "file_name", "sha256", "size_bytes")},
                "supersedes": old,
                "touched_at": now,
                "recorded_by": by,
                "recorded_at": now,
            },
        )
    if created:
        read_muscle_recording.enqueue(row.pk)
    return row


def _said(what: RecordingIn) -> dict:
    return {**vars(what), "cues": [asdict(cue) for cue in what.cues]}


def take_up_dead(now: datetime) -> int:
    """Send recordings that no worker has touched for ten minutes to a worker again, or give up after two attempts.

    Returns how many were sent.
    """
    sent = []
    with transaction.atomic():
        for row in MuscleRecording.objects.unfinished().filter(touched_at__lt=now - DEAD_AFTER).select_for_update():
            given_up = row.attempts >= MOST_ATTEMPTS
            row.state, row.touched_at = State.DIED if given_up else State.WAITING, now
            row.save(update_fields=["state", "touched_at"])
            if not given_up:
                sent.append(row.pk)
    for pk in sent:
        read_muscle_recording.enqueue(pk)
    return len(sent)
