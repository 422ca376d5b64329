"""One invented limb with all a sheet shows: three visits, a socket with layers, a promise made from them."""

from datetime import date, timedelta

from fitting.bench.registry import AS_OF, make_member, noon
from fitting.models import Layer, Reading, Socket, SocketStation, Visit
from fitting.services.promises import repromise
from patients.case_numbers import case_number_of
from patients.models import Child, Limb

M = Reading.Measure
BIRTH = date(2018, 3, 14)
VISIT_DAYS = (360, 180, 0)  # before the day the sheets are printed
STATIONS_MM = {0: 180.0, 30: 174.0, 60: 166.0, 90: 150.0}  # girth at the first visit
BODY = {M.STATURE: 1250.0, M.WEIGHT: 25.0}
LENGTHS_MM = {M.RESIDUAL_LENGTH: 95.0, M.SOUND_FOREARM_LENGTH: 190.0}
GROWTH = 1.02  # from visit to visit
ALLOWANCE_MM, END_GAP_MM, FOREARM_MM = 6.0, 8.0, 195.0
LAYERS_MM = (1.2, 0.8)


def make_limb_record() -> Limb:
    """The limb, stored with everything and forecast."""
    member = make_member()
    child = Child.objects.create(
        case_serial=1,
        case_number=case_number_of(1),
        clinic=member.clinics.first(),
        given_name="Wren",
        family_name="Quill",
        birth_date=BIRTH,
        growth_reference=Child.GrowthReference.GIRLS,
    )
    limb = Limb.objects.create(child=child, side=Limb.Side.LEFT, level=Limb.Level.TRANSRADIAL, cause="transverse")
    visits = [_visit(limb, member, AS_OF - timedelta(days=days), GROWTH**k) for k, days in enumerate(VISIT_DAYS)]
    _socket(limb, visits[0])
    repromise(limb, AS_OF, "bench", noon(AS_OF), member)
    return limb


def _visit(limb, member, on, grown):
    visit = Visit.objects.create(child=limb.child, observer=member, at=noon(on), recorded_at=noon(on))
    of_limb = [(M.GIRTH, girth, limb, station) for station, girth in STATIONS_MM.items()]
    of_limb += [(measure, length, limb, None) for measure, length in LENGTHS_MM.items()]
    rows = of_limb + [(measure, value, None, None) for measure, value in BODY.items()]
    common = {"visit": visit, "recorded_by": member, "recorded_at": visit.at}
    Reading.objects.bulk_create(
        Reading(**common, measure=measure, value=value * grown, takes=[value * grown], limb=whose, station_mm=station)
        for measure, value, whose, station in rows
    )
    return visit


def _socket(limb, visit):
    day = visit.at.date()
    socket = Socket.objects.create(
        limb=limb,
        version=1,
        visit=visit,
        allowance_mm=ALLOWANCE_MM,
        end_gap_mm=END_GAP_MM,
        forearm_length_mm=FOREARM_MM,
        made_on=day,
        fitted_on=day,
        recorded_by=visit.observer,
        recorded_at=visit.at,
    )
    for station_mm, girth in STATIONS_MM.items():
        SocketStation.objects.create(
            socket=socket, station_mm=station_mm, girth_at_cast_mm=girth, design_girth_mm=girth + ALLOWANCE_MM
        )
    for number, thickness_mm in enumerate(LAYERS_MM, start=1):
        Layer.objects.create(socket=socket, number=number, thickness_mm=thickness_mm)
