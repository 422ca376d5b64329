"""Outlines of limbs at each level, as SVG path data in mm: x lateral from the axis, y distal from the landmark."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.interpolate import PchipInterpolator

from fitting.calc.limb import END_STATION_BEFORE_MM, Level

Point = tuple[float, float]

UPPER_ARM_LEVELS = frozenset({Level.ELBOW_DISARTICULATION, Level.TRANSHUMERAL})
TRUNK_LEVELS = frozenset({Level.SHOULDER_DISARTICULATION, Level.SCAPULOTHORACIC})
SQUARE_ENDS = frozenset({Level.WRIST_DISARTICULATION, Level.ELBOW_DISARTICULATION})

# What is drawn where nothing has been measured yet: an outline only, about the size of a child of six, common practice.
NOMINAL_LENGTH_MM = {
    Level.PARTIAL_HAND: 60.0,
    Level.WRIST_DISARTICULATION: 150.0,
    Level.TRANSRADIAL: 90.0,
    Level.ELBOW_DISARTICULATION: 150.0,
    Level.TRANSHUMERAL: 100.0,
}
NOMINAL_GIRTHS_MM = {  # at the landmark and near the end
    Level.PARTIAL_HAND: (125.0, 150.0),
    Level.WRIST_DISARTICULATION: (185.0, 130.0),
    Level.TRANSRADIAL: (180.0, 140.0),
    Level.ELBOW_DISARTICULATION: (190.0, 180.0),
    Level.TRANSHUMERAL: (195.0, 165.0),
}
SHOULDER_SHARE = 0.32  # acromion to axilla over acromion to end, where the stations do not say it; for the drawing only
LEAST_SHOULDER_MM = 25.0
MIDLINE_GAP_MM = 34.0  # from a forearm to the line that stands for the midline, not to scale
TRUNK_MM, TRUNK_MIDLINE_MM = 150.0, 112.0  # trunk drawn at the levels without an arm, an outline only


@dataclass(frozen=True)
class Outline:
    """What is drawn of one limb [mm]: the edge of the measured part, the body it belongs to as `context`, and folds."""

    edge: str
    ground: str
    context: tuple[str, ...]
    folds: tuple[str, ...]
    end_mm: float
    top_mm: float
    bottom_mm: float
    lateral_mm: float
    midline_mm: float
    half_widths: tuple[Point, ...]

    def half_width_mm(self, station_mm: float) -> float:
        """Half the drawn width at a station [mm]."""
        if not self.half_widths:
            return 0.0
        ys, halves = zip(*self.half_widths, strict=True)
        return float(PchipInterpolator(ys, halves)(min(max(station_mm, ys[0]), ys[-1])))


def half_width_mm(girth_mm: float) -> float:
    """Half the width of a round section of a girth [mm]."""
    return girth_mm / (2 * math.pi)


def outline(level: str, girths_mm: Sequence[Point], stations_mm: Sequence[float], residual_length_mm) -> Outline:
    """Outline of a limb of a level from (station, girth) pairs, proximal first, and the residual length [mm]."""
    if level in TRUNK_LEVELS:
        return _trunk(level)
    end = end_mm(level, stations_mm, residual_length_mm)
    points = _profile(level, girths_mm, end)
    edge = _edge_path(level, points, end)
    if level in UPPER_ARM_LEVELS:
        return _upper_arm(edge, points, end, shoulder_mm(stations_mm, residual_length_mm or end / (1 - SHOULDER_SHARE)))
    return _forearm(level, edge, points, end)


def end_mm(level: str, stations_mm: Sequence[float], residual_length_mm: float | None) -> float:
    """Distance from the station landmark to the end of the limb [mm]."""
    last_mm = max(stations_mm, default=0.0)
    if residual_length_mm and level in UPPER_ARM_LEVELS:
        return max(residual_length_mm - shoulder_mm(stations_mm, residual_length_mm), last_mm + 1)
    if residual_length_mm:
        return max(residual_length_mm, last_mm + 1)
    return last_mm + END_STATION_BEFORE_MM if last_mm else NOMINAL_LENGTH_MM[Level(level)]


def shoulder_mm(stations_mm: Sequence[float], residual_length_mm: float) -> float:
    """Distance from acromion to axilla [mm]: what the residual length leaves above the stations."""
    last_mm = max(stations_mm, default=0.0)
    if not last_mm:
        return max(SHOULDER_SHARE * residual_length_mm, LEAST_SHOULDER_MM)
    return max(residual_length_mm - last_mm - END_STATION_BEFORE_MM, LEAST_SHOULDER_MM)


def _d(letter: str, *points: Point) -> str:
    return letter + " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _profile(level, girths_mm, end):
    first, last = NOMINAL_GIRTHS_MM[Level(level)]
    near_end = max(end - END_STATION_BEFORE_MM, end / 2)
    known = [(y, half_width_mm(girth)) for y, girth in girths_mm] or [
        (0.0, half_width_mm(first)),
        (near_end, half_width_mm(last)),
    ]
    if known[0][0] > 0:
        known.insert(0, (0.0, known[0][1]))
    round_from = end - 0.8 * known[-1][1]
    if known[-1][0] < round_from - 1:
        known.append((round_from, known[-1][1] * 0.97))
    return known if len(known) > 1 else [known[0], (end / 2, known[0][1])]


def _edge_path(level, points, end):
    (top, first), (last, half) = points[0], points[-1]
    ending = _hand_end(half, last, end) if level == Level.PARTIAL_HAND else _round_end(level, half, last, end)
    return _d("M", (first, top)) + _side(points, 1, True) + ending + _side(points, -1, False)


def _side(points, sign, downward):
    """Bezier segments through the half-widths of one side, without overshoot (monotone slopes)."""
    ys, halves = zip(*points, strict=True)
    slopes = PchipInterpolator(ys, halves).derivative()(ys) if len(points) > 2 else [_slope(points)] * 2
    segments = []
    for i in range(len(points) - 1):
        third = (ys[i + 1] - ys[i]) / 3
        nodes = [
            (sign * halves[i], ys[i]),
            (sign * (halves[i] + slopes[i] * third), ys[i] + third),
            (sign * (halves[i + 1] - slopes[i + 1] * third), ys[i + 1] - third),
            (sign * halves[i + 1], ys[i + 1]),
        ]
        segments.append(_d("C", *(nodes[1:] if downward else nodes[2::-1])))
    return "".join(segments if downward else reversed(segments))


def _slope(points):
    (y0, half0), (y1, half1) = points
    return (half1 - half0) / (y1 - y0)


def _round_end(level, half, start, end):
    square = 0.9 if level in SQUARE_ENDS else 0.55
    low, wide = start + max(square, 0.6) * (end - start), square * half
    return _d("C", (half, low), (wide, end), (0, end)) + _d("C", (-wide, end), (-half, low), (-half, start))


def _hand_end(half, start, end):
    """The end of a partial hand: four rounded heads."""
    step = half / 2
    dip = max(end - 0.3 * step, start)
    path = _d("C", (half, (start + dip) / 2), (half, dip), (half, dip))
    for i in range(4):
        near, far = half - i * step, half - (i + 1) * step
        path += _d("C", (near, end + 0.1 * step), (far, end + 0.1 * step), (far, dip))
    return path + _d("L", (-half, start))


def _forearm(level, edge, points, end):
    half = points[0][1]
    reach = 42.0 if level == Level.PARTIAL_HAND else min(max(0.45 * end, 45.0), 75.0)
    top_half = half * (1.12 if level == Level.PARTIAL_HAND else 0.98)
    elbow = half if level == Level.PARTIAL_HAND else half * 1.05
    context = (
        _d("M", (half, 0))
        + _d("C", (elbow, -0.16 * reach), (elbow, -0.3 * reach), (top_half, -0.62 * reach))
        + _d("L", (top_half, -reach))
        + _break_line(top_half, -reach)
        + _d("L", (-top_half, -0.62 * reach))
        + _d("C", (-elbow, -0.3 * reach), (-elbow, -0.16 * reach), (-half, 0))
    )
    folds = () if level == Level.PARTIAL_HAND else (_crease(half),)
    return Outline(
        edge=edge,
        ground=edge + "Z",
        context=(context,),
        folds=folds,
        end_mm=end,
        top_mm=-reach - 4,
        bottom_mm=end,
        lateral_mm=_widest(points, elbow),
        midline_mm=_widest(points, elbow) + MIDLINE_GAP_MM,
        half_widths=tuple(points),
    )


def _widest(points, half):
    return max(half, *(half for _, half in points))


def _break_line(half, y):
    """The wavy line of a part that goes on, from the lateral to the medial side."""
    return _d("C", (half * 0.5, y - 9), (half * 0.25, y - 5), (0, y)) + _d(
        "C", (-half * 0.25, y + 5), (-half * 0.5, y + 7), (-half, y)
    )


def _crease(half):
    return _d("M", (-half * 0.7, -3)) + _d("C", (-half * 0.3, -0.5), (half * 0.3, -0.5), (half * 0.7, -3))


def _upper_arm(edge, points, end, shoulder):
    half = points[0][1]
    neck, chest = half * 4.1, min(0.55 * end, 70.0)
    top = -shoulder - 0.75 * half
    context = (
        _d("M", (half, 0))
        + _d("C", (half * 1.12, -0.4 * shoulder), (half * 1.05, -0.95 * shoulder), (half * 0.25, -shoulder))
        + _d("C", (-half * 0.9, -shoulder - 0.25 * half), (-neck + half * 0.5, -shoulder - half * 0.3), (-neck, top))
        + _d("L", (-neck, top - half * 0.6))
        + _d("M", (-half, 0))
        + _d("C", (-half * 1.25, 3), (-half * 1.55, chest * 0.4), (-half * 1.6, chest))
    )
    fold = _d("M", (-half, 0)) + _d(
        "C", (-half * 1.0, -0.2 * shoulder), (-half * 1.25, -0.38 * shoulder), (-half * 1.5, -0.45 * shoulder)
    )
    return Outline(
        edge=edge,
        ground=edge + "Z",
        context=(context,),
        folds=(fold,),
        end_mm=end,
        top_mm=top - half * 0.6,
        bottom_mm=max(end, chest),
        lateral_mm=_widest(points, half * 1.12),
        midline_mm=max(half * 5.0, _widest(points, half) + MIDLINE_GAP_MM),
        half_widths=tuple(points),
    )


def _trunk(level):
    whole_shoulder = level == Level.SHOULDER_DISARTICULATION
    shoulder = (
        _d("C", (-2, -14), (24, -12), (26, 12)) + _d("C", (27, 34), (12, 52), (4, 66))
        if whole_shoulder
        else _d("C", (-34, -6), (-14, 26), (-6, 62))
    )
    neck, start = (-88, -46), (-36, -18)
    edge = (
        _d("M", neck)
        + _d("L", (-88, -30))
        + _d("C", (-82, -20), (-60, -19), start)
        + shoulder
        + _d("C", (-1, 90), (-4, 120), (-6, TRUNK_MM))
    )
    return Outline(
        edge=edge,
        ground=edge + _d("L", (-TRUNK_MIDLINE_MM, TRUNK_MM), (-TRUNK_MIDLINE_MM, neck[1])) + "Z",
        context=(),
        folds=(_d("M", (-106, -6)) + _d("C", (-84, -14), (-58, -2), (-30, -10)),),
        end_mm=TRUNK_MM,
        top_mm=-46,
        bottom_mm=TRUNK_MM,
        lateral_mm=28 if whole_shoulder else 4,
        midline_mm=TRUNK_MIDLINE_MM,
        half_widths=(),
    )


# Where the limb ends on a small figure of a body: points of the arm from the shoulder, x lateral.
ARM = ((8.5, 15.0), (14.5, 28.0), (18.5, 41.0), (20.0, 45.0))
ARM_ENDS = {
    Level.PARTIAL_HAND: (19.5, 43.5),
    Level.WRIST_DISARTICULATION: (18.5, 41.0),
    Level.TRANSRADIAL: (16.6, 35.0),
    Level.ELBOW_DISARTICULATION: (14.5, 28.0),
    Level.TRANSHUMERAL: (11.8, 22.0),
    Level.SHOULDER_DISARTICULATION: (8.5, 15.0),
    Level.SCAPULOTHORACIC: (5.0, 13.5),
}


def body_figure(level: str, lateral: int) -> tuple[str, ...]:
    """A small body facing the reader: path data of the body, of the affected limb, and of the point where it ends."""
    ends = ARM_ENDS[Level(level)]
    arm = [point for point in ARM if point[1] < ends[1]] or [(3.0, 13.0)]
    sound = _d("M", (-lateral * ARM[0][0], ARM[0][1])) + _d("L", *((-lateral * x, y) for x, y in ARM[1:]))
    body = "M-8.5,15L8.5,15M-8.5,15C-6,26,-6,34,-5,44L5,44C6,34,6,26,8.5,15M0,15L0,11" + sound
    affected = _d("M", *(((lateral * x), y) for x, y in arm[:1])) + _d(
        "L", *((lateral * x, y) for x, y in [*arm[1:], ends])
    )
    return body, affected, f"M{lateral * ends[0]:.1f},{ends[1]:.1f}h0.01"
