"""Rows -> calc dataclasses: the only door between the records and the computation."""

import json
from collections import defaultdict
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import date, timedelta
from hashlib import sha256
from math import hypot

import numpy as np

from fitting.calc import capacity
from fitting.calc.declared_error import trusted_error_sd
from fitting.calc.errors import OutOfReference
from fitting.calc.followed import GIRTHS, Followed
from fitting.calc.limb import level_facts
from fitting.calc.lms import DAYS_PER_WEEK, TERM_WEEKS, lms_at, reference_age_months
from fitting.calc.maturity import Body, spurt_likely
from fitting.calc.outgrowth import LengthTrack, LimbFacts, LimbOutlooks
from fitting.calc.outlook import Observation, Outlook
from fitting.calc.parts import part_of, residual_girth_part
from fitting.calc.present_fit import FitFindings, FitVerdict, StationGirths, fit_verdict
from fitting.calc.promise import METHOD
from fitting.calc.references import lms_table
from fitting.calc.residual_growth import Plates
from fitting.calc.shapes import TABLES
from fitting.calc.tolerances import Tolerances
from fitting.calc.units import DAYS_PER_YEAR, MONTHS_PER_YEAR, age_years
from fitting.models import ClinicSettings, PresentFit, Reading, Socket, Visit
from patients.models import Limb

M = Reading.Measure
# The sound side's measure for each measure the references know.
SOUND_MEASURE = {
    "forearm_length": M.SOUND_FOREARM_LENGTH,
    "upper_arm_length": M.SOUND_UPPER_ARM_LENGTH,
    "hand_length": M.SOUND_HAND_LENGTH,
}
RESOLUTION_MM = {Visit.Instrument.TAPE_5MM: 5.0}  # a 1 mm mark adds nothing to a TEM of 2 mm
WANDER_SETTINGS = ("lambda_stature", "lambda_length", "lambda_girth")
ROW = 1  # raise when a promise stores more than before, so that `reforecast` makes the rows anew
UNIFORM_SD = 12**-0.5  # standard deviation of a rounding error, in steps of the resolution


@dataclass(frozen=True)
class LimbInputs:
    """Everything the promise of one limb is made from, and what to remember of it.

    followed: every series that can be looked ahead, by measure: "girth", the sound lengths, "stature"
    basis: what the promise rests on besides the readings, see basis_of
    """

    outlooks: LimbOutlooks
    followed: dict[str, Followed]
    socket: capacity.Socket | None
    fit: FitVerdict | None
    facts: LimbFacts
    tolerances: Tolerances
    socket_row: Socket | None
    newest_visit: Visit | None
    basis: str
    reading_ids: tuple[int, ...] = ()
    references: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())


def settings_of(clinic) -> ClinicSettings:
    """The clinic's settings row, or the defaults where it has none."""
    return ClinicSettings.objects.filter(clinic=clinic).first() or ClinicSettings(clinic=clinic)


def tolerances_of(settings: ClinicSettings) -> Tolerances:
    return Tolerances(**{f.name: getattr(settings, f.name) for f in fields(Tolerances)})


def basis_of(settings: ClinicSettings) -> str:
    """A short word for the method and the settings a promise rests on: another word, another promise."""
    numbers = [*asdict(tolerances_of(settings)).values(), *(getattr(settings, name) for name in WANDER_SETTINGS)]
    known = json.dumps([METHOD, ROW, [float(number) for number in numbers]])
    return sha256(known.encode()).hexdigest()[:12]


def part_name(level: str, landmark: str, station_mm: float) -> str:
    """Name of a girth station: its distance from the level's landmark, or from another landmark if that is named."""
    if landmark in ("", level_facts(level).station_landmark):
        return f"girth:{station_mm:g}"
    return f"girth:{landmark}:{station_mm:g}"


