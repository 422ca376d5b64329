"""The settings card of a limb's muscles, for the fitting sheet and the page."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitting.models import LevelSettings
from fitting.muscle_drawing import window_marks
from fitting.muscle_export import whole_numbers
from fitting.muscle_record import SiteRow, current_settings, site_rows
from fitting.muscle_words import LEVEL_WORDS
from fitting.quantities import format_length
from fitting.wording import day_words
from patients.models import Limb


@dataclass(frozen=True)
class LevelRow:
    """One level of a device: from where, the steps a 10-bit controller holds, and what it does."""

    word: str
    starts: str
    up_step: int
    down_step: int
    grip: str
    family_word: str


@dataclass(frozen=True)
class MuscleCard:
    """What a device is set to for one muscle."""

    muscle: str
    electrode: str
    set_on: str
    set_by: str
    hysteresis_percent: int
    debounce_ms: int
    full_scale: str
    retest: bool
    rows: tuple[LevelRow, ...]
    note: str


@dataclass(frozen=True)
class SiteLine:
    """Where one electrode goes, in one line."""

    number: int
    muscle: str
    place: str
    look: str
    electrode: str


def muscle_cards(limb: Limb) -> list[MuscleCard]:
    """A card for each muscle whose levels are set; retest: its site was entered anew since."""
    standing = {row.site.pk for row in site_rows(limb) if not row.retest}
    return [_card(row, standing) for row in current_settings(limb)]


def site_lines(limb: Limb) -> list[SiteLine]:
    """Where the electrodes go, for paper."""
    return [_line(row, limb.child.clinic.length_unit) for row in site_rows(limb)]


def sheet_windows(limb: Limb):
    """Electrode windows for the sheet's drawing."""
    return window_marks(limb, site_rows(limb))


def _line(row: SiteRow, unit) -> SiteLine:
    site = row.site
    words = {"distance": format_length(site.distance_mm, unit), "landmark": site.get_landmark_display()}
    place = _("%(distance)s from the %(landmark)s") % words
    if site.clock_hour:
        place = _("%(place)s, %(hour)s o'clock") % {"place": place, "hour": f"{site.clock_hour:g}"}
    look = _("look at %(distance)s and retest") % {"distance": format_length(row.look_mm, unit)} if row.retest else ""
    return SiteLine(row.number, str(site), place, look, site.electrode)


def _card(row: LevelSettings, standing) -> MuscleCard:
    site = row.recording.site_of(row.channel)
    return MuscleCard(
        muscle=str(site),
        electrode=site.electrode,
        set_on=day_words(row.on),
        set_by=str(row.set_by),
        hysteresis_percent=round(100 * row.hysteresis_ln),
        debounce_ms=row.debounce_ms,
        full_scale=f"{row.full_scale:.4g} {row.unit}",
        retest=site.pk not in standing,
        rows=tuple(_level_rows(row)),
        note=row.note,
    )


def _level_rows(row: LevelSettings):
    whole = whole_numbers(row)
    for number, level in enumerate(row.levels):
        gesture = row.gestures.get(level, {})
        yield LevelRow(
            word=str(LEVEL_WORDS[level]),
            starts=f"{row.boundaries[number - 1]:.4g} {row.unit}" if number else "0",
            up_step=whole.up[number - 1] if number else 0,
            down_step=whole.down[number - 1] if number else 0,
            grip=str(LevelSettings.Grip(gesture["grip"]).label) if gesture.get("grip") else "",
            family_word=gesture.get("word", ""),
        )
