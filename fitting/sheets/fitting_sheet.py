"""The fitting sheet for the workshop and the prosthetist: whose limb, readings, socket, promise, checks."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Sum
from django.utils.formats import number_format
from django.utils.translation import gettext as _

from fitting.calc.capacity import GIRTH_PER_RADIUS, held_girth_mm
from fitting.calc.limb import level_facts
from fitting.calc.plan_days import YOUNG_UNDER_YEARS
from fitting.calc.units import age_years
from fitting.drawings import LimbDrawing, StationMark, limb_drawing
from fitting.models import Forecast, Sleeve, Socket, SocketStation
from fitting.quantities import format_length
from fitting.sheets.muscle_card import MuscleCard, SiteLine, muscle_cards, sheet_windows, site_lines
from fitting.sheets.readings import M, Place, Records, Row, records_of, row_of
from fitting.sheets.render import sheet_pdf
from fitting.sheets.wear_advice import waits_for_fit
from fitting.wording import UNDATED, age_words, day_words, finding_words, findings_of, next_step, note_sentences, why
from patients.models import Limb

TEMPLATE = "fitting/sheets/fitting_sheet.html"


class NotPrintableError(Exception):
    """The sheet is refused; the text says why and what to do."""


class NothingMeasuredError(NotPrintableError):
    """There is no reading of this limb."""


class StaleDataError(NotPrintableError):
    """The readings are older than the clinic's limits and no reason was given."""


@dataclass(frozen=True)
class Design:
    """The socket's inner girth at a station in words: every layer in, as it is now, every layer out."""

    design: str
    holds_now: str
    holds_full: str


@dataclass(frozen=True)
class StationRow:
    """One station: its readings, and the socket's girths there, None where the socket has no such station."""

    row: Row
    design: Design | None


@dataclass(frozen=True)
class LayerRow:
    """One removable layer in words."""

    number: int
    thickness: str
    makes_room: str
    state: str


@dataclass(frozen=True)
class SocketWords:
    """The socket the sheet is for."""

    socket: Socket
    made_from_on: date
    allowance: str
    end_gap: str
    forearm_length: str
    layers: tuple[LayerRow, ...]


@dataclass(frozen=True)
class Promise:
    """The stored forecast in words.

    present_fit: what was found, set when every date waits for it
    other_socket: set when the forecast is about another socket than the sheet's
    """

    forecast: Forecast
    present_fit: str
    why: str
    next_step: str
    notes: tuple[str, ...]
    other_socket: str


@dataclass(frozen=True)
class FittingSheet:
    """What stands on a fitting sheet. `stale`: why the data are too old; `reason`: why it is printed all the same."""

    limb: Limb
    printed_on: date
    age: str
    measured_on: date
    before_on: date | None
    drawing: LimbDrawing
    stations: tuple[StationRow, ...]
    others: tuple[Row, ...]
    socket: SocketWords | None
    promise: Promise | None
    muscle_sites: tuple[SiteLine, ...]
    muscle_cards: tuple[MuscleCard, ...]
    magnets: int
    mark_limit_minutes: int
    stale: tuple[str, ...]
    reason: str


def print_fitting_sheet(limb: Limb, as_of: date, paper: str, reason: str = "") -> bytes:
    """PDF of the fitting sheet in the active language. Raises as `fitting_sheet` does."""
    return sheet_pdf(TEMPLATE, fitting_sheet(limb, as_of, reason), paper)


def fitting_sheet(limb: Limb, as_of: date, reason: str = "") -> FittingSheet:
    """What stands on the fitting sheet of a limb, in the active language.

    Raises NothingMeasuredError, or StaleDataError when the data are stale and no reason is given.
    """
    records, forecast = records_of(limb), current_forecast(limb)
    stale = _stale(records, forecast, as_of)
    _refuse(records, stale, reason)
    return FittingSheet(
        limb=limb,
        printed_on=as_of,
        age=age_words(limb.child.birth_date, as_of),
        measured_on=records.measured_on,
        before_on=records.before_on,
        drawing=drawing_of(records),
        stations=_station_rows(records),
        others=tuple(row_of(place, records) for place in records.places if place not in records.stations),
        socket=_socket_words(records),
        promise=_promise(forecast, records, as_of),
        muscle_sites=tuple(site_lines(limb)),
        muscle_cards=tuple(muscle_cards(limb)),
        magnets=Sleeve.objects.filter(limb=limb, retired_on__isnull=True).aggregate(n=Sum("magnets"))["n"] or 0,
        mark_limit_minutes=round(records.tolerances.mark_limit_minutes),
        stale=stale,
        reason=reason.strip() if stale else "",
    )


def current_forecast(limb: Limb) -> Forecast | None:
    """The newest promise of a limb."""
    return Forecast.objects.filter(current_for__limb=limb).select_related("limb", "socket").first()


def staleness(limb: Limb, as_of: date) -> tuple[str, ...]:
    """Sentences that say why the data of a limb are too old to print without a reason; empty when they are fresh."""
    return _stale(records_of(limb), current_forecast(limb), as_of)


