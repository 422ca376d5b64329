"""A socket as a set of capacities: the girth each station holds now, with every layer out, and beyond tolerance."""

import math
from dataclasses import dataclass
from datetime import date

from fitting.calc.errors import DoorpostError
from fitting.calc.tolerances import Tolerances

GIRTH_PER_RADIUS = 2 * math.pi  # a layer of t mm makes 2 pi t mm of girth


@dataclass(frozen=True)
class Layer:
    """A removable inner layer: its thickness [mm] and the day it was taken out, None while it is in."""

    thickness_mm: float
    out_on: date | None = None

    def __post_init__(self):
        if self.thickness_mm <= 0:
            raise DoorpostError("A layer must be thicker than zero.")


@dataclass(frozen=True)
class SocketStation:
    """One station of a socket.

    part: name of the same station in the outlook, such as "girth:60"
    design_girth_mm: inner girth with every layer in; girth_at_cast_mm: girth of the limb it was made from
    """

    part: str
    design_girth_mm: float
    girth_at_cast_mm: float


@dataclass(frozen=True)
class Socket:
    """The socket in use.

    made_on: day of the measurements it was made from
    end_gap_mm, end_gap_on: newest reading of the gap beyond the end of the limb, and its day
    forearm_length_mm: elbow-to-wrist length of the prosthesis, same landmarks as the sound side's
    """

    made_on: date
    fitted_on: date | None
    stations: tuple[SocketStation, ...]
    layers: tuple[Layer, ...] = ()
    end_gap_mm: float | None = None
    end_gap_on: date | None = None
    forearm_length_mm: float | None = None

    @property
    def layers_in(self) -> tuple[Layer, ...]:
        """Layers not yet taken out, in the order they come out."""
        return tuple(layer for layer in self.layers if layer.out_on is None)

    @property
    def thickness_out_mm(self) -> float:
        """Thickness of the layers already out [mm]."""
        return sum(layer.thickness_mm for layer in self.layers if layer.out_on is not None)


def held_girth_mm(station: SocketStation, thickness_out_mm: float) -> float:
    """Girth a station holds with layers of a total thickness out [mm]; never below the limb it was made tight on."""
    base_mm = max(station.design_girth_mm, station.girth_at_cast_mm)
    return base_mm + GIRTH_PER_RADIUS * thickness_out_mm


def capacity_now_mm(socket: Socket, station: SocketStation) -> float:
    """Girth a station holds with the layers as they are [mm]."""
    return held_girth_mm(station, socket.thickness_out_mm)


def full_capacity_mm(socket: Socket, station: SocketStation) -> float:
    """Girth a station holds with every layer out [mm]."""
    return held_girth_mm(station, sum(layer.thickness_mm for layer in socket.layers))


def tolerance_mm(capacity_mm: float, tolerances: Tolerances) -> float:
    """How far beyond its full capacity a station still serves [mm]: the smaller of percent and mm."""
    return min(capacity_mm * tolerances.girth_tolerance_percent / 100, tolerances.girth_tolerance_mm)


def outgrown_above_mm(socket: Socket, station: SocketStation, tolerances: Tolerances) -> float:
    """Girth above which a station is outgrown, every layer out [mm]."""
    full_mm = full_capacity_mm(socket, station)
    return full_mm + tolerance_mm(full_mm, tolerances)


def layer_due_above_mm(station: SocketStation, thickness_out_mm: float, tolerances: Tolerances) -> float:
    """Girth above which the next layer comes out, with layers of a total thickness out already [mm].

    A station made as tight as the limb or tighter is passed only when the limb has grown by the tolerance since cast;
    otherwise every snug socket would lose its layer on the first day.
    """
    snug_mm = station.girth_at_cast_mm + tolerance_mm(station.girth_at_cast_mm, tolerances)
    return max(station.design_girth_mm, snug_mm) + GIRTH_PER_RADIUS * thickness_out_mm


def length_limit_mm(forearm_length_mm: float, tolerances: Tolerances) -> float:
    """Sound forearm length above which the prosthesis is too short [mm]: the smaller of mm and percent beyond it."""
    excess_mm = min(tolerances.length_excess_mm, forearm_length_mm * tolerances.length_excess_percent / 100)
    return forearm_length_mm + excess_mm
