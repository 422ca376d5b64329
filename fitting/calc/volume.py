"""Limb volume from girths at stations. Only the change of volume between the same stations means anything."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fitting.calc.errors import DoorpostError

MM3_PER_ML = 1000.0
SAME_STATION_MM = 0.5  # stations are marked to the millimetre, common practice


@dataclass(frozen=True)
class GirthProfile:
    """Girths of one limb along its length, proximal first."""

    landmark: str
    stations_mm: tuple[float, ...]
    girths_mm: tuple[float, ...]

    def __post_init__(self):
        if len(self.stations_mm) != len(self.girths_mm):
            raise DoorpostError("Every station needs one girth.")
        if len(self.stations_mm) < 2:
            raise DoorpostError("A volume needs at least two stations.")
        if any(b <= a for a, b in zip(self.stations_mm, self.stations_mm[1:], strict=False)):
            raise DoorpostError("Stations must follow each other from proximal to distal.")


class StationsDifferError(DoorpostError):
    """Two volumes were asked to be compared that were not taken at the same stations."""


def frustum_ml(girth_mm: float, next_girth_mm: float, height_mm: float) -> float:
    """Volume [mL] of a cone frustum between two girths [mm]: h(C1^2 + C1 C2 + C2^2) / 12 pi."""
    area = girth_mm**2 + girth_mm * next_girth_mm + next_girth_mm**2
    return height_mm * area / (12 * math.pi) / MM3_PER_ML


def disc_ml(girth_mm: float, height_mm: float) -> float:
    """Volume [mL] of a disc of one girth [mm]: C^2 h / 4 pi."""
    return girth_mm**2 * height_mm / (4 * math.pi) / MM3_PER_ML


def end_cap_ml(girth_mm: float, depth_mm: float) -> float:
    """Volume [mL] of a half-ellipsoid end beyond the last girth: 2/3 pi r^2 d. Source: Jonkoping thesis 2003."""
    radius_mm = girth_mm / (2 * math.pi)
    return 2 / 3 * math.pi * radius_mm**2 * depth_mm / MM3_PER_ML


def frusta_ml(profile: GirthProfile) -> float:
    """Volume [mL] between the first and the last station, as frusta."""
    stations, girths = profile.stations_mm, profile.girths_mm
    return sum(frustum_ml(girths[i], girths[i + 1], stations[i + 1] - stations[i]) for i in range(len(stations) - 1))


def discs_ml(girths_mm: Sequence[float], height_mm: float) -> float:
    """Volume [mL] of equal discs, one to a girth [mm]."""
    return sum(disc_ml(girth_mm, height_mm) for girth_mm in girths_mm)


def change_percent(before: GirthProfile, after: GirthProfile) -> float:
    """Change of volume [%] between two visits at the same stations. Raises StationsDifferError otherwise."""
    if before.landmark != after.landmark or not _same(before.stations_mm, after.stations_mm):
        raise StationsDifferError("Volumes can be compared only when both visits used the same stations.")
    return 100 * (frusta_ml(after) / frusta_ml(before) - 1)


def _same(first: Sequence[float], second: Sequence[float]) -> bool:
    return len(first) == len(second) and all(abs(a - b) <= SAME_STATION_MM for a, b in zip(first, second, strict=True))
