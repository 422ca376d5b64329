"""The forecast fan and the room left, from a stored forecast: geometry, words and the table beside each picture."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.translation import gettext as _

from fitting.calc.units import DAYS_PER_MONTH
from fitting.chart_axes import Picture, Scale, Tick, length_ticks, month_ticks, points, shown_number
from fitting.models import Forecast
from fitting.quantities import format_length
from fitting.wording import landmark_words, part_words, short_day_words

FAN_GROUND = {"width": 400.0, "height": 330.0, "left": 48.0, "right": 380.0, "top": 66.0, "bottom": 300.0}
ROOM_GROUND = {"width": 400.0, "height": 250.0, "left": 48.0, "right": 388.0, "top": 24.0, "bottom": 200.0}
LEFT, RIGHT = FAN_GROUND["left"], FAN_GROUND["right"]
MARK_ROWS = (16.0, 33.0, 50.0)  # one row for each word, so that labels never meet
LABEL_WIDTH, LABEL_GAP = 152.0, 5.0  # room for a mark's label beside its line
AFTER_LATE_DAYS, LEAST_AHEAD_DAYS = 90, 365
SHOWN_BEFORE_DAYS = 730  # readings older than this are left out of the picture
TABLE_EVERY_MONTHS = 3
BANDS = (("q2.5", "q97.5"), ("q10", "q90"), ("q25", "q75"))
Observed = tuple[date, float]  # a day and what was read on it [mm]


@dataclass(frozen=True)
class DateMark:
    """A pencil mark on the line of what the socket holds: where, in which row its label stands, and the label."""

    x: float
    label_x: float
    label_y: float
    anchor: str
    word: str
    day: str


@dataclass(frozen=True)
class Stroke:
    x: float
    y: float


@dataclass(frozen=True, kw_only=True)
class FanChart(Picture):
    bands: tuple[str, ...]
    median: str
    holds_y: float
    holds: str
    held: str
    marks: tuple[DateMark, ...]
    readings: tuple[Stroke, ...]
    today_x: float | None
    rows: tuple[dict, ...]


def fan_chart(forecast: Forecast, readings: Sequence[Observed], unit: str, as_of: date) -> FanChart | None:
    """The stored quantiles of the limiting girth, what the socket holds there, and the three dates as pencil marks.

    readings: what was read at that station, oldest first. None when no fan is stored.
    """
    fan = forecast.fan
    if not fan:
        return None
    days = [date.fromisoformat(fan["origin"]) + timedelta(days=ahead) for ahead in fan["days"]]
    shown = _days_shown(forecast, days, as_of)
    recent = [(day, mm) for day, mm in readings if (days[0] - day).days <= SHOWN_BEFORE_DAYS]
    x = Scale(min([days[0], *(day for day, _mm in recent)]).toordinal(), days[shown - 1].toordinal(), LEFT + 8, RIGHT)
    y = _girth_scale([*fan["q2.5"][:shown], *fan["q97.5"][:shown], *(mm for _day, mm in recent), fan["threshold_mm"]])
    at = [x.at(day.toordinal()) for day in days[:shown]]
    place, held_mm = part_words(fan["part"], forecast.limb.level, unit), _held_mm(forecast, fan)
    return FanChart(
        uid=f"fan-{forecast.pk}",
        title=_("Forecast of %(place)s") % {"place": place},
        desc=_fan_words(forecast, fan, shown - 1, unit),
        bands=tuple(_band(fan, low, high, at, y, shown) for low, high in BANDS),
        median=points(zip(at, map(y.at, fan["q50"][:shown]), strict=True)),
        holds_y=y.at(fan["threshold_mm"]),
        holds=_("outgrown above %(size)s") % {"size": format_length(fan["threshold_mm"], unit)},
        held="" if held_mm is None else _("holds %(size)s") % {"size": format_length(held_mm, unit)},
        marks=tuple(_date_marks(forecast, x)),
        readings=tuple(Stroke(x.at(day.toordinal()), y.at(mm)) for day, mm in recent),
        today_x=x.at(as_of.toordinal()) if x.low <= as_of.toordinal() <= x.high else None,
        y_ticks=length_ticks(y, unit),
        x_ticks=month_ticks(x),
        unit=unit,
        rows=tuple(_fan_rows(fan, days, unit)),
        **FAN_GROUND,
    )


def _days_shown(forecast, days, as_of):
    """How many of the fan's days are drawn: to a while after the last date, at least a year ahead."""
    last = max(day for day in (forecast.late, forecast.likely, forecast.early, as_of) if day)
    until = max(last + timedelta(days=AFTER_LATE_DAYS), days[0] + timedelta(days=LEAST_AHEAD_DAYS))
    return max(2, min(len(days), sum(day <= until for day in days) + 1))


