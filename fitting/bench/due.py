"""How long the due list takes on a small and on a large registry: queries and seconds."""

from django.core.management import call_command
from django.core.paginator import Paginator
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fitting.bench.figures import Figure, each_timed, print_figures, timed
from fitting.bench.registry import AS_OF, make_registry
from fitting.bench.scratch import scratch_database
from fitting.due import counts, due_limbs
from fitting.views.due_list import PAGE_SIZE, row_of

REPEATS = 5
OPTIONS = ("size", "seed")


def add_arguments(parser):
    parser.add_argument(
        "--size",
        type=int,
        nargs="+",
        default=(1_000, 20_000),
        help="children of each registry; the first is the baseline",
    )
    parser.add_argument("--seed", type=int, default=1)


def due_page(member) -> list:
    """What the due list asks the database for: how many rows, the first page of them, how many in each state."""
    limbs = due_limbs(member, AS_OF)
    page = Paginator(limbs, PAGE_SIZE).get_page(1)
    counts(limbs, AS_OF)
    return [row_of(limb, AS_OF) for limb in page]


def run(say, size: list[int], seed: int) -> None:
    """Ask for the due list of registries of each size, and say what it took."""
    say(f"three clinics, one limb a child, first page of {PAGE_SIZE} rows with the counts of all states, seed {seed}")
    with scratch_database():
        measured = [_measured(say, children, seed) for children in size]
    baseline = f"{size[0]:,} children"
    print_figures(
        say,
        [
            Figure(f"due list, {n:,} children", taken, baseline, measured[0])
            for n, taken in zip(size, measured, strict=True)
        ],
    )


def _measured(say, children, seed):
    call_command("flush", interactive=False, verbosity=0)
    member, filled = timed(lambda: make_registry(children, seed))
    with CaptureQueriesContext(connection) as asked:
        rows = due_page(member)
    say(f"{children:,} children: {len(asked)} queries for {len(rows)} rows; filled in {filled.clock:.1f} s")
    return each_timed(lambda _: due_page(member), range(REPEATS)) * (1 / REPEATS)
