"""How fast z-scores of many rows are, against a loop over rows and a reference library."""

from importlib.util import find_spec

import numpy as np

from fitting.bench.figures import Figure, each_timed, one_core, peak_mib, print_figures, timed
from fitting.calc.lms import value_at_z, z_score
from fitting.calc.references import lms_table
from fitting.calc.units import MONTHS_PER_YEAR

TABLE = "stature_cdc2000"
FIRST_YEARS, LAST_YEARS = 2.0, 20.0
MM_PER_CM = 10
SEX_NAMES = {"F": "female", "M": "male"}
PER_ROW, LIBRARY = "one row at a time", "rcpchgrowth"
OPTIONS = ("size", "sample", "seed")


def add_arguments(parser):
    parser.add_argument("--size", type=int, default=1_000_000, help="rows")
    parser.add_argument("--sample", type=int, default=500, help="rows the slower ways are tried on, then scaled")
    parser.add_argument("--seed", type=int, default=1)


def invented_rows(size: int, seed: int):
    """Sex, age [months] and stature [mm] of so many rows."""
    rng = np.random.default_rng(seed)
    sex = rng.choice(list(SEX_NAMES), size)
    age = rng.uniform(FIRST_YEARS, LAST_YEARS, size) * MONTHS_PER_YEAR
    return sex, age, value_at_z(lms_table(TABLE), sex, age, rng.normal(0, 1, size))


def library_z(sex: str, age_months: float, stature_mm: float) -> float:
    """z of one row by the reference library, which takes years and centimetres."""
    from rcpchgrowth.global_functions import sds_for_measurement

    return sds_for_measurement("cdc", age_months / MONTHS_PER_YEAR, "height", stature_mm / MM_PER_CM, SEX_NAMES[sex])


def run(say, size: int, sample: int, seed: int) -> None:
    """z of invented statures, and what it took next to slower ways."""
    rows, table = invented_rows(size, seed), lms_table(TABLE)
    some = [(str(sex), float(age), float(mm)) for sex, age, mm in zip(*(r[:sample] for r in rows), strict=True)]
    with one_core():
        _, taken = timed(lambda: z_score(table, *rows))
        memory = peak_mib()
        scale = size / len(some)
        what = f"z of {size:,} rows"
        figures = [Figure(what, taken, PER_ROW, each_timed(lambda row: z_score(table, *row), some) * scale)]
        if find_spec("rcpchgrowth"):
            library_z(*some[0])  # its tables are read at the first call
            figures.append(Figure(what, taken, LIBRARY, each_timed(lambda row: library_z(*row), some) * scale))
    say(f"stature at 2 to 20 years, one core, seed {seed}; memory {memory:,.0f} MiB at most")
    print_figures(say, figures)
    if find_spec("rcpchgrowth") is None:
        say("rcpchgrowth is not installed here (it comes with tests/requirements.txt), so it is not compared with.")