def limb_inputs(limb: Limb) -> LimbInputs:
    """Read one limb's records and put them as the computation takes them; as many queries for one visit as for ten."""
    child, settings = limb.child, settings_of(limb.child.clinic)
    declared = tolerances_of(settings)
    readings = _readings(limb)
    tolerances = trusted_tolerances(declared, readings)
    girths = _comparable_girths(limb, readings)
    body = {measure: _observations(child, readings, measure, tolerances) for measure in (M.STATURE, M.WEIGHT)}
    birth_on, corrected = _birth_date_to_use(child, readings)
    followed = _followed(limb, birth_on, girths, readings, body, settings, tolerances)
    outlooks = _outlooks(limb, followed)
    socket_row = (
        Socket.objects.in_use()
        .filter(limb=limb)
        .select_related("visit")
        .prefetch_related("stations", "layers")
        .order_by("-version")
        .first()
    )
    fits = _present_fits(socket_row)
    facts = _facts(limb, birth_on, girths, readings, body)
    return LimbInputs(
        outlooks=outlooks,
        followed={
            measure: one for measure, one in followed.items() if measure != GIRTHS or outlooks.girths is not None
        },
        socket=_socket(limb, socket_row, fits),
        fit=_verdict(limb, socket_row, fits, facts, readings, tolerances),
        facts=facts,
        tolerances=tolerances,
        socket_row=socket_row,
        newest_visit=max((r.visit for r in readings), key=lambda visit: visit.at, default=None),
        basis=basis_of(settings),
        reading_ids=tuple(sorted(reading.pk for reading in readings)),
        references=_references(outlooks),
        notes=_notes(corrected, tolerances != declared),
    )


def _notes(corrected, doubted):
    checks = {
        "corrected_age": corrected,
        "takes_differ": doubted,
    }
    return tuple(code for code, holds in checks.items() if holds)


def _readings(limb):
    """Readings of the child's body and of this limb that no correction has superseded, oldest first."""
    rows = Reading.objects.current().filter(visit__child=limb.child).select_related("visit").order_by("visit__at", "pk")
    return [row for row in rows if row.limb_id in (None, limb.pk)]


def _on(child, reading) -> date:
    return child.clinic.day_of(reading.visit.at)


def _comparable_girths(limb, readings):
    """Girth readings by station: like conditions as the newest ones, and none from before surgery."""
    rows = [r for r in readings if r.measure == M.GIRTH and r.station_mm is not None]
    if limb.acquired_on:
        rows = [r for r in rows if _on(limb.child, r) >= limb.acquired_on]
    stations = defaultdict(list)
    for row in sorted(rows, key=lambda row: row.station_mm):
        if row.visit.covering == rows[-1].visit.covering:
            stations[part_name(limb.level, row.landmark, row.station_mm)].append(row)
    return dict(stations)


def error_sd(reading: Reading, tolerances: Tolerances) -> float:
    """Standard deviation of one reading [mm or kg]."""
    return measure_error_sd(reading.measure, reading.visit.instrument, tolerances)


def measure_error_sd(measure: str, instrument: str, tolerances: Tolerances) -> float:
    """Standard deviation of one reading of a measure [mm or kg]: the TEM, and the instrument's rounding."""
    tem = getattr(tolerances, tem_name(measure))
    if measure == M.WEIGHT:
        return tem
    return hypot(tem, RESOLUTION_MM.get(instrument, 0) * UNIFORM_SD)


def tem_name(measure: str) -> str:
    """Name of the tolerance that holds the TEM of a measure."""
    if measure == M.WEIGHT:
        return "tem_weight_kg"
    if measure in (M.STATURE, M.SITTING_HEIGHT):
        return "tem_stature_mm"
    return "tem_girth_mm" if measure in Reading.GIRTH_MEASURES else "tem_length_mm"


def trusted_tolerances(tolerances: Tolerances, readings) -> Tolerances:
    """The clinic's tolerances, with a larger TEM wherever this child's own takes clearly show one."""
    differences = defaultdict(list)
    for reading in readings:
        if len(reading.takes) > 1:
            differences[tem_name(reading.measure)].append(reading.takes[0] - reading.takes[1])
    shown = {name: trusted_error_sd(getattr(tolerances, name), pairs) for name, pairs in differences.items()}
    return replace(tolerances, **shown)


def _observation(child, reading, tolerances):
    return Observation(_on(child, reading), reading.value, error_sd(reading, tolerances))


def _observations(child, readings, measure, tolerances):
    return tuple(_observation(child, r, tolerances) for r in readings if r.measure == measure)


