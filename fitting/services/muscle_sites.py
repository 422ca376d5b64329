"""Recording where an electrode sat, and setting the levels of a device. Nothing is overwritten."""

import io
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _
from PIL import Image, ImageOps

from fitting.models import LevelSettings, MuscleRecording, MuscleSite
from fitting.services.steps import StepError
from patients.models import Limb, Staff

PHOTO_SIDE_PX = 1600  # enough to see pen marks on skin


@dataclass(frozen=True)
class SiteIn:
    """Where an electrode sat; lengths in mm."""

    muscle: str
    landmark: str
    distance_mm: float
    residual_length_mm: float | None
    clock_hour: float | None
    spacing_mm: float
    orientation: str
    electrode: str
    gain: str
    posture: str
    skin_preparation: str
    on: date
    note: str = ""


@transaction.atomic
def record_site(
    limb: Limb, by: Staff, what: SiteIn, photo: Image.Image | None, submission: UUID, now: datetime
) -> MuscleSite:
    """Store a new site; a second submit gets the first one."""
    return _store(limb, by, what, photo, submission, now)


@transaction.atomic
def move_site(
    old: MuscleSite, by: Staff, what: SiteIn, photo: Image.Image | None, why: str, submission: UUID, now: datetime
) -> MuscleSite:
    """Supersede a site by one found anew or corrected. Raises StepError when somebody did so first."""
    if MuscleSite.objects.filter(supersedes=old).exclude(submission=submission).exists():
        raise StepError(_("Somebody entered this site anew first. Open the newer one."))
    return _store(old.limb, by, what, photo, submission, now, supersedes=old, why=why)


def _store(limb, by, what, photo, submission, now, **succession):
    site, created = MuscleSite.objects.get_or_create(
        submission=submission,
        defaults={**vars(what), "limb": limb, "observer": by, "recorded_at": now, **succession},
    )
    if created and photo is not None:
        site.photo.save(f"{submission}.jpg", plain_photo(photo))
    return site


def plain_photo(photo: Image.Image) -> ContentFile:
    """A photo upright and no larger than needed, without what the camera wrote about place, time and device."""
    upright = ImageOps.exif_transpose(photo).convert("RGB")
    upright.thumbnail((PHOTO_SIDE_PX, PHOTO_SIDE_PX))
    bare = Image.new("RGB", upright.size)
    bare.paste(upright)
    data = io.BytesIO()
    bare.save(data, "JPEG", quality=85)
    return ContentFile(data.getvalue())


@dataclass(frozen=True)
class LevelsIn:
    """What a device is set to; boundaries in the unit of the recording, from light up."""

    levels: tuple[str, ...]
    boundaries: tuple[float, ...]
    unit: str
    full_scale: float
    hysteresis_ln: float
    debounce_ms: int
    gestures: dict
    typed: bool
    on: date
    note: str = ""


@transaction.atomic
def set_levels(
    recording: MuscleRecording, channel: int, by: Staff, what: LevelsIn, opened: int | None, now: datetime
) -> LevelSettings:
    """Store settings for the muscle of a recording's channel; those the muscle had until now are superseded.

    opened: key of the settings in use when the page was opened. Raises StepError when others stand by now.
    """
    old = current_levels(recording, channel)
    if (old.pk if old else None) != opened:
        raise StepError(_("Somebody set the levels of this muscle meanwhile. They are shown now; set yours again."))
    return LevelSettings.objects.create(
        limb=recording.limb,
        recording=recording,
        channel=channel,
        supersedes=old,
        set_by=by,
        recorded_at=now,
        **{**vars(what), "levels": list(what.levels), "boundaries": list(what.boundaries)},
    )


def current_levels(recording: MuscleRecording, channel: int) -> LevelSettings | None:
    """Settings in use for the muscle under a channel of a recording."""
    muscle = recording.site_of(channel).muscle
    rows = LevelSettings.objects.current().filter(limb=recording.limb)
    rows = rows.select_related("recording__site", "recording__second_site").defer("recording__result")
    return next((row for row in rows if row.recording.site_of(row.channel).muscle == muscle), None)
