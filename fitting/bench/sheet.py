"""How many PDFs a second the three sheets come to: first and warm, in one process and in two."""

from contextlib import ExitStack
from multiprocessing import get_context
from time import perf_counter

from fitting.bench.figures import Figure, Taken, print_figures
from fitting.bench.limb_record import make_limb_record
from fitting.bench.scratch import scratch_database
from fitting.bench.sheet_worker import print_sheets, start

SHEETS = ("fitting sheet", "care sheet", "measuring form")
SIDE_BY_SIDE = 2
OPTIONS = ("size",)


def add_arguments(parser):
    parser.add_argument("--size", type=int, default=20, help="PDFs of each sheet")


def run(say, size: int) -> None:
    """Print the sheets of one invented limb in processes of their own, and say what a PDF took."""
    with scratch_database() as path, ExitStack() as open_until_here:
        pk = make_limb_record().pk
        workers = [open_until_here.enter_context(get_context("spawn").Pool(1, start, (str(path),))) for _ in SHEETS]
        first = {name: worker.apply(print_sheets, (name, pk, 1)) for name, worker in zip(SHEETS, workers, strict=True)}
        together = workers[:SIDE_BY_SIDE]
        for name in SHEETS:
            _each(name, pk, len(together), together)  # every worker has printed every sheet before it is timed
        figures = [figure for name in SHEETS for figure in _figures(name, pk, size, first[name], together)]
    say(f"A4, one limb with three visits and a socket, {size} PDFs of each sheet")
    say("seconds are of one PDF; the first in a process just started")
    print_figures(say, figures)
    for figure in figures:
        say(f"{figure.what}: {1 / figure.taken.clock:.1f} PDFs a second")


def _figures(name, pk, size, first, workers):
    warm, beside = _each(name, pk, size, workers[:1]), _each(name, pk, size, workers)
    yield Figure(f"{name}, first", first, "warm", warm)
    yield Figure(f"{name}, warm", warm)
    yield Figure(f"{name}, {len(workers)} processes", beside, "1 process", warm, by_clock=True)


def _each(name, pk, size, workers) -> Taken:
    """What one PDF took when so many are shared out to workers."""
    shares = [len(range(k, size, len(workers))) for k in range(len(workers))]
    began = perf_counter()
    asked = [worker.apply_async(print_sheets, (name, pk, n)) for worker, n in zip(workers, shares, strict=True)]
    computing = sum(taken.computing for taken in (one.get() for one in asked))
    return Taken(perf_counter() - began, computing) * (1 / size)