def _birth_date_to_use(child, readings):
    """Birth date, or for a child born early and last seen under 24 months the day of a 40-week term."""
    newest = _on(child, readings[-1]) if readings else child.birth_date
    _, corrected = reference_age_months(child.birth_date, newest, child.gestation_weeks)
    early_weeks = TERM_WEEKS - child.gestation_weeks if corrected else 0
    return child.birth_date + timedelta(days=early_weeks * DAYS_PER_WEEK), corrected


def _followed(limb, birth_on, girths, readings, body, settings, tolerances):
    """Every series there are readings of, by measure."""
    child = limb.child
    stations = {part: tuple(_observation(child, r, tolerances) for r in rows) for part, rows in girths.items()}
    read = {name: {name: _observations(child, readings, m, tolerances)} for name, m in SOUND_MEASURE.items()}
    read |= {GIRTHS: stations, "stature": {"stature": body[M.STATURE]}}
    wanted = {GIRTHS, "forearm_length", "stature", level_facts(limb.level).segment_measure}
    wander = {GIRTHS: settings.lambda_girth, "stature": settings.lambda_stature}
    return {
        measure: Followed(
            measure=measure,
            readings=parts,
            sex=child.growth_reference,
            birth_date=birth_on,
            stature=() if measure == "stature" else body[M.STATURE],
            weight=body[M.WEIGHT] if measure == GIRTHS else (),
            wander_scale=wander.get(measure, settings.lambda_length),
        )
        for measure, parts in read.items()
        if measure in wanted and any(parts.values())
    }


def _outlooks(limb, followed):
    facts = level_facts(limb.level)
    tracks = {
        measure: _length_track(measure, followed) for measure in {facts.segment_measure, "forearm_length"} - {None}
    }
    girths = _within_reference(followed.get(GIRTHS)) if facts.girth_measure else None
    return LimbOutlooks(girths, tracks.get(facts.segment_measure), tracks["forearm_length"])


def _within_reference(followed: Followed | None) -> Outlook | None:
    """The outlook, or None where there is nothing to forecast from or the child's age has no reference."""
    try:
        return followed and followed.outlook()
    except OutOfReference:
        return None


def _length_track(measure, followed):
    """The sound side's length ahead; without a sound side, estimated from stature."""
    if measure in followed:
        outlook = _within_reference(followed[measure])
        return None if outlook is None else LengthTrack(outlook, measure)
    stature = followed.get("stature")
    outlook = _within_reference(stature)
    return None if outlook is None else _scaled_from_stature(outlook, stature, measure)


def _scaled_from_stature(outlook, stature, measure):
    segment = lms_table(part_of(measure).table)
    months = age_years(stature.birth_date, outlook.origin) * MONTHS_PER_YEAR
    ages = months + outlook.days_ahead * MONTHS_PER_YEAR / DAYS_PER_YEAR
    ages = np.clip(ages, segment.first_months, segment.last_months)
    _, segment_median, _ = lms_at(segment, stature.sex, ages)
    _, stature_median, _ = lms_at(lms_table(part_of("stature").table), stature.sex, ages)
    return LengthTrack(outlook, "stature", segment_median / stature_median, estimated=True)


def _facts(limb, birth_on, girths, readings, body):
    newest = {part: rows[-1] for part, rows in girths.items()}
    of_limb = [r for r in readings if r.limb_id == limb.pk]
    measured = list(newest.values()) or of_limb
    return LimbFacts(
        level=limb.level,
        birth_on=birth_on,
        last_measured_on=max((_on(limb.child, r) for r in measured), default=None),
        acquired_on=limb.acquired_on,
        in_spurt=_in_spurt(limb.child, body[M.STATURE]),
        plates=Plates(limb.proximal_plate_lost, limb.distal_plate_lost, _length_ratio(limb, readings)),
        girths_now_mm={part: row.value for part, row in newest.items()},
    )


def _in_spurt(child, stature):
    if not stature:
        return False
    newest = stature[-1]
    age = age_years(child.birth_date, newest.on)
    return spurt_likely(Body(child.growth_reference, age, newest.value / 10))