def drawing_of(records: Records) -> LimbDrawing:
    """The limb to scale, with the girths measured from its level's own landmark."""
    landmark = level_facts(records.limb.level).station_landmark
    return limb_drawing(
        level=records.limb.level,
        side=records.limb.side,
        stations=[
            StationMark(place.station_mm, place.now.value)
            for place in records.stations
            if place.landmark in ("", landmark)
        ],
        residual_length_mm=records.newest(M.RESIDUAL_LENGTH, M.RESIDUAL_LENGTH_BONY),
        unit=records.unit,
        windows=sheet_windows(records.limb),
    )


def _refuse(records, stale, reason):
    if records.measured_on is None:
        raise NothingMeasuredError(_("Nothing has been measured on this limb yet. Record a visit first."))
    if stale and not reason.strip():
        raise StaleDataError(" ".join((*stale, _("Measure again, or say why the sheet is printed all the same."))))


def _stale(records, forecast, as_of) -> tuple[str, ...]:
    """The promise's remeasure day is past, or a socket not yet fitted was designed from readings beyond the limit."""
    sentences = []
    if forecast and forecast.remeasure_by and forecast.remeasure_by < as_of and records.measured_on:
        sentence = _("The newest readings are of %(day)s; they were to be renewed by %(by)s.")
        words = {"day": day_words(records.measured_on), "by": day_words(forecast.remeasure_by)}
        sentences.append(sentence % words)
    cast_on = _waiting_since(records)
    if cast_on and cast_on + timedelta(days=_limit_days(records, cast_on)) < as_of:
        sentence = _("Socket %(version)s was designed from readings of %(day)s and is not fitted yet.")
        sentences.append(sentence % {"version": records.socket.version, "day": day_words(cast_on)})
    return tuple(sentences)


def _waiting_since(records) -> date | None:
    """Day of the visit a socket was made from, while it is not fitted."""
    socket = records.socket
    return None if socket is None or socket.fitted_on else records.day_of(socket.visit)


def _limit_days(records, measured_on) -> int:
    young = age_years(records.limb.child.birth_date, measured_on) < YOUNG_UNDER_YEARS
    return records.tolerances.remeasure_days_young if young else records.tolerances.remeasure_days


def _station_rows(records) -> tuple[StationRow, ...]:
    """Stations measured and stations of the socket, one row each, from the landmark outwards."""
    places = {records.part(place.landmark, place.station_mm): place for place in records.stations}
    rows = records.socket.stations.all() if records.socket else ()
    designed = {records.part(row.landmark, row.station_mm): row for row in rows}
    parts = sorted(places | designed, key=lambda part: (part.count(":"), float(part.rpartition(":")[2])))
    return tuple(_station_row(places.get(part), designed.get(part), records) for part in parts)


def _station_row(place: Place | None, station: SocketStation | None, records) -> StationRow:
    if station is None:
        return StationRow(row_of(place, records), None)
    place = place or Place(M.GIRTH, station.landmark, station.station_mm)
    return StationRow(row_of(place, records, station.girth_at_cast_mm), _design(station, records))


def _design(station, records) -> Design:
    layers = records.socket.layers.all()
    out_mm = sum(layer.thickness_mm for layer in layers if layer.out_on)
    all_mm = sum(layer.thickness_mm for layer in layers)
    girths = (station.design_girth_mm, held_girth_mm(station, out_mm), held_girth_mm(station, all_mm))
    return Design(*(format_length(girth_mm, records.unit) for girth_mm in girths))


def _socket_words(records) -> SocketWords | None:
    socket, unit = records.socket, records.unit
    if socket is None:
        return None
    return SocketWords(
        socket=socket,
        made_from_on=records.day_of(socket.visit),
        allowance=format_length(socket.allowance_mm, unit),
        end_gap=format_length(socket.end_gap_mm, unit),
        forearm_length="" if socket.forearm_length_mm is None else format_length(socket.forearm_length_mm, unit),
        layers=tuple(_layer_row(layer, unit) for layer in socket.layers.all()),
    )


def _layer_row(layer, unit) -> LayerRow:
    state = _("in")
    if layer.out_on:
        words = {"day": day_words(layer.out_on), "gap": format_length(layer.end_gap_after_mm, unit)}
        state = _("out on %(day)s, end gap then %(gap)s") % words
    return LayerRow(
        number=layer.number,
        thickness=_("%(mm)s mm") % {"mm": number_format(layer.thickness_mm, 1)},
        makes_room=format_length(GIRTH_PER_RADIUS * layer.thickness_mm, unit),
        state=state,
    )


def _promise(forecast, records, as_of) -> Promise | None:
    if forecast is None:
        return None
    return Promise(
        forecast=forecast,
        present_fit=_present_fit(forecast) if waits_for_fit(forecast, as_of) else "",
        why=why(forecast, records.unit, as_of),
        next_step=next_step(forecast, as_of),
        notes=tuple(note_sentences(forecast)),
        other_socket=_other_socket(forecast, records),
    )


def _present_fit(forecast) -> str:
    found = findings_of(forecast)
    if not found:
        return str(UNDATED[Forecast.State.FIT_PROBLEM])
    return _("Present fit, seen at the last visit: %(findings)s.") % {"findings": finding_words(found)}


def _other_socket(forecast, records) -> str:
    if records.socket is None or forecast.socket_id == records.socket.pk:
        return ""
    if forecast.socket is None:
        return _("The forecast was made before this socket: no socket was in use.")
    words = {"used": forecast.socket.version, "made": records.socket.version}
    return _("These dates are of socket %(used)s, in use now; the design above is of socket %(made)s.") % words
