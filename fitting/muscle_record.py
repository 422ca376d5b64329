"""What the muscle pages show of a limb: sites and where to look today, recordings, settings, change since last time."""

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import F
from django.utils.translation import gettext as _

from fitting.calc.muscle.place import percent_of_length, suggested_place
from fitting.calc.muscle.verdict import Change, changes_since
from fitting.models import LevelSettings, MuscleRecording, MuscleSite, Reading
from fitting.muscle_inputs import level_means
from patients.models import Limb

LENGTHS = (Reading.Measure.RESIDUAL_LENGTH_BONY, Reading.Measure.RESIDUAL_LENGTH)


@dataclass(frozen=True)
class SiteRow:
    """A site in use, numbered as on the drawing: its share of the length then, and where to look today."""

    number: int
    site: MuscleSite
    percent: float | None
    look_mm: float
    retest: bool


@dataclass(frozen=True)
class RecordingRow:
    """A recording with its channels: site and stored figures, None where none could be computed."""

    recording: MuscleRecording
    channels: tuple[tuple[MuscleSite, Mapping], ...]


@dataclass(frozen=True)
class Comparison:
    """A channel held against the last recording of its muscle; a sentence where the two cannot be compared."""

    earlier: MuscleRecording
    changes: tuple[Change, ...]
    sentence: str


def newest_length_mm(limb: Limb) -> float | None:
    """Newest residual length of a limb [mm], bony end before soft end."""
    rows = Reading.objects.current().filter(limb=limb, measure__in=LENGTHS).order_by("visit__at", "pk")
    newest = dict(rows.values_list("measure", "value"))
    return next((newest[measure] for measure in LENGTHS if measure in newest), None)


def site_rows(limb: Limb) -> list[SiteRow]:
    """Sites in use, each with the place its share of the length comes to today."""
    now_mm = newest_length_mm(limb)
    sites = MuscleSite.objects.current().filter(limb=limb).select_related("observer").order_by("muscle", "pk")
    return [_site_row(number, site, now_mm) for number, site in enumerate(sites, start=1)]


def _site_row(number, site, now_mm):
    if not site.residual_length_mm:
        return SiteRow(number, site, None, site.distance_mm, False)
    percent = percent_of_length(site.distance_mm, site.residual_length_mm)
    place = suggested_place(site.distance_mm, site.residual_length_mm, now_mm or site.residual_length_mm)
    return SiteRow(number, site, percent, place.distance_mm, place.retest)


def recording_rows(limb: Limb) -> list[RecordingRow]:
    """Standing recordings, newest first."""
    rows = MuscleRecording.objects.current().filter(limb=limb).select_related("site", "second_site", "recorded_by")
    rows = rows.defer("result").annotate(channels=F("result__channels"))  # without the traces, the bulk of a result
    return [RecordingRow(row, tuple(_named(row))) for row in rows]


def _named(row):
    for channel in row.channels or ():
        yield row.site_of(channel["channel"]) or row.site, channel


def current_settings(limb: Limb) -> list[LevelSettings]:
    """Level settings in use, one for each muscle."""
    rows = LevelSettings.objects.current().filter(limb=limb)
    related = ("recording__site", "recording__second_site", "set_by")
    return list(rows.select_related(*related).defer("recording__result").order_by("pk"))


def comparison(recording: MuscleRecording, channel: int) -> Comparison | None:
    """Change of a channel's levels since the last recording of its muscle; None when there is none."""
    site = recording.site_of(channel)
    found = _earlier(recording, site) if site else None
    if found is None:
        return None
    earlier, then = found
    if not _alike(recording, channel, earlier, then):
        return Comparison(earlier, (), _("Not compared: another electrode, gain or unit was used then."))
    means = (level_means(recording.result, channel), level_means(earlier.result, then))
    feedback = recording.visual_feedback and earlier.visual_feedback
    return Comparison(earlier, changes_since(*means, feedback), "")


def _earlier(recording, site):
    rows = MuscleRecording.objects.current().filter(
        limb=recording.limb_id, state=MuscleRecording.State.DONE, on__lt=recording.on
    )
    for row in rows.select_related("site", "second_site").order_by("-on", "-pk"):
        for then in (0, 1):
            there = row.site_of(then)
            if there and there.muscle == site.muscle and level_means(row.result, then):
                return row, then
    return None


def _alike(recording, channel, earlier, then) -> bool:
    now_site, then_site = recording.site_of(channel), earlier.site_of(then)
    return (
        (now_site.electrode, now_site.gain, now_site.spacing_mm)
        == (then_site.electrode, then_site.gain, then_site.spacing_mm)
        and recording.result["unit"] == earlier.result["unit"]
        and recording.mv_per_count == earlier.mv_per_count
    )
