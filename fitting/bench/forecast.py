"""How fast bands and crossing dates of many children are, and how large: one core, against slower ways."""

from importlib.util import find_spec

import numpy as np

from fitting.bench.figures import Figure, each_timed, one_core, peak_mib, print_figures, timed
from fitting.bench.invented_series import VISITS, invented_series
from fitting.calc.forecast import crossing_days, reading_bands

SERIES = {
    "length with stature": ("length:ulna", ("stature",)),
    "girth with stature, weight": ("girth:60", ("stature", "weight")),
}
AHEAD_MONTHS = (6, 12, 18, 24)
BAND = (0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975)
GROWN = np.array([1.02, 1.04, 1.06])  # dates of 2, 4 and 6 % more than the last reading
LIMIT_CHILDREN = 100_000
LIMITS = {"bands": "2.5 s", "dates": "6 s"}
LIMIT_MIB = 1536
FEWER = 10
PER_CHILD, REGRESSOR = "one child at a time", "GaussianProcessRegressor"
OPTIONS = ("size", "sample", "seed")


def add_arguments(parser):
    parser.add_argument("--size", type=int, default=LIMIT_CHILDREN, help="children")
    parser.add_argument("--sample", type=int, default=100, help="children the slower ways are tried on, then scaled")
    parser.add_argument("--seed", type=int, default=1)


def run(say, size: int, sample: int, seed: int) -> None:
    """Forecast invented children and say what it took, next to a per-child loop and a general regressor."""
    horizons = ", ".join(map(str, AHEAD_MONTHS))
    say(f"{VISITS} visits a child, bands {horizons} months ahead, days of +2, +4 and +6 %, one core, seed {seed};")
    say(
        f"slower ways tried on {min(sample, size)} children and scaled: our own code child by child, and scikit-learn's"
    )
    with one_core():
        figures = [figure for name in SERIES for figure in _figures(say, name, size, min(sample, size), seed)]
    print_figures(say, figures)
    if find_spec("sklearn") is None:
        say("scikit-learn is not installed here (it comes with tests/requirements.txt), so it is not compared with.")


def _figures(say, name, size, sample, seed):
    fewer = invented_series(*SERIES[name], max(1, size // FEWER), seed)
    series = invented_series(*SERIES[name], size, seed)
    _warmed_up(series)
    few = {what: timed(lambda work=work: work(fewer))[1] for what, work in WORK.items()}
    many = {what: timed(lambda work=work: work(series))[1] for what, work in WORK.items()}
    say(f"memory {peak_mib():,.0f} MiB at most so far (limit {LIMIT_MIB:,} MiB): {name}")
    chosen = np.random.default_rng(seed).choice(size, sample, replace=False)
    for what in WORK:
        words = f"{what} of {size:,}, {name}"
        limit = LIMITS[what] if size == LIMIT_CHILDREN else ""
        smaller = f"{len(fewer.male):,} children"
        yield Figure(words, many[what], smaller, few[what], limit)
        for baseline, taken in _slower(what, series, chosen):
            yield Figure(words, many[what], baseline, taken * (size / sample))


def _warmed_up(series):
    """Read the tables, which are kept, before anything is timed."""
    for work in WORK.values():
        work(series.of(np.arange(1)))


def _slower(what, series, chosen):
    """What the slower ways take for some of the children."""
    alone = [series.of(np.array([child])) for child in chosen]
    yield PER_CHILD, each_timed(WORK[what], alone)
    if find_spec("sklearn"):
        from fitting.bench import regressor

        work = {"bands": regressor.bands, "dates": regressor.dates}[what]
        yield REGRESSOR, each_timed(lambda child: work(child, *ASKED[what](child)), alone)


def _grown(series):
    """Thresholds (N, 3): so much more than each child's last reading."""
    return series.readings.size[:, -1:] * GROWN


ASKED = {"bands": lambda series: (AHEAD_MONTHS, BAND), "dates": lambda series: (_grown(series),)}
WORK = {
    "bands": lambda series: reading_bands(series, *ASKED["bands"](series)),
    "dates": lambda series: crossing_days(series, *ASKED["dates"](series)),
}
