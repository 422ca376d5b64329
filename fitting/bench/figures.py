"""Seconds and memory of a piece of work, and the table the figures are printed in."""

import os
import resource
from collections.abc import Callable, Iterable
from contextlib import contextmanager
from dataclasses import dataclass
from time import perf_counter, process_time

KIB_PER_MIB = 1024
HEAD = ("what", "seconds", "computing", "baseline", "its seconds", "ratio", "limit")


@dataclass(frozen=True)
class Taken:
    """What a piece of work took [s]: by the clock, and of the processor."""

    clock: float
    computing: float

    def __mul__(self, times: float) -> "Taken":
        return Taken(self.clock * times, self.computing * times)


@dataclass(frozen=True)
class Figure:
    """A row of the table: a piece of work held against a named baseline. limit: in words, empty for none.

    by_clock: work of several processes is compared by the clock, other work by the seconds of the processor, which
    a busy machine hardly alters
    """

    what: str
    taken: Taken
    baseline: str = ""
    baseline_taken: Taken | None = None
    limit: str = ""
    by_clock: bool = False

    def cells(self) -> tuple[str, ...]:
        against = ("", "")
        if self.baseline_taken:
            ours, theirs = (t.clock if self.by_clock else t.computing for t in (self.taken, self.baseline_taken))
            against = (seconds(theirs), ratio(ours / theirs))
        return (
            self.what,
            seconds(self.taken.clock),
            seconds(self.taken.computing),
            self.baseline,
            *against,
            self.limit,
        )


def timed(work: Callable):
    """What a piece of work returns, and what it took."""
    clock, computing = perf_counter(), process_time()
    done = work()
    return done, Taken(perf_counter() - clock, process_time() - computing)


def each_timed(work: Callable, items: Iterable) -> Taken:
    """What it took to do a piece of work on one item after another."""
    return timed(lambda: [work(item) for item in items])[1]


def peak_mib() -> float:
    """Most memory this process has held so far [MiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_PER_MIB


@contextmanager
def one_core():
    """Keep this process on one of the cores it may use; where that cannot be asked for, all stay open to it."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    usual = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {max(usual)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, usual)


def print_figures(say, figures: Iterable[Figure]) -> None:
    """A table with a head: words to the left, figures to the right."""
    rows = [HEAD, *(figure.cells() for figure in figures)]
    widths = [max(len(row[k]) for row in rows) for k in range(len(HEAD))]
    for row in rows:
        cells = (_aligned(cell, width, HEAD[k]) for k, (cell, width) in enumerate(zip(row, widths, strict=True)))
        say("  ".join(cells).rstrip())


def _aligned(cell, width, head):
    return cell.ljust(width) if head in ("what", "baseline", "limit") else cell.rjust(width)


def seconds(value: float) -> str:
    """Seconds to three figures, without an exponent."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.3g}"


def ratio(value: float) -> str:
    """A ratio below one as a fraction with 1 above the line."""
    return f"1/{1 / value:,.0f}" if value < 0.1 else f"{value:.2f}"
