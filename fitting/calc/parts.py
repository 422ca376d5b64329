"""The measures a forecast knows: which kernel, shapes and reference drive each, and which companion speaks for it."""

from dataclasses import dataclass, replace
from functools import cache

from fitting.calc import kernels
from fitting.calc.errors import DoorpostError
from fitting.calc.references import lms_table
from fitting.calc.shapes import TABLES

FOREARM_GIRTH = "forearm_girth_us1977"
LENGTH_FIRST_MONTHS = 24.0  # lengths and stature are forecast from two years; lying length has no reference here
OWN_LENGTH_SHAPES = ("elbow_wrist", "upper_arm_length", "stature")
OWN_GIRTH_SHAPES = ("forearm_girth", "upper_arm_girth", "stoutness")
STATURE_DRIFT = 1.0  # beta: a length follows its child's stature residual in full
WEIGHT_DRIFT = 0.5  # beta: a girth follows half of its child's weight residual
# SD of one reading: own, from published limits of agreement (stature, girth, length [mm]); weight [kg] common practice
DEFAULT_ERROR_SD = {"stature": 5.0, "girth": 2.0, "length": 3.0, "weight": 0.2}


@dataclass(frozen=True)
class Part:
    """What drives one measure.

    family: "stature", "length", "girth" or "weight"; shapes: names of its candidate shapes; table: reference that
    bounds its ages and gives S; first_months, last_months: ages it can be forecast at [months]
    """

    family: str
    kernel: kernels.Kernel
    shapes: tuple[str, ...]
    table: str
    first_months: float
    last_months: float

    def with_wander(self, scale: float | None):
        """The same part with the clinic's own lambda; None keeps the default."""
        return self if scale is None else replace(self, kernel=replace(self.kernel, wander_scale=scale))


TABLE_PARTS = {
    "stature": ("stature", kernels.STATURE, ("stature",), "stature_cdc2000"),
    "weight": ("weight", kernels.WEIGHT, ("weight",), "weight_cdc2000"),
    "upper_arm_girth": ("girth", kernels.TABLE_GIRTH, ("upper_arm_girth",), TABLES["upper_arm_girth"]),
    "forearm_girth": ("girth", kernels.TABLE_GIRTH, ("forearm_girth",), FOREARM_GIRTH),
    "wrist_girth": ("girth", kernels.TABLE_GIRTH, ("wrist_girth",), TABLES["wrist_girth"]),
    "upper_arm_length": ("length", kernels.TABLE_LENGTH, ("upper_arm_length",), TABLES["upper_arm_length"]),
    "forearm_length": ("length", kernels.TABLE_LENGTH, ("elbow_wrist",), TABLES["elbow_wrist"]),
    "hand_length": ("length", kernels.TABLE_LENGTH, ("hand_length",), TABLES["hand_length"]),
}
OWN_LEVEL_PARTS = {
    "girth": ("girth", kernels.GIRTH, OWN_GIRTH_SHAPES, FOREARM_GIRTH),
    "length": ("length", kernels.LENGTH, OWN_LENGTH_SHAPES, TABLES["elbow_wrist"]),
}


@cache
def part_of(measure: str) -> Part:
    """The part a measure's name stands for, such as "stature" or "girth:calf". Raises DoorpostError."""
    kind, colon, name = measure.partition(":")
    row = OWN_LEVEL_PARTS.get(kind) if colon and name else TABLE_PARTS.get(measure)
    if row is None:
        raise DoorpostError(f'"{measure}" is not a measure the forecast knows.')
    return _bounded(*row)


@cache
def residual_girth_part() -> Part:
    """The part all girth stations of a residual limb share."""
    return _bounded("girth", kernels.RESIDUAL_GIRTH, OWN_GIRTH_SHAPES, FOREARM_GIRTH)


def _bounded(family, kernel, shapes, table):
    reference = lms_table(table)
    first = reference.first_months if family == "girth" else LENGTH_FIRST_MONTHS
    return Part(family, kernel, shapes, table, first, reference.last_months)
