"""When a socket's capacities are passed: per station, per layer, in length, and jointly."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from fitting.calc.capacity import (
    Socket,
    SocketStation,
    capacity_now_mm,
    full_capacity_mm,
    layer_due_above_mm,
    length_limit_mm,
    outgrown_above_mm,
)
from fitting.calc.crossing import (
    CHECK,
    EARLY,
    LATE,
    LIKELY,
    Curve,
    Dates,
    either,
    joint_curve,
    not_before,
    reach_dates,
    reach_day,
    summed,
)
from fitting.calc.outlook import Outlook, probability_above
from fitting.calc.residual_growth import Plates, cumulative_share, growth_share, has_growth_share
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import DAYS_PER_YEAR, age_years

END_GAP = "end_gap"


@dataclass(frozen=True)
class LengthTrack:
    """A sound-side length followed ahead through one part of an outlook: length = scale x size.

    scale: 1 for the sound side itself; for both limbs affected, the segment's median / the median of the part
    (stature) at each day, one number or (T,). estimated: True when scaled from stature.
    """

    outlook: Outlook
    part: str
    scale: float | np.ndarray = 1.0
    estimated: bool = False

    def expected_mm(self) -> np.ndarray:
        """Expected length at each day [mm], (T,)."""
        mean, _ = self.outlook.part_mixture(self.part)
        return self.scale * np.exp(self.outlook.weights @ mean)

    def curve_above(self, threshold_mm) -> Curve:
        """Probability that the length is above a threshold [mm], one number or (T,)."""
        probability = probability_above(self.outlook, self.part, threshold_mm / self.scale)
        return Curve(self.outlook.origin, self.outlook.days_ahead, probability)


@dataclass(frozen=True)
class LimbOutlooks:
    """What is known ahead of one limb; None where there are no readings or no reference.

    girths: the residual girth stations; segment: the sound side of the segment that ends (drives the residual length);
    forearm: the sound forearm (drives the prosthesis length)
    """

    girths: Outlook | None = None
    segment: LengthTrack | None = None
    forearm: LengthTrack | None = None


@dataclass(frozen=True)
class LimbFacts:
    """What the promise needs to know of a limb besides its outlook.

    girths_now_mm: newest girth of each station, by part; last_measured_on: day of the newest girths
    in_spurt: the height spurt is likely; plates: which growth plates are gone, and the length ratio
    """

    level: str
    birth_on: date
    last_measured_on: date | None
    acquired_on: date | None = None
    in_spurt: bool = False
    plates: Plates = Plates()
    girths_now_mm: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class RoomLeft:
    """One station: newest girth, what the socket holds now and with every layer out, and what is left [mm].

    comparable: whether the limb was measured at this very station; dates: when this station alone is outgrown
    """

    part: str
    girth_now_mm: float | None
    capacity_now_mm: float
    full_capacity_mm: float
    outgrown_above_mm: float
    room_now_mm: float | None
    room_full_mm: float | None
    comparable: bool
    dates: Dates


@dataclass(frozen=True)
class LayerDates:
    """When one more layer is due to come out: its place in the order, its thickness [mm] and the days."""

    order: int
    thickness_mm: float
    dates: Dates


@dataclass(frozen=True)
class Outgrowth:
    """When a socket is outgrown: joint dates, the 5 % day, and what is passed first."""

    dates: Dates = Dates()
    check_day: date | None = None
    limiting: str = ""
    layers: tuple[LayerDates, ...] = ()


def comparable_stations(outlooks: LimbOutlooks, socket: Socket) -> tuple[SocketStation, ...]:
    """Stations of the socket that the limb was measured at: the same distance from the same landmark."""
    parts = outlooks.girths.parts if outlooks.girths is not None else ()
    return tuple(station for station in socket.stations if station.part in parts)


def rooms_left(
    outlooks: LimbOutlooks, socket: Socket, facts: LimbFacts, tolerances: Tolerances, dated: bool
) -> tuple[RoomLeft, ...]:
    """Room left at each station of the socket; without dates when the limb may not be dated."""
    comparable = comparable_stations(outlooks, socket)
    return tuple(
        _room(outlooks, socket, station, facts, tolerances, station in comparable, dated) for station in socket.stations
    )


def _room(outlooks, socket, station, facts, tolerances, comparable, dated):
    girth_mm = facts.girths_now_mm.get(station.part)
    now_mm, full_mm = capacity_now_mm(socket, station), full_capacity_mm(socket, station)
    above_mm = outgrown_above_mm(socket, station, tolerances)
    dates = Dates()
    if comparable and dated:
        dates = reach_dates(_station_curve(outlooks.girths, station.part, above_mm))
    return RoomLeft(
        part=station.part,
        girth_now_mm=girth_mm,
        capacity_now_mm=now_mm,
        full_capacity_mm=full_mm,
        outgrown_above_mm=above_mm,
        room_now_mm=None if girth_mm is None else now_mm - girth_mm,
        room_full_mm=None if girth_mm is None else full_mm - girth_mm,
        comparable=comparable,
        dates=dates,
    )


def _station_curve(girths, part, threshold_mm):
    return Curve(girths.origin, girths.days_ahead, probability_above(girths, part, threshold_mm))


def outgrowth(outlooks: LimbOutlooks, socket: Socket, facts: LimbFacts, tolerances: Tolerances) -> Outgrowth | None:
    """When the socket is outgrown in girth or at its end; None when none of its stations, or nothing, can be followed.

    Girths among themselves share their drift. With the end gap the early date takes min(1, sum of P), likely and late
    the independent union, so the early date is never too late for what the two share.
    """
    stations = comparable_stations(outlooks, socket)
    if socket.stations and not stations:
        return None
    joint, singles = [], {}
    if stations:
        limits = {station.part: outgrown_above_mm(socket, station, tolerances) for station in stations}
        joint.append(joint_curve(outlooks.girths, limits))
        singles = {part: _station_curve(outlooks.girths, part, limit) for part, limit in limits.items()}
    gap = end_gap_curve(outlooks.segment, socket, facts, tolerances)
    if gap is not None:
        joint.append(gap)
        singles[END_GAP] = gap
    if not joint:
        return None
    bound, union = summed(joint), either(joint)
    early = reach_day(bound, EARLY)
    return Outgrowth(
        dates=Dates(early, reach_day(union, LIKELY), reach_day(union, LATE)),
        check_day=reach_day(bound, CHECK),
        limiting=_limiting(singles, bound, early),
        layers=layer_dates(outlooks.girths, stations, socket, tolerances),
    )


def _limiting(singles, bound, early):
    day = bound.days[-1] if early is None else (early - bound.origin).days
    at_day = {
        part: np.interp(day + (bound.origin - curve.origin).days, curve.days, curve.probability)
        for part, curve in singles.items()
    }
    return max(at_day, key=at_day.get)


def layer_dates(
    girths: Outlook | None, stations: tuple[SocketStation, ...], socket: Socket, tolerances: Tolerances
) -> tuple[LayerDates, ...]:
    """When each layer still in is due to come out, in order: any station above what it holds by then.

    Never before the day the socket was fitted: it was looked at with its layers in on that day.
    """
    if not stations:
        return ()
    out_mm, rows = socket.thickness_out_mm, []
    for order, layer in enumerate(socket.layers_in, start=1):
        limits = {station.part: layer_due_above_mm(station, out_mm, tolerances) for station in stations}
        dates = not_before(socket.fitted_on, reach_dates(joint_curve(girths, limits)))
        rows.append(LayerDates(order, layer.thickness_mm, dates))
        out_mm += layer.thickness_mm
    return tuple(rows)


def end_gap_curve(
    segment: LengthTrack | None, socket: Socket, facts: LimbFacts, tolerances: Tolerances
) -> Curve | None:
    """Probability that the residual limb has grown so far that the end gap is below its minimum.

    The residual gains its plates' share of the sound segment's growth since the gap was read.
    None when the gap, its day, the sound segment or the share is not known.
    """
    if segment is None or socket.end_gap_mm is None or socket.end_gap_on is None:
        return None
    if not has_growth_share(facts.level, facts.plates):
        return None
    days, expected_mm = segment.outlook.days_ahead, segment.expected_mm()
    spare_mm = socket.end_gap_mm - tolerances.end_gap_min_mm
    if spare_mm < 0:
        return Curve(segment.outlook.origin, days, np.ones(len(days)))
    ages = age_years(facts.birth_on, segment.outlook.origin) + days / DAYS_PER_YEAR
    share = cumulative_share(growth_share(facts.level, facts.plates, ages), expected_mm)
    start_mm = _length_on(days, expected_mm, (socket.end_gap_on - segment.outlook.origin).days)
    with np.errstate(divide="ignore"):
        limit_mm = start_mm + np.divide(spare_mm, share)
    return segment.curve_above(limit_mm)


def _length_on(days, expected_mm, day):
    """Expected length [mm] on a day; before the first one, back along the growth of the first year."""
    if day >= 0:
        return np.interp(day, days, expected_mm)
    year_mm = np.interp(DAYS_PER_YEAR, days, expected_mm) - expected_mm[0]
    return expected_mm[0] + day / min(DAYS_PER_YEAR, days[-1]) * year_mm


def too_short_dates(forearm: LengthTrack | None, socket: Socket, tolerances: Tolerances) -> Dates | None:
    """When the sound forearm is visibly longer than the prosthesis; a probability, never one reading."""
    if forearm is None or socket.forearm_length_mm is None:
        return None
    return reach_dates(forearm.curve_above(length_limit_mm(socket.forearm_length_mm, tolerances)))
