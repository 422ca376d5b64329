"""How fast a residual limb grows in length: the share of the sound segment's growth its remaining plates give."""

from dataclasses import dataclass

import numpy as np

from fitting.calc.errors import DoorpostError
from fitting.calc.limb import level_facts
from fitting.calc.references import growth_share_knots

# The plate each bone has shares for in the table; the other end of the bone has the rest.
TABLED_PLATE = {"humerus": "proximal", "ulna": "distal", "radius": "distal"}


@dataclass(frozen=True)
class Plates:
    """Which growth plates of the bone that ends are gone, and the limb's length ratio to the sound side [0-1]."""

    proximal_lost: bool = False
    distal_lost: bool = False
    length_ratio: float | None = None


def plate_share(bone: str, plate: str, age_years) -> np.ndarray:
    """Share of a bone's length growth that comes from one plate [0-1] at ages [years]; knots held at the ends.

    Source: Pritchett 1991 (table of growth plate shares); the untabled end is the complement.
    """
    tabled = TABLED_PLATE[bone]
    ages, shares = growth_share_knots(bone, tabled)
    share = np.interp(age_years, ages, shares)
    return share if plate == tabled else 1 - share


def has_growth_share(level: str, plates: Plates) -> bool:
    """Whether the residual limb's share of growth can be told."""
    facts = level_facts(level)
    if facts.segment_measure is None:
        return False
    if plates.proximal_lost or plates.distal_lost:
        return facts.bone is not None
    return facts.disarticulation or plates.length_ratio is not None


def growth_share(level: str, plates: Plates, age_years) -> np.ndarray:
    """Share of the sound segment's growth that a residual limb gains in length [0-1] at ages [years].

    A disarticulation keeps both plates: 1. With both plates present a short limb keeps its ratio. Otherwise the
    share of the plates kept. Raises DoorpostError when the ratio is needed and not known, or the level has no
    residual length.
    """
    facts = level_facts(level)
    ages = np.asarray(age_years, float)
    if facts.segment_measure is None:
        raise DoorpostError("This level has no residual length.")
    if not (plates.proximal_lost or plates.distal_lost):
        if facts.disarticulation:
            return np.ones_like(ages)
        if plates.length_ratio is None:
            raise DoorpostError("A short limb with its growth plates present needs both sides' lengths.")
        return np.full_like(ages, plates.length_ratio)
    if facts.bone is None:
        raise DoorpostError("The growth plates of a partial hand are not in the table.")
    kept = np.zeros_like(ages)
    if not plates.proximal_lost:
        kept = kept + plate_share(facts.bone, "proximal", ages)
    if not plates.distal_lost:
        kept = kept + plate_share(facts.bone, "distal", ages)
    return kept


def cumulative_share(share, segment_mm) -> np.ndarray:
    """Share of the segment's growth since the first day, the share changing with age: (T,) from (T,) each.

    Growth of the residual limb = cumulative share x growth of the sound segment, or of the one scaled from stature.

    share: at each day; segment_mm: expected length of the sound segment at each day. Without growth: the share.
    """
    share, segment_mm = np.asarray(share, float), np.asarray(segment_mm, float)
    steps = np.maximum(np.diff(segment_mm), 0)
    gained = np.concatenate([[0], np.cumsum(steps)])
    weighted = np.concatenate([[0], np.cumsum(steps * (share[1:] + share[:-1]) / 2)])
    return np.where(gained > 0, weighted / np.where(gained > 0, gained, 1), share)
