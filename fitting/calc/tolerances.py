"""The adjustable numbers of the promise, with their defaults. A clinic's settings row carries the same names."""

from dataclasses import dataclass

from fitting.calc.parts import DEFAULT_ERROR_SD


@dataclass(frozen=True)
class Tolerances:
    """What counts as outgrown, how long things take, how good a reading is. Common practice unless said beside it.

    The errors of measurement are those implied by the published limits of agreement of 79 trainees (Curr Dev Nutr 2020
    nzaa139: girth +-0.52 cm, stature +-1.42 cm, divided by 2.77); length and weight are common practice.
    """

    girth_tolerance_percent: float = 3.0
    girth_tolerance_mm: float = 4.0
    end_gap_min_mm: float = 2.0
    brim_moved_mm: float = 10.0
    length_excess_mm: float = 10.0
    length_excess_percent: float = 5.0
    buffer_days: int = 7
    lead_time_days: int = 28
    check_lead_days: int = 14
    remeasure_days_young: int = 90
    remeasure_days: int = 180
    maturing_months: int = 18  # 12 to 18 months, JRRD 2011;48(8), adult legs
    mark_limit_minutes: float = 20.0
    tem_stature_mm: float = DEFAULT_ERROR_SD["stature"]
    tem_girth_mm: float = DEFAULT_ERROR_SD["girth"]
    tem_length_mm: float = DEFAULT_ERROR_SD["length"]
    tem_weight_kg: float = DEFAULT_ERROR_SD["weight"]