def _length_ratio(limb, readings):
    """Residual length over the sound side's same segment, newest of each; None when either is not known."""
    newest = {r.measure: r.value for r in readings}
    sound = newest.get(SOUND_MEASURE.get(level_facts(limb.level).segment_measure))
    residual = newest.get(M.RESIDUAL_LENGTH_BONY) or newest.get(M.RESIDUAL_LENGTH)
    return residual / sound if sound and residual else None


def _present_fits(socket_row):
    """Present fits of the socket in use that stand, newest first."""
    if socket_row is None:
        return []
    return list(
        PresentFit.objects.filter(socket=socket_row, superseded_by__isnull=True)
        .select_related("visit")
        .order_by("-visit__at", "-pk")[:2]
    )


def _socket(limb, row, fits):
    if row is None:
        return None
    gap_mm, gap_on = _end_gap(limb.child, row, fits)
    return capacity.Socket(
        made_on=_on_visit(limb.child, row.visit),
        fitted_on=row.fitted_on,
        stations=tuple(
            capacity.SocketStation(
                part_name(limb.level, station.landmark, station.station_mm),
                station.design_girth_mm,
                station.girth_at_cast_mm,
            )
            for station in row.stations.all()
        ),
        layers=tuple(capacity.Layer(layer.thickness_mm, layer.out_on) for layer in row.layers.all()),
        end_gap_mm=gap_mm,
        end_gap_on=gap_on,
        forearm_length_mm=row.forearm_length_mm,
    )


def station_capacities(row: Socket) -> list[tuple]:
    """Each station row of a socket with the girth it holds now and with every layer out [mm]."""
    socket = _socket(row.limb, row, fits=())
    return [
        (station_row, capacity.capacity_now_mm(socket, station), capacity.full_capacity_mm(socket, station))
        for station_row, station in zip(row.stations.all(), socket.stations, strict=True)
    ]


def _on_visit(child, visit):
    return child.clinic.day_of(visit.at)


def _end_gap(child, row, fits):
    """Newest end gap and its day: as designed, after a layer came out, or as read at a visit."""
    known = [(_on_visit(child, row.visit), row.end_gap_mm)]
    known += [(layer.out_on, layer.end_gap_after_mm) for layer in row.layers.all() if layer.out_on]
    known += [(_on_visit(child, fit.visit), fit.end_gap_mm) for fit in fits if fit.end_gap_mm is not None]
    on, gap_mm = max(known, key=lambda item: item[0])
    return gap_mm, on


FINDINGS = frozenset(f.name for f in fields(FitFindings)) & frozenset(f.name for f in PresentFit._meta.fields)


def _verdict(limb, socket_row, fits, facts, readings, tolerances):
    if not fits:
        return None
    newest, earlier = fits[0], fits[1] if len(fits) > 1 else None
    weights = [r for r in readings if r.measure == M.WEIGHT]
    findings = FitFindings(
        seen_on=_on_visit(limb.child, newest.visit),
        earlier_wear_hours_per_day=earlier.wear_hours_per_day if earlier else None,
        weight_kg=weights[-1].value if weights else None,
        weight_when_measured_kg=_weight_when_measured(limb, weights, facts.last_measured_on),
        **{name: getattr(newest, name) for name in FINDINGS},
    )
    girths = [
        StationGirths(facts.girths_now_mm[part], station.girth_at_cast_mm, station.design_girth_mm)
        for station in socket_row.stations.all()
        if (part := part_name(limb.level, station.landmark, station.station_mm)) in facts.girths_now_mm
    ]
    return fit_verdict(limb.level, findings, girths, tolerances)


def _weight_when_measured(limb, weights, last_measured_on):
    """Weight [kg] the limb's newest girths belong to; what was gained since then is not in them."""
    known = [r.value for r in weights if last_measured_on and _on(limb.child, r) <= last_measured_on]
    return known[-1] if known else None


def _references(outlooks):
    """Names of the reference tables behind the outlooks."""
    girths = [residual_girth_part()] if outlooks.girths is not None else []
    lengths = [part_of(track.part) for track in (outlooks.segment, outlooks.forearm) if track is not None]
    used = [table for part in girths + lengths for table in _tables(part)]
    return tuple(dict.fromkeys(used))


def _tables(part):
    return [part.table, *(TABLES[shape] for shape in part.shapes if shape in TABLES), "stature_template"]
