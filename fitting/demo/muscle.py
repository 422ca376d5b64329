"""Muscle sites, a recording and levels for one child of the demo, so that their pages have something to show."""

from datetime import datetime
from uuid import NAMESPACE_OID, uuid5

import numpy as np
from scipy import signal

from fitting.calc.muscle.recording import LEVELS
from fitting.models import LevelSettings, MuscleRecording, MuscleSite, Reading, Visit
from fitting.muscle_inputs import channel_of, level_names
from fitting.muscle_record import LENGTHS
from fitting.services.muscle_recordings import RecordingIn, receive_recording
from fitting.services.muscle_sites import LevelsIn, SiteIn, record_site, set_levels
from patients.models import Limb, Staff

SHOWN = frozenset({"jonah_pike"})  # children whose limbs have muscle sites
SEED, RATE_HZ, HOLD_S, REPETITIONS = 7, 1000, 3.0, 3
STRENGTHS_MV = {"rest": 0.006, "light": 0.03, "medium": 0.075, "hard": 0.17}
SPREAD_LN = 0.2  # between repetitions
REACTION_S = 0.25
GRIPS = {"rest": "still", "light": "open", "medium": "power", "hard": "tripod"}
WORDS = {"rest": "", "light": "wave", "medium": "hug", "hard": "dragon"}
SITES = (("wrist_extensors", "lateral_epicondyle", 2.0), ("wrist_flexors", "medial_epicondyle", 8.0))
PLACE_SHARE = 0.42  # of the residual length


def show_muscles(limb: Limb, visit: Visit, by: Staff, now: datetime) -> MuscleRecording:
    """Two sites found at a visit, a recording of both muscles and the levels set from it."""
    on, length_mm = limb.child.clinic.day_of(visit.at), _length_mm(limb, visit)
    sites = [_site(limb, by, on, now, length_mm, *facts) for facts in SITES]
    said = RecordingIn(site=sites[0], second_site=sites[1], on=on, time_unit="s", unit="mV", visual_feedback=True)
    sent = receive_recording(limb, by, said, _file(), "two-muscles.csv", _key(limb, "recording"), now)
    recording = MuscleRecording.objects.get(pk=sent.pk)
    if recording.state == MuscleRecording.State.DONE:
        _levels(recording, by, on, now)
    return recording


def _length_mm(limb, visit):
    length = Reading.objects.current().filter(visit=visit, limb=limb, measure__in=LENGTHS).order_by("measure").last()
    return length.value


def _key(limb, what):
    return uuid5(NAMESPACE_OID, f"{limb.child.case_number} {limb.side} {what}")


def _site(limb, by, on, now, length_mm, muscle, landmark, clock_hour) -> MuscleSite:
    what = SiteIn(
        muscle=muscle,
        landmark=landmark,
        distance_mm=float(round(PLACE_SHARE * length_mm)),
        residual_length_mm=length_mm,
        clock_hour=clock_hour,
        spacing_mm=15.0,
        orientation=MuscleSite.Orientation.ALONG,
        electrode=f"dry pair {clock_hour:g}",
        gain="4",
        posture=Visit.Posture.SEATED_ELBOW_90,
        skin_preparation=MuscleSite.SkinPreparation.WATER,
        on=on,
    )
    return record_site(limb, by, what, None, _key(limb, muscle), now)


def _levels(recording, by, on, now) -> LevelSettings:
    figures = channel_of(recording.result, 0)
    what = LevelsIn(
        levels=tuple(level_names(figures)),
        boundaries=tuple(figures["fitted"]),
        unit=recording.result["unit"],
        full_scale=figures["full_scale"],
        hysteresis_ln=0.10,
        debounce_ms=60,
        gestures={level: {"grip": GRIPS[level], "word": WORDS[level]} for level in level_names(figures)},
        typed=False,
        on=on,
    )
    return set_levels(recording, 0, by, what, None, now)


def _file() -> bytes:
    """Text of the recording: time, two channels, the cue; each muscle in turn while the other stays nearly still."""
    rng = np.random.default_rng(SEED)
    asked = [(channel, level) for channel in (0, 1) for _ in range(REPETITIONS) for level in LEVELS]
    hold, late = round(HOLD_S * RATE_HZ), round(REACTION_S * RATE_HZ)
    n = len(asked) * hold
    strength, cue = np.full((n, 2), STRENGTHS_MV["rest"]), np.empty(n, int)
    for number, (channel, level) in enumerate(asked):
        held = STRENGTHS_MV[level] * np.exp(SPREAD_LN * rng.standard_normal())
        cue[number * hold : (number + 1) * hold] = LEVELS.index(level) + (10 * channel if level != "rest" else 0)
        acts = slice(number * hold + late, (number + 1) * hold + late)
        strength[acts, channel] = held
        strength[acts, 1 - channel] = np.maximum(strength[acts, 1 - channel], 0.12 * held)
    sos = signal.butter(2, (40, 150), "bandpass", fs=RATE_HZ, output="sos")  # about the spectrum of a surface signal
    noise = signal.sosfilt(sos, rng.standard_normal((n, 2)), axis=0)
    values = noise / noise.std(axis=0) * strength
    rows = zip(np.arange(n) / RATE_HZ, *values.T, cue, strict=True)
    return "\n".join(["time,first,second,cue", *(f"{t:.3f},{a:.5f},{b:.5f},{c}" for t, a, b, c in rows)]).encode()
