"""The drawing of a limb: to scale from its readings, proximal end up, on the child's own side, stations marked."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from fitting.calc.limb import level_facts
from fitting.landmarks import landmark_word
from fitting.limb_outlines import TRUNK_LEVELS, Outline, body_figure, outline
from fitting.quantities import format_length
from patients.models import Limb

WIDTH, HEIGHT = 400.0, 520.0
TOP, BOTTOM = 84.0, 56.0  # room for the side above and the scale below
LABELS = 152.0  # room for girths and distances beside the rule
EDGE, RULE = 12.0, 14.0
WINDOW = (20.0, 16.0)  # of an electrode, an emblem and not to scale
MOST_PER_MM = 2.6  # a small limb is not drawn larger than this
SCALE_WORDS = 52.0  # room for the words beside the scale
LABEL_GAP = 17.0  # least distance of two labels
SAME_STATION_MM = 0.05
TICKS_MM = {"mm": (10.0, 5), "cm": (10.0, 5), "in": (12.7, 2)}  # one tick, ticks to a long one
SCALE_BAR_MM = {"mm": 50.0, "cm": 50.0, "in": 50.8}


@dataclass(frozen=True)
class StationMark:
    """A station: distance from the landmark and girth there [mm]; `label` replaces the distance's words."""

    station_mm: float
    girth_mm: float | None = None
    label: str = ""


@dataclass(frozen=True)
class WindowMark:
    """An electrode's window in the socket: distance from the landmark [mm], its number, and whether to retest."""

    station_mm: float
    number: int
    words: str
    retest: bool


@dataclass(frozen=True)
class WindowDrawn:
    """A window in drawing units, by its upper left corner."""

    x: float
    y: float
    number: int
    retest: bool


@dataclass(frozen=True)
class StationDrawn:
    """One pencil mark: the tape round the limb, the leader and its words."""

    key: str
    tape: str
    leader: str
    text_y: float
    distance: str
    girth: str
    lit: bool


@dataclass(frozen=True)
class Tick:
    y: float
    length: float


@dataclass(frozen=True)
class Scale:
    """The bar that says how long a length is on the drawing."""

    x: float
    length: float
    text_x: float
    label: str


@dataclass(frozen=True)
class Places:
    """Where things stand across the drawing; `outward` is -1 when the rule is on the reader's left."""

    outward: int
    edge_x: float
    rule_x: float
    girth_x: float
    midline_x: float
    figure_x: float
    outer_anchor: str
    inner_anchor: str


@dataclass(frozen=True)
class LimbDrawing:
    """Everything the SVG template needs; lengths in drawing units unless they say mm."""

    uid: str
    title: str
    desc: str
    side_word: str
    level_word: str
    landmark: str
    outline: Outline
    stations: tuple[StationDrawn, ...]
    windows: tuple[WindowDrawn, ...]
    end_label: str
    ticks: tuple[Tick, ...]
    scale: Scale | None
    figure: tuple[str, ...]
    transform: str
    line_mm: float
    pen_mm: float
    rule_top: float
    rule_end: float
    heading_y: float
    end_y: float
    places: Places