def _girth_scale(sizes_mm):
    low, high = min(sizes_mm), max(sizes_mm)
    spare = max((high - low) * 0.06, 1.0)
    return Scale(low - spare, high + spare, FAN_GROUND["bottom"], FAN_GROUND["top"])


def _band(fan, low, high, at, y, shown):
    there = zip(at, map(y.at, fan[high][:shown]), strict=True)
    back = zip(reversed(at), map(y.at, reversed(fan[low][:shown])), strict=True)
    return points([*there, *back])


def _date_marks(forecast, x):
    """Marks whose labels stand on one side of their lines, in rows that no other line passes through."""
    words = (_("early"), forecast.early), (_("likely"), forecast.likely), (_("late"), forecast.late)
    dated = [(word, day) for word, day in words if day and x.low <= day.toordinal() <= x.high]
    places = [x.at(day.toordinal()) for _word, day in dated]
    before = bool(places) and places[0] - LEFT >= LABEL_WIDTH
    rows = reversed(MARK_ROWS[: len(places)]) if before else MARK_ROWS
    for (word, day), place, row_y in zip(dated, places, rows, strict=False):
        label_x = place - LABEL_GAP if before else min(place + LABEL_GAP, FAN_GROUND["width"] - LABEL_WIDTH)
        yield DateMark(place, label_x, row_y, "end" if before else "start", word, short_day_words(day))


def _held_mm(forecast, fan):
    """What the socket holds at the fan's station with every layer out; None in a row that does not say."""
    return next((room["full_mm"] for room in forecast.room if room["part"] == fan["part"]), None)


def _fan_words(forecast, fan, last, unit):
    words = {
        "now": format_length(fan["q50"][0], unit),
        "ahead": format_length(fan["q50"][last], unit),
        "low": format_length(fan["q10"][last], unit),
        "high": format_length(fan["q90"][last], unit),
        "months": round(fan["days"][last] / DAYS_PER_MONTH),
    }
    ahead = _(
        "Estimated size at the last reading about %(now)s; in %(months)s months likely %(ahead)s, eight times in ten "
        "between %(low)s and %(high)s."
    )
    return " ".join((ahead % words, _limits_in_words(_held_mm(forecast, fan), fan["threshold_mm"], unit)))


def _limits_in_words(held_mm, above_mm, unit):
    above = format_length(above_mm, unit)
    if held_mm is None:
        return _("The socket is outgrown here above %(holds)s.") % {"holds": above}
    words = {"held": format_length(held_mm, unit), "above": above, "tolerance": format_length(above_mm - held_mm, unit)}
    return (
        _(
            "With every layer out the socket holds %(held)s here; it counts as outgrown above %(above)s, a tolerance "
            "of %(tolerance)s more."
        )
        % words
    )


def _fan_rows(fan, days, unit):
    for i in range(0, len(days), TABLE_EVERY_MONTHS):
        sizes = {
            name: format_length(fan[key][i], unit) for name, key in (("low", "q10"), ("mid", "q50"), ("high", "q90"))
        }
        yield {"day": days[i], **sizes}


