"""What a muscle recording is: time, one or two channels, and what was asked of the person and when."""

from dataclasses import dataclass, replace

import numpy as np

from fitting.calc.errors import DoorpostError

REST, LIGHT, MEDIUM, HARD = "rest", "light", "medium", "hard"
LEVELS = (REST, LIGHT, MEDIUM, HARD)  # in the order of strength

UNITS_MV = {"uV": 1e-3, "mV": 1.0, "V": 1e3}
COUNTS = "counts"  # steps of an analogue-digital converter

# Time for reaction and for the trailing window to fill, left out of a hold at both ends, common practice.
TRIM_START_S, TRIM_END_S = 0.5, 0.25
LONGEST_TRIM_START, LONGEST_TRIM_END = 1 / 4, 1 / 8  # of the cue
SHORTEST_CUE_S = 0.25  # common practice
INSIDE_SHARE = 0.9  # of a cue's samples must be there for it to count
LONE_HOLD_PARTS = 3  # a level held once only is cut into this many parts to have something to leave out


@dataclass(frozen=True)
class Recording:
    """Samples as they stand in the file.

    time_s: shape (n,) [s]; values: shape (n, channels) in `unit`; unit: uV, mV, V or counts; mv_per_count: gain of the
    converter [mV per step], None when it is not known (levels are then in steps).
    """

    time_s: np.ndarray
    values: np.ndarray
    unit: str = "mV"
    mv_per_count: float | None = None

    @property
    def channels(self) -> int:
        return self.values.shape[1]

    @property
    def rate_hz(self) -> float:
        """Sampling rate from the median step [Hz]."""
        return float(1 / np.median(np.diff(self.time_s)))

    @property
    def duration_s(self) -> float:
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def scale(self) -> float:
        """Factor from the file's numbers to mV, or 1 for steps of unknown gain."""
        return (self.mv_per_count or 1.0) if self.unit == COUNTS else UNITS_MV[self.unit]

    @property
    def shown_unit(self) -> str:
        """Unit of every level computed from this recording: mV, or counts where the gain is not known."""
        return COUNTS if self.unit == COUNTS and self.mv_per_count is None else "mV"


@dataclass(frozen=True)
class Cue:
    """What the person was asked to do: level from start to end [s], with the muscle under `channel` (0 or 1)."""

    level: str
    start_s: float
    end_s: float
    channel: int = 0


@dataclass(frozen=True)
class Hold:
    """The steady part of one cue [s]; repetition counts the holds of its level from 0."""

    level: str
    repetition: int
    start_s: float
    end_s: float
    cue_start_s: float


def check_recording(recording: Recording) -> None:
    """Raises DoorpostError for a shape, unit or gain nothing can be computed from."""
    time, values = recording.time_s, recording.values
    if time.ndim != 1 or values.ndim != 2 or len(time) != len(values) or values.shape[1] not in (1, 2):
        raise DoorpostError("A recording has one time and one or two channels a sample.")
    if len(time) < 2:
        raise DoorpostError("A recording needs at least two samples.")
    if recording.unit != COUNTS and recording.unit not in UNITS_MV:
        raise DoorpostError(f"{recording.unit!r} is not a unit of a recording: use uV, mV, V or counts.")
    if recording.mv_per_count is not None and recording.mv_per_count <= 0:
        raise DoorpostError("The gain must be above 0 mV a step.")


def check_cues(cues, channels: int) -> None:
    """Raises DoorpostError for a cue that is not one."""
    for cue in cues:
        if cue.level not in LEVELS:
            raise DoorpostError(f"{cue.level!r} is not a level: use rest, light, medium or hard.")
        if not cue.start_s < cue.end_s:
            raise DoorpostError(f"The cue at {cue.start_s:g} s does not end after it starts.")
        if cue.end_s - cue.start_s < SHORTEST_CUE_S:
            raise DoorpostError(f"The cue at {cue.start_s:g} s is shorter than {SHORTEST_CUE_S:g} s.")
        if not 0 <= cue.channel < channels:
            raise DoorpostError(f"The cue at {cue.start_s:g} s names a channel the recording does not have.")


def is_inside(cue: Cue, recording: Recording) -> bool:
    """Whether the recording has the samples of a cue: it neither ends before the cue nor has a gap there."""
    samples = samples_of(recording.time_s, cue.start_s, cue.end_s)
    return bool(samples.stop - samples.start >= INSIDE_SHARE * (cue.end_s - cue.start_s) * recording.rate_hz)


def holds_of(cues, channel: int) -> tuple[Hold, ...]:
    """Steady parts of the cues meant for a channel, in time order; rest is meant for every channel.

    A level held once is cut into three parts, so that each level has a repetition to leave out.
    """
    meant = sorted((cue for cue in cues if cue.channel == channel or cue.level == REST), key=lambda cue: cue.start_s)
    holds = []
    for level in LEVELS:
        steady = [_steady(cue) for cue in meant if cue.level == level]
        if len(steady) == 1:
            steady = _parts(steady[0])
        holds += [replace(hold, repetition=number) for number, hold in enumerate(steady)]
    return tuple(sorted(holds, key=lambda hold: hold.start_s))


def _steady(cue: Cue) -> Hold:
    length_s = cue.end_s - cue.start_s
    start_s = cue.start_s + min(TRIM_START_S, length_s * LONGEST_TRIM_START)
    end_s = cue.end_s - min(TRIM_END_S, length_s * LONGEST_TRIM_END)
    return Hold(cue.level, 0, start_s, end_s, cue.start_s)


def _parts(hold: Hold) -> list[Hold]:
    edges = np.linspace(hold.start_s, hold.end_s, LONE_HOLD_PARTS + 1)
    return [replace(hold, start_s=float(a), end_s=float(b)) for a, b in zip(edges, edges[1:], strict=False)]


def samples_of(time_s: np.ndarray, start_s: float, end_s: float) -> slice:
    """Samples with start <= time < end, for times in order [s]."""
    return slice(*np.searchsorted(time_s, (start_s, end_s)))