def limb_drawing(
    *,
    level: str,
    side: str,
    stations: Sequence[StationMark],
    residual_length_mm: float | None,
    unit: str,
    lit: float | None = None,
    windows: Sequence[WindowMark] = (),
) -> LimbDrawing:
    """Drawing of a limb seen from the front, the child facing the reader.

    level, side: in the words of Limb; stations: marks from the level's station landmark; residual_length_mm: from the
    level's length landmark to the end; unit: mm, cm or in for the words; lit: the station being measured [mm].
    windows: of electrodes, from the station landmark, drawn side by side and not at their place around the limb.
    A girth is drawn as a round section, width girth / pi.
    """
    marks = sorted(stations, key=lambda mark: mark.station_mm)
    girths = [(mark.station_mm, mark.girth_mm) for mark in marks if mark.girth_mm]
    shape = outline(level, girths, [mark.station_mm for mark in marks], residual_length_mm)
    page, facts = _Page(shape, side), level_facts(level)
    side_word, level_word = str(Limb.Side(side).label), str(Limb.Level(level).label)
    to_scale = level not in TRUNK_LEVELS and bool(girths or residual_length_mm)
    return LimbDrawing(
        uid=f"limb-{side}-{level}",
        title=_("%(side)s limb, %(level)s") % {"side": side_word.capitalize(), "level": level_word},
        desc=" ".join(
            [_describe(marks, residual_length_mm, landmark_word(facts.station_landmark), unit, to_scale)]
            + [_window_sentence(mark, unit) for mark in windows]
        ),
        side_word=side_word.upper(),
        level_word=level_word,
        landmark=landmark_word(facts.station_landmark),
        outline=shape,
        stations=_draw_stations(marks, page, unit, lit),
        windows=tuple(_window(mark, i, len(windows), page) for i, mark in enumerate(windows)),
        end_label=_end_label(facts, residual_length_mm, unit),
        ticks=() if level in TRUNK_LEVELS else _ticks(page, unit),
        scale=_scale(page, unit) if to_scale else None,
        figure=body_figure(level, page.lateral),
        transform=page.transform,
        line_mm=1.8 / page.scale,
        pen_mm=1.1 / page.scale,
        rule_top=page.y(0),
        rule_end=page.y(shape.end_mm),
        heading_y=page.y(0) - 18,
        end_y=page.y(shape.end_mm) + 24,
        places=_places(page),
    )


class _Page:
    """Where mm of the outline come to lie on the drawing; lateral is the reader's left for a right limb."""

    def __init__(self, shape: Outline, side: str):
        self.shape = shape
        self.lateral = -1 if side == Limb.Side.RIGHT else 1
        across, along = shape.lateral_mm + shape.midline_mm, shape.bottom_mm - shape.top_mm
        room = WIDTH - LABELS - RULE - EDGE
        self.scale = min((HEIGHT - TOP - BOTTOM) / along, room / across, MOST_PER_MM)
        spare = room - across * self.scale
        self._y0 = TOP - shape.top_mm * self.scale
        self._x0 = LABELS + RULE + spare / 2 + shape.lateral_mm * self.scale
        if self.lateral > 0:
            self._x0 = WIDTH - self._x0
        self.rule_x = LABELS if self.lateral < 0 else WIDTH - LABELS

    @property
    def transform(self) -> str:
        return f"translate({self._x0:.2f} {self._y0:.2f}) scale({self.lateral * self.scale:.4f} {self.scale:.4f})"

    def x(self, lateral_mm: float) -> float:
        return self._x0 + self.lateral * lateral_mm * self.scale

    def y(self, distal_mm: float) -> float:
        return self._y0 + distal_mm * self.scale


def _places(page) -> Places:
    left = page.lateral < 0
    return Places(
        outward=page.lateral,
        edge_x=EDGE if left else WIDTH - EDGE,
        rule_x=page.rule_x,
        girth_x=page.rule_x + page.lateral * 18,
        midline_x=page.x(-page.shape.midline_mm),
        figure_x=WIDTH - 40 if left else 40,
        outer_anchor="start" if left else "end",
        inner_anchor="end" if left else "start",
    )


def _describe(marks, residual_length_mm, landmark, unit, to_scale) -> str:
    sentences = [
        _("Seen from the front, the upper end above, on the child's own side."),
        _("Drawn to scale from the readings.")
        if to_scale
        else _("An outline only, not to scale: nothing is measured yet."),
    ]
    if residual_length_mm:
        sentences.append(_("Residual length %(length)s.") % {"length": format_length(residual_length_mm, unit)})
    sentences += [_station_sentence(mark, landmark, unit) for mark in marks if mark.girth_mm]
    return " ".join(sentences)


def _station_sentence(mark, landmark, unit):
    words = {"girth": format_length(mark.girth_mm, unit), "distance": format_length(mark.station_mm, unit)}
    return _("Girth %(girth)s at %(distance)s from the %(landmark)s.") % {**words, "landmark": landmark}


