"""Timing of the height spurt, and adult height from the parents. For "spurt likely" only, shown +- one year."""

from dataclasses import dataclass

from fitting.calc.errors import DoorpostError

SHOWN_ERROR_YEARS = 1.0  # equation errors are 0.59 y (boys) and 0.57 y (girls), and larger for early maturers
OFFSET_VALID_YEARS = {"M": (8.0, 18.0), "F": (8.0, 16.0)}  # ages of the published samples, from memory
SPURT_AGES_YEARS = {"M": (13.0, 15.0), "F": (11.0, 13.0)}  # typical peak 14 and 12 years +- 1, from memory
SEX_SHIFT_CM = {"M": 13.0, "F": -13.0}  # mid-parental correction, from memory
MID_PARENTAL_BAND_CM = 8.5  # from memory
SEXES = ("F", "M")


@dataclass(frozen=True)
class Body:
    """What the maturity equations look at. Stature and sitting height [cm], weight [kg], age [years]."""

    sex: str
    age_years: float
    stature_cm: float
    sitting_height_cm: float | None = None
    weight_kg: float | None = None

    def __post_init__(self):
        if self.sex not in SEXES:
            raise DoorpostError(f"The reference is F or M, not {self.sex!r}.")


def offset_2002_years(body: Body) -> float:
    """Years from peak height velocity (negative: before it), 2002 equations.

    Needs sitting height and weight, else DoorpostError. The weight-to-height ratio is taken times 100, as published.
    Source: Mirwald et al. 2002 by two public calculators.
    """
    if body.sitting_height_cm is None or body.weight_kg is None:
        raise DoorpostError("The 2002 equations need sitting height and weight.")
    age, sitting, weight = body.age_years, body.sitting_height_cm, body.weight_kg
    leg = body.stature_cm - sitting
    weight_by_height = 100 * weight / body.stature_cm
    if body.sex == "M":
        terms = 0.0002708 * leg * sitting - 0.001663 * age * leg + 0.007216 * age * sitting
        return -9.236 + terms + 0.02292 * weight_by_height
    terms = 0.0001882 * leg * sitting + 0.0022 * age * leg + 0.005841 * age * sitting - 0.002658 * age * weight
    return -9.376 + terms + 0.07693 * weight_by_height


def offset_2015_years(body: Body) -> float:
    """Years from peak height velocity, 2015 equations: sitting height where a boy's is known, else stature.

    Source: PMC8343060 table 1.
    """
    if body.sex == "F":
        return -7.709133 + 0.0042232 * body.age_years * body.stature_cm
    if body.sitting_height_cm is not None:
        return -8.128741 + 0.0070346 * body.age_years * body.sitting_height_cm
    return -7.999994 + 0.0036124 * body.age_years * body.stature_cm


def spurt_likely(body: Body) -> bool:
    """Whether the child is within one year of the height spurt by the 2015 equations.

    At ages the equations were not made from, the typical ages of the spurt decide.
    """
    first, last = OFFSET_VALID_YEARS[body.sex]
    if first <= body.age_years <= last:
        return abs(offset_2015_years(body)) <= SHOWN_ERROR_YEARS
    return spurt_likely_by_age(body.sex, body.age_years)


def spurt_likely_by_age(sex: str, age_years: float) -> bool:
    """Whether the age [years] alone falls in the typical two years of the spurt. Used when stature is not known."""
    first, last = SPURT_AGES_YEARS[sex]
    return first <= age_years <= last


def mid_parental_height_cm(sex: str, father_cm: float, mother_cm: float) -> float:
    """Adult height [cm] expected from the parents, +- 8.5 cm: (F + M + 13) / 2 boys, - 13 girls (from memory)."""
    if sex not in SEXES:
        raise DoorpostError(f"The reference is F or M, not {sex!r}.")
    return (father_cm + mother_cm + SEX_SHIFT_CM[sex]) / 2
