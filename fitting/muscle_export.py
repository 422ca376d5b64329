"""Level settings as JSON for whoever sets the device. The format is described in DEVELOPERS.md."""

import math

from fitting.calc.muscle.controller import STEPS, ControllerSettings, controller_settings
from fitting.models import LevelSettings
from patients.models import Limb

FORMAT = "doorpost level settings 1"


def settings_document(limb: Limb, rows: list[LevelSettings]) -> dict:
    """Settings in use of a limb, with the case number and no name."""
    return {
        "format": FORMAT,
        "case": limb.child.shown_case_number,
        "side": limb.side,
        "muscles": [_muscle(row) for row in rows],
    }


def _muscle(row: LevelSettings) -> dict:
    site = row.recording.site_of(row.channel)
    whole = whole_numbers(row)
    return {
        "muscle": site.muscle,
        "set_on": row.on.isoformat(),
        "recorded_on": row.recording.on.isoformat(),
        "electrode": site.electrode,
        "gain": site.gain,
        "unit": row.unit,
        "full_scale": row.full_scale,
        "full_scale_steps": STEPS,
        "hysteresis_ln": row.hysteresis_ln,
        "debounce_ms": row.debounce_ms,
        "step_ms": whole.step_ms,
        "debounce_steps": whole.debounce_steps,
        "levels": [
            {
                "level": level,
                "from": row.boundaries[number - 1] if number else 0.0,
                "up_step": whole.up[number - 1] if number else 0,
                "down_step": whole.down[number - 1] if number else 0,
                "grip": row.gestures.get(level, {}).get("grip", ""),
                "word": row.gestures.get(level, {}).get("word", ""),
            }
            for number, level in enumerate(row.levels)
        ],
    }


def whole_numbers(row: LevelSettings) -> ControllerSettings:
    """The whole numbers a 10-bit controller holds for these settings."""
    return controller_settings(
        [math.log(b) for b in row.boundaries], row.full_scale, row.hysteresis_ln, row.debounce_ms
    )
