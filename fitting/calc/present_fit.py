"""How today's socket fits today: findings to a verdict. It comes before any date."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from fitting.calc.limb import Level, level_facts
from fitting.calc.takes import noise_band
from fitting.calc.tolerances import Tolerances

RED_PAIN = 4  # of 10; moderate pain on a numeric scale, common practice
WEIGHT_CHANGE_PERCENT = 10.0  # BMI rise widens girth first: remeasure, common practice
WEAR_HOURS_FELL_TO = 0.5  # wear hours down by half, common practice
SMALLER_SHARE_OF_STATIONS = 0.5  # at least half the stations smaller than at cast, common practice
OVERGROWTH_LEVELS = frozenset({Level.TRANSRADIAL, Level.TRANSHUMERAL})  # never after disarticulation, PMID 8747360


@dataclass(frozen=True)
class FitFindings:
    """What was seen and asked about the socket in use on one day.

    seen_on: the day; donning: full, not_full; marks: none, clear, stay; hold: good, tight, loose, slipping;
    pain: 0 to 10; times [minutes], lengths [mm], wear [hours a day], weight [kg]; earlier values None when not known.
    """

    seen_on: date
    donning: str = "full"
    marks: str = "none"
    minutes_to_clear: float | None = None
    open_skin: bool = False
    numb_or_cold: bool = False
    pain: int = 0
    hold: str = "good"
    end_contact: bool = False
    end_gap_mm: float | None = None
    brim_moved_mm: float | None = None
    overgrowth_signs: bool = False
    wear_hours_per_day: float | None = None
    earlier_wear_hours_per_day: float | None = None
    weight_kg: float | None = None
    weight_when_measured_kg: float | None = None


@dataclass(frozen=True)
class StationGirths:
    """One station's girth now, at cast, and the socket's design girth there [mm]."""

    now_mm: float
    at_cast_mm: float
    design_mm: float


@dataclass(frozen=True)
class FitVerdict:
    """What the findings come to. Each tuple holds codes of the findings behind it; empty means no."""

    seen_on: date
    surgeon: tuple[str, ...] = ()
    red: tuple[str, ...] = ()
    outgrown: tuple[str, ...] = ()
    loose: tuple[str, ...] = ()
    remeasure: tuple[str, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)

    @property
    def code(self) -> str:
        """fit_problem, surgeon, outgrown, loose, remeasure or ok: the first that holds."""
        words = (("fit_problem", self.red), ("surgeon", self.surgeon), ("outgrown", self.outgrown))
        words += (("loose", self.loose), ("remeasure", self.remeasure))
        return next((word for word, findings in words if findings), "ok")


def fit_verdict(
    level: str, findings: FitFindings, girths: Sequence[StationGirths], tolerances: Tolerances
) -> FitVerdict:
    """Verdict on the present fit.

    Any red finding is a fit problem now. Overgrowth signs send to the surgeon, at levels where overgrowth happens.
    Loose is what was seen: loose or slipping. A tape never says that a socket is loose, so smaller than at cast beyond
    noise is remeasure, as weight or wear changed is.
    """
    return FitVerdict(
        seen_on=findings.seen_on,
        surgeon=("overgrowth",) if findings.overgrowth_signs and overgrowth_possible(level) else (),
        red=_red(findings, tolerances),
        outgrown=_outgrown(findings, tolerances),
        loose=_loose(findings),
        remeasure=_remeasure(findings, girths, tolerances),
        figures=_figures(findings),
    )


def overgrowth_possible(level: str) -> bool:
    """Whether bony overgrowth is looked for at a level."""
    return level in OVERGROWTH_LEVELS and not level_facts(level).disarticulation


def _red(findings, tolerances):
    minutes = findings.minutes_to_clear
    too_long = minutes is not None and minutes > tolerances.mark_limit_minutes
    checks = {
        "open_skin": findings.open_skin,
        "numb_or_cold": findings.numb_or_cold,
        "marks_stay": findings.marks == "stay" or (findings.marks != "none" and too_long),
        "pain": findings.pain >= RED_PAIN,
        "tight": findings.hold == "tight",
        "not_full": findings.donning == "not_full",
        "end_contact": findings.end_contact,
    }
    return tuple(code for code, found in checks.items() if found)


def _outgrown(findings, tolerances):
    gap, brim = findings.end_gap_mm, findings.brim_moved_mm
    checks = {
        "end_gap": gap is not None and gap < tolerances.end_gap_min_mm,
        "brim": brim is not None and abs(brim) > tolerances.brim_moved_mm,
    }
    return tuple(code for code, found in checks.items() if found)


def _loose(findings):
    checks = {
        "loose": findings.hold == "loose",
        "slipping": findings.hold == "slipping",
    }
    return tuple(code for code, found in checks.items() if found)


def _remeasure(findings, girths, tolerances):
    weight, hours = _weight_change_percent(findings), _wear_ratio(findings)
    checks = {
        "girth_smaller": _smaller(girths, tolerances),
        "weight": weight is not None and abs(weight) >= WEIGHT_CHANGE_PERCENT,
        "wear_hours": hours is not None and hours <= WEAR_HOURS_FELL_TO,
    }
    return tuple(code for code, found in checks.items() if found)


def _smaller(girths, tolerances):
    """Whether enough stations are smaller than the limb was at cast, or the socket's design if that is tighter."""
    noise_mm = noise_band(tolerances.tem_girth_mm)
    smaller = [girth.now_mm < min(girth.at_cast_mm, girth.design_mm) - noise_mm for girth in girths]
    return bool(smaller) and sum(smaller) >= SMALLER_SHARE_OF_STATIONS * len(smaller)


def _weight_change_percent(findings):
    now, before = findings.weight_kg, findings.weight_when_measured_kg
    return None if now is None or not before else 100 * (now - before) / before


def _wear_ratio(findings):
    now, earlier = findings.wear_hours_per_day, findings.earlier_wear_hours_per_day
    return None if now is None or not earlier else now / earlier


def _figures(findings):
    figures = {
        "weight_change_percent": _weight_change_percent(findings),
        "wear_ratio": _wear_ratio(findings),
        "minutes_to_clear": findings.minutes_to_clear,
        "pain": findings.pain or None,
    }
    return {name: figure for name, figure in figures.items() if figure is not None}
