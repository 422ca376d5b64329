"""How good and how fast the planner is on a year of three invented clinics."""

import resource
from datetime import date, timedelta
from time import perf_counter, process_time

import numpy as np

from fitting.calc.planner.plan import plan
from fitting.calc.planner.problem import ClinicDay, Problem, Refit

START = date(2026, 1, 5)
CLINICS = ("Tern Island", "Millbrook", "Eastgate")
MINUTES = (60,)
SESSION_MINUTES = 60  # days are open for whole sessions
FULL = 0.92  # share of all minutes that is asked for
BACKLOG, BACKLOG_DAYS = 0.15, 120  # share that is outgrown already at the 10 % day, and since when at most
HOUSEHOLDS = 0.08  # share of refits that come with a sibling's
OTHER_LANGUAGE = 0.15
KIB_PER_MIB = 1024
OPTIONS = ("refits", "days", "clinics", "minutes", "seed")


def invented_problem(refits: int, days: int, clinics: int, seed: int, minutes=MINUTES) -> Problem:
    """A year of working days at each clinic, and refits spread over it, so that the days are 92 % asked for."""
    rng = np.random.default_rng(seed)
    asked = tuple(_refit(number, days, CLINICS[:clinics], minutes, rng) for number in range(refits))
    sessions = sum(refit.minutes for refit in asked) / FULL / (days * clinics) / SESSION_MINUTES
    return Problem(START, asked, tuple(_days(days, CLINICS[:clinics], sessions, rng)))


def _days(days, clinics, sessions, rng):
    for number in range(days):
        on = START + timedelta(days=number // 5 * 7 + number % 5)
        languages = frozenset({"es"} if number % 5 in (1, 3) else ())
        for clinic in clinics:
            minutes = SESSION_MINUTES * int(sessions + rng.random())
            yield ClinicDay(f"{clinic} {on}", clinic, on, minutes, (("", minutes),), languages)


def _refit(number, days, clinics, minutes, rng):
    first = -BACKLOG_DAYS if rng.random() < BACKLOG else 0
    early = START + timedelta(days=int(rng.integers(first, 0) if first else rng.integers(0, days * 7 / 5)))
    likely = early + timedelta(days=int(rng.gamma(4, 25)) + 7)
    home = int(rng.integers(len(clinics)))
    travel = tuple((name, 40 if place == home else int(rng.integers(90, 240))) for place, name in enumerate(clinics))
    return Refit(
        key=str(number),
        minutes=int(rng.choice(minutes)),
        ready_on=early - timedelta(days=int(rng.integers(14, 50))),
        fitted_by=early - timedelta(days=7),
        early=early,
        likely=likely,
        late=likely + (likely - early) * float(rng.uniform(0.9, 1.6)),
        travel_minutes=travel,
        household=f"household {number // 2}" if rng.random() < HOUSEHOLDS else "",
        language="es" if rng.random() < OTHER_LANGUAGE else "",
    )


def add_arguments(parser):
    parser.add_argument("--refits", type=int, default=2000)
    parser.add_argument("--days", type=int, default=250)
    parser.add_argument("--clinics", type=int, default=3, choices=(1, 2, 3))
    parser.add_argument(
        "--minutes", type=int, nargs="+", default=MINUTES, help="how long refits take, drawn from these"
    )
    parser.add_argument("--seed", type=int, default=1)


def run(say, refits: int, days: int, clinics: int, minutes, seed: int) -> None:
    """Plan an invented year and say what it costs, how close to the best it is, and what it took."""
    problem = invented_problem(refits, days, clinics, seed, minutes)
    began, began_cpu = perf_counter(), process_time()
    made = plan(problem)
    seconds, cpu_seconds = perf_counter() - began, process_time() - began_cpu
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / KIB_PER_MIB
    say(f"{refits} refits, {days} days at {clinics} clinics, {FULL:.0%} of the minutes asked for, seed {seed}")
    say(f"refits of {'/'.join(map(str, minutes))} minutes")
    say(f"cost         {made.cost:10.1f} child-weeks, {len(made.unplaced)} without a day")
    say(f"LP bound     {made.bound:10.1f} child-weeks; the plan is {made.gap:.2%} above it")
    say(f"earliest due {made.greedy_cost:10.1f} child-weeks, {made.greedy_cost / made.cost:.2f} times the plan")
    say(f"time         {seconds:10.1f} s, of which {cpu_seconds:.1f} s computing")
    say(f"memory       {peak_mib:10.0f} MiB at most")
