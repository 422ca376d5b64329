"""Made-up outlooks with known growth and spread, for tests of what is done with an outlook."""

from datetime import date

import numpy as np

from fitting.calc.capacity import Layer, Socket, SocketStation
from fitting.calc.outgrowth import LengthTrack, LimbFacts, LimbOutlooks
from fitting.calc.outlook import Outlook
from fitting.calc.residual_growth import Plates
from fitting.calc.units import DAYS_PER_MONTH, DAYS_PER_YEAR

ORIGIN = date(2026, 1, 10)
BIRTH = date(2018, 3, 1)
MONTHS = 60
GIRTHS_MM = {"girth:0": 200.0, "girth:25": 190.0, "girth:50": 178.0, "girth:75": 165.0}


def outlook(sizes_mm, growth=0.04, shared=0.02, own=0.008, tempo=0.01, months=MONTHS, ends_at_table=False):
    """Outlook of parts that grow alike.

    sizes_mm: size of each part at the origin; growth: ln a year; shared, own: SD of ln size after a year that all parts
    share (growing with the root of time) and of each part alone; tempo: spread of growth between three tempo points.
    """
    days = np.arange(months + 1) * DAYS_PER_MONTH
    years = days / DAYS_PER_YEAR
    start = np.log(list(sizes_mm.values()))
    rates = growth + tempo * np.array([-1.0, 0.0, 1.0])
    mean = start[None, :, None] + rates[:, None, None] * years
    parts = len(start)
    covariance = shared**2 * years[:, None, None] * np.ones((parts, parts)) + own**2 * np.eye(parts)
    return Outlook(
        origin=ORIGIN,
        days_ahead=days,
        parts=tuple(sizes_mm),
        weights=np.array([0.25, 0.5, 0.25]),
        mean_ln=mean,
        cov_ln=np.broadcast_to(covariance, (3, *covariance.shape)).copy(),
        ends_at_table=ends_at_table,
        last_age_months=228.0,
    )


def forearm(length_mm=190.0, growth=0.045, **spread):
    return LengthTrack(outlook({"forearm_length": length_mm}, growth, **spread), "forearm_length")


def outlooks(girths=None, track=None):
    track = track or forearm()
    return LimbOutlooks(outlook(GIRTHS_MM) if girths is None else girths, track, track)


def socket(allowance_mm=6.0, layers=(), girths_mm=GIRTHS_MM, **facts):
    stations = tuple(SocketStation(part, girth + allowance_mm, girth) for part, girth in girths_mm.items())
    layers = tuple(layer if isinstance(layer, Layer) else Layer(layer) for layer in layers)
    known = {"fitted_on": ORIGIN, "end_gap_mm": 8.0, "end_gap_on": ORIGIN, "forearm_length_mm": 195.0} | facts
    return Socket(made_on=ORIGIN, stations=stations, layers=layers, **known)


def limb_facts(**changed):
    known = {
        "level": "transradial",
        "birth_on": BIRTH,
        "last_measured_on": ORIGIN,
        "plates": Plates(distal_lost=True, length_ratio=0.5),
        "girths_now_mm": GIRTHS_MM,
    }
    return LimbFacts(**(known | changed))