def _window_sentence(mark, unit):
    words = {"number": mark.number, "muscle": mark.words, "distance": format_length(mark.station_mm, unit)}
    sentence = _("Window %(number)d: %(muscle)s at %(distance)s.") % words
    return f"{sentence} {_('Retest.')}" if mark.retest else sentence


def _window(mark, i, count, page):
    """Side by side across the limb, so that two at one height are both seen."""
    half_mm = page.shape.half_width_mm(mark.station_mm)
    across_mm = half_mm * (2 * (i + 1) / (count + 1) - 1)
    width, height = WINDOW
    return WindowDrawn(page.x(across_mm) - width / 2, page.y(mark.station_mm) - height / 2, mark.number, mark.retest)


def _draw_stations(marks, page, unit, lit) -> tuple[StationDrawn, ...]:
    label_ys = spread([page.y(mark.station_mm) for mark in marks], LABEL_GAP)
    return tuple(_station(mark, label_y, page, unit, lit) for mark, label_y in zip(marks, label_ys, strict=True))


def _station(mark, label_y, page, unit, lit):
    y, half = page.y(mark.station_mm), page.shape.half_width_mm(mark.station_mm)
    near, far = page.x(half), page.rule_x + page.lateral * 12
    return StationDrawn(
        key=f"{mark.station_mm:g}",
        tape=_tape(page, half, y) if half else "",
        leader=f"M{near:.1f},{y:.1f}L{page.rule_x:.1f},{y:.1f}L{far:.1f},{label_y:.1f}",
        text_y=label_y + 4.5,
        distance=mark.label or format_length(mark.station_mm, unit),
        girth=format_length(mark.girth_mm, unit) if mark.girth_mm else "",
        lit=lit is not None and abs(lit - mark.station_mm) <= SAME_STATION_MM,
    )


def _tape(page, half_mm, y):
    """Path data of the near half of a tape round the limb."""
    left, right = sorted((page.x(-half_mm), page.x(half_mm)))
    sag, inset = min(0.12 * (right - left), 9.0), 0.22 * (right - left)
    return f"M{left:.1f},{y:.1f}C{left + inset:.1f},{y + sag:.1f} {right - inset:.1f},{y + sag:.1f} {right:.1f},{y:.1f}"


def spread(wanted: Sequence[float], gap: float) -> list[float]:
    """Rising positions at least `gap` apart, each crowd kept about its own middle."""
    crowds: list[list[float]] = []  # [middle, count]
    for position in wanted:
        crowds.append([position, 1])
        while len(crowds) > 1 and _touch(*crowds[-2:], gap):
            (a, n), (b, m) = crowds.pop(-2), crowds.pop()
            crowds.append([(a * n + b * m) / (n + m), n + m])
    return [middle + (i - (n - 1) / 2) * gap for middle, n in crowds for i in range(n)]


def _touch(upper, lower, gap):
    return lower[0] - (lower[1] - 1) / 2 * gap < upper[0] + (upper[1] + 1) / 2 * gap


def _ticks(page, unit) -> tuple[Tick, ...]:
    step, long_every = TICKS_MM[unit]
    count = int(page.shape.end_mm // step) + 1
    return tuple(Tick(page.y(i * step), 9 if i % long_every == 0 else 5) for i in range(count))


def _scale(page, unit) -> Scale:
    length, words = SCALE_BAR_MM[unit] * page.scale, format_length(SCALE_BAR_MM[unit], unit)
    x = EDGE if page.lateral < 0 else WIDTH - EDGE - length - SCALE_WORDS
    return Scale(x, length, x + length + 6, words)


def _end_label(facts, residual_length_mm, unit) -> str:
    if not residual_length_mm or facts.segment_measure is None:
        return ""
    words = {"length": format_length(residual_length_mm, unit), "landmark": landmark_word(facts.length_landmark)}
    return _("end: %(length)s from the %(landmark)s") % words
