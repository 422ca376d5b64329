"""The limb with its electrode windows, where each site is to be looked for today."""

from collections.abc import Sequence

from fitting.calc.limb import level_facts
from fitting.drawings import LimbDrawing, StationMark, WindowMark, limb_drawing
from fitting.models import MuscleSite, Reading
from fitting.muscle_record import SiteRow, newest_length_mm
from patients.models import Limb

M = Reading.Measure
L = MuscleSite.Landmark
# Landmarks at about the height of the one that stations are measured from; for the drawing only, common practice.
SAME_HEIGHT = {
    "cubital_fold": frozenset({L.CUBITAL_FOLD, L.MEDIAL_EPICONDYLE, L.LATERAL_EPICONDYLE}),
    "axilla": frozenset({L.AXILLA}),
    "ulnar_styloid": frozenset({L.ULNAR_STYLOID}),
}


def site_drawing(limb: Limb, sites: Sequence[SiteRow]) -> LimbDrawing:
    """The limb to scale from its newest girths, with a numbered window for each site."""
    return limb_drawing(
        level=limb.level,
        side=limb.side,
        stations=_newest_girths(limb),
        residual_length_mm=newest_length_mm(limb),
        unit=limb.child.clinic.length_unit,
        windows=window_marks(limb, sites),
    )


def window_marks(limb: Limb, sites: Sequence[SiteRow]) -> list[WindowMark]:
    """Windows on the drawing; a site measured from another height stands in the table only."""
    alike = SAME_HEIGHT.get(level_facts(limb.level).station_landmark, frozenset())
    return [
        WindowMark(row.look_mm, row.number, str(row.site), row.retest) for row in sites if row.site.landmark in alike
    ]


def _newest_girths(limb):
    landmark = level_facts(limb.level).station_landmark
    rows = Reading.objects.current().filter(limb=limb, measure=M.GIRTH, landmark__in=("", landmark))
    newest = {row.station_mm: row.value for row in rows.order_by("visit__at", "pk")}
    return [StationMark(station_mm, girth_mm) for station_mm, girth_mm in newest.items() if station_mm is not None]
