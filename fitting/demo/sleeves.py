"""Sleeves over the invented sockets, in the program's own designs."""

from fitting.demo.limb_course import LimbCourse
from fitting.models import Reading, Sleeve, SleeveDesign
from fitting.services.sockets import make_sleeve
from patients.models import Limb

# A sleeve ends at the wrist of the hand unit and sits over the socket: picked for the demo.
SHORTER_THAN_FOREARM_MM = 10
WALL_GIRTH_MM = 12
WRIST_SHARE = 0.72
PARTIAL_HAND_LENGTH_MM = 110.0


def make_sleeves(course: LimbCourse, designs: list[SleeveDesign]):
    """One sleeve for every socket that was fitted; those of retired sockets are retired with them."""
    for worn in course.history:
        _make(course, worn.row, designs[course.rng.integers(len(designs))])


def _make(course, socket, design):
    socket.refresh_from_db()
    top_mm = _girth_over(socket)
    sleeve = Sleeve(
        limb=course.limb,
        design=design,
        length_mm=_length_mm(course.limb, socket),
        girth_proximal_mm=round(top_mm),
        girth_distal_mm=round(top_mm * WRIST_SHARE),
        magnets=design.magnets,
        made_on=socket.fitted_on,
        retired_on=socket.retired_on,
    )
    make_sleeve(sleeve, [socket])


def _length_mm(limb, socket):
    if limb.level == Limb.Level.PARTIAL_HAND:
        return PARTIAL_HAND_LENGTH_MM
    return round(socket.forearm_length_mm) - SHORTER_THAN_FOREARM_MM


def _girth_over(socket):
    """Girth of the socket's top from outside [mm]; by the wrist or arm read at its visit where it has no stations."""
    top = socket.stations.first()
    if top is not None:
        return top.design_girth_mm + WALL_GIRTH_MM
    return socket.visit.readings.get(measure=Reading.Measure.SOUND_UPPER_ARM_LENGTH).value * 0.75