@dataclass(frozen=True)
class RoomBar:
    """One station: a post from what is left now to what the layers give, negative when passed already."""

    x: float
    width: float
    top: float
    height: float
    over: bool
    layer_top: float
    layer_height: float
    value: str
    value_y: float
    full: str
    full_y: float
    station: str

    @property
    def middle(self) -> float:
        return round(self.x + self.width / 2, 1)


@dataclass(frozen=True, kw_only=True)
class RoomChart(Picture):
    bars: tuple[RoomBar, ...]
    zero_y: float
    landmark: str
    has_layers: bool
    has_over: bool


BAR_SHARE, WIDEST_BAR = 0.62, 46.0
LEAST_SPAN_MM = 8.0
LABEL_RISE = 5.0


def room_chart(forecast: Forecast, unit: str) -> RoomChart | None:
    """Room left at each measured station now and with every layer out. None when no station was measured."""
    rooms = [room for room in forecast.room if room["room_mm"] is not None]
    if not rooms:
        return None
    full = [room["full_mm"] - room["girth_mm"] for room in rooms]
    y = _room_scale([room["room_mm"] for room in rooms] + full)
    step = (RIGHT - LEFT - 8) / len(rooms)
    tightest = min(rooms, key=lambda room: room["room_mm"])
    bars = tuple(
        _bar(room, most, LEFT + 8 + step * (place + 0.5), step, y, unit)
        for place, (room, most) in enumerate(zip(rooms, full, strict=True))
    )
    return RoomChart(
        uid=f"room-{forecast.pk}",
        title=_("Room left at each station"),
        desc=_room_words(tightest, unit),
        bars=bars,
        zero_y=y.at(0),
        y_ticks=length_ticks(y, unit, about=4),
        x_ticks=[Tick(bar.middle, bar.station) for bar in bars],
        unit=unit,
        landmark=landmark_words(forecast.limb.level),
        has_over=any(bar.over for bar in bars),
        has_layers=any(room["full_mm"] > room["capacity_mm"] for room in rooms),
        **ROOM_GROUND,
    )


def _room_words(room, unit):
    """The tightest station: what is left to what the socket holds as worn, and its limit with every layer out."""
    words = {
        "station": format_length(room["station_mm"], unit),
        "size": format_length(room["room_mm"], unit),
        "held": format_length(room["capacity_mm"], unit),
    }
    least = _("Least at the station %(station)s: %(size)s, counted to the %(held)s the socket holds as worn.") % words
    above_mm = room.get("outgrown_above_mm")
    if above_mm is None:
        return least
    return " ".join((least, _limits_in_words(room["full_mm"], above_mm, unit)))


def _room_scale(rooms_mm):
    low, high = min(0.0, *rooms_mm), max(LEAST_SPAN_MM, *rooms_mm)
    spare = (high - low) * 0.08
    return Scale(low - (spare if low < 0 else 0), high + spare, ROOM_GROUND["bottom"], ROOM_GROUND["top"])


def _bar(room, most_mm, middle, step, y, unit):
    now_mm, width = room["room_mm"], min(step * BAR_SHARE, WIDEST_BAR)
    top, bottom = sorted((y.at(now_mm), y.at(0)))
    layer_top = y.at(max(most_mm, now_mm))
    return RoomBar(
        x=round(middle - width / 2, 1),
        width=round(width, 1),
        top=top,
        height=round(bottom - top, 1),
        over=now_mm < 0,
        layer_top=layer_top,
        layer_height=round(y.at(now_mm) - layer_top, 1),
        value=format_length(now_mm, unit),
        value_y=top - LABEL_RISE,
        full=format_length(most_mm, unit) if room["full_mm"] > room["capacity_mm"] else "",
        full_y=min(layer_top - LABEL_RISE, top - 3 * LABEL_RISE),
        station=shown_number(room["station_mm"], unit),
    )
