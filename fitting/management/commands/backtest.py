"""Predict from each child's past only, and score what was predicted against what happened."""

import json
import sys
from collections import defaultdict
from dataclasses import asdict
from pathlib import Path

import numpy as np
from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from fitting import backtest
from fitting.calc.errors import DoorpostError
from fitting.calc.forecast import crossing_days
from fitting.calc.parts import part_of
from fitting.calc.refit_rules import ALLOWANCE, EARLY_WEEKS
from fitting.calc.scoring import score_bands, score_points
from fitting.calc.units import DAYS_PER_YEAR
from fitting.series_files import read_series_files

WEEK_DAYS = 7
REFITS_ASSUME = _(
    "a socket made at each of these readings, outgrown %(percent)d %% above it; the calendar replaces it after 1 year "
    "up to age 5, 2 years to 12, 3 years to 21 (from memory), the forecast a week before its early day as told then, "
    "or as told anew at each later reading; thrown away early: more than %(weeks)d weeks of wear left; counted while "
    "the child is seen"
)
ALL_AGES = "all ages"


def noise_of(text):
    """Noise by measure from "stature=3.5,girth:calf=1%" (mm, kg or percent)."""
    pairs = (pair.split("=") for pair in text.split(","))
    noise = {measure.strip(): amount.strip() for measure, amount in pairs}
    if any(float(amount.rstrip("%")) <= 0 for amount in noise.values()):
        raise ValueError
    return noise


class Command(BaseCommand):
    help = _("Score the forecast and plain rules on longitudinal records, each child's past only.")
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("children", type=Path, help=_("CSV: case, sex (F or M), birth_date"))
        parser.add_argument(
            "measurements", type=Path, help=_("CSV: case, date, measure, value, unit, error (optional)")
        )
        parser.add_argument(
            "--noise", type=noise_of, default={}, help=_("noise to add, such as stature=3.5,girth:calf=1%%")
        )
        parser.add_argument(
            "--measures", type=lambda text: text.split(","), help=_("measures to score, all unless named")
        )
        parser.add_argument("--seed", type=int, default=1, help=_("seed of the noise"))
        parser.add_argument("--alone", action="store_true", help=_("leave the companions (stature, weight) out"))
        parser.add_argument("--json", type=Path, help=_("file to write every score to"))

    def handle(self, children, measurements, noise, measures, seed, alone, **options):
        try:
            files = read_series_files(children, measurements)
        except DoorpostError as error:
            raise CommandError(str(error)) from error
        for sentence in files.complaints:
            self.stderr.write(sentence)
        tracks = backtest.tracks_of(files, noise, np.random.default_rng(seed))
        by_measure = defaultdict(list)
        for case in backtest.cases_of(files, tracks, measures):
            by_measure[case.measure].append(case)
        if not by_measure:
            raise CommandError(_("No reading has two or more past visits and something after them."))
        report = {measure: self._measure(measure, cases, tracks, alone) for measure, cases in by_measure.items()}
        if options["json"]:
            options["json"].write_text(json.dumps(report, indent=1))
        if files.complaints:
            sys.exit(2)

    def _measure(self, measure, cases, tracks, alone):
        self.stdout.write(_("%(measure)s: %(cases)d forecasts") % {"measure": measure, "cases": len(cases)})
        series = backtest.series_of(cases, tracks, alone)
        rows = []
        for months in backtest.AHEAD_MONTHS:
            rows += horizon_scores(series, cases, months)
            self.stderr.write(_("  %(months)d months ahead done") % {"months": months})
        for row in rows:
            self.stdout.write(sizes_line(row))
        last = np.array([case.track.read[case.past[-1]] for case in cases])
        crossings = crossing_days(series, last[:, None] * (1 + np.array(backtest.PERCENTS) / 100))
        dates = date_scores(crossings / DAYS_PER_YEAR, cases)
        for row in dates:
            self.stdout.write(dates_line(row))
        refits = refit_scores(series, cases) if part_of(measure).family == "girth" else []
        if refits:
            self.stdout.write("  " + REFITS_ASSUME % {"percent": round(100 * ALLOWANCE), "weeks": EARLY_WEEKS})
        for row in refits:
            self.stdout.write(refits_line(row))
        return {"sizes": rows, "dates": dates, "refits": refits}


def horizon_scores(series, cases, months):
    """Scores near one horizon of the forecast and of each plain rule, for all ages and by age band."""
    rows_with = np.array([i for i, case in enumerate(cases) if months in case.targets], int)
    if not rows_with.size:
        return []
    chosen = [cases[i] for i in rows_with]
    quantiles = backtest.quantiles_ahead(series.of(rows_with), chosen, months)
    rules = backtest.rules_ahead(chosen, months)
    happened = np.array([case.targets[months][1] for case in chosen])
    known = np.isfinite(quantiles).all(axis=1)
    rows = []
    for band, inside in bands_of(chosen):
        some = known & inside
        if some.any():
            head = {"months": months, "ages": band}
            rows.append({**head, "rule": "forecast", **asdict(score_bands(quantiles[some], happened[some]))})
            rows += [
                {**head, "rule": name, **asdict(score_points(p[some], happened[some]))} for name, p in rules.items()
            ]
    return rows


def bands_of(cases):
    """All ages, then each age band, as a name and which cases belong to it."""
    yield ALL_AGES, np.ones(len(cases), bool)
    for low, high in backtest.AGE_BANDS:
        yield f"{low}-{high} y", np.array([case.band == (low, high) for case in cases])


def date_scores(found, cases):
    """How the days of +2, +4 and +6 % did among children seen to pass them; found: (N, 3, 3) [years ahead]."""
    rows = []
    for band, inside in bands_of(cases):
        for k, percent in enumerate(backtest.PERCENTS):
            seen = np.array([percent in case.crossed for case in cases]) & inside
            if seen.any():
                happened = np.array([case.crossed[percent] for case, s in zip(cases, seen, strict=True) if s])
                rows.append({"percent": percent, "ages": band, **score_dates(found[seen, k], happened)})
    return rows


def score_dates(found, happened):
    """found: (N, 3) early, likely, late [years ahead], nan when never; happened: (N,) [years ahead]."""
    early, likely, late = np.where(np.isnan(found), np.inf, found).T
    return {
        "n": len(happened),
        "median_weeks": float(np.median(np.abs(np.minimum(likely, 5) - happened)) * DAYS_PER_YEAR / WEEK_DAYS),
        "cover80": float(np.mean((early <= happened) & (happened <= late))),
        "early_too_late": float(np.mean(early > happened)),
    }


def refit_scores(series, cases):
    """What the calendar rule and the forecast would cost in sockets, for all ages and by age band."""
    replaced, rows = backtest.refit_days(cases, series), []
    for band, inside in bands_of(cases):
        some = np.flatnonzero(inside)
        if some.size:
            costs = backtest.refit_costs([cases[i] for i in some], {rule: d[some] for rule, d in replaced.items()})
            rows += [{"ages": band, "rule": rule, **asdict(cost)} for rule, cost in costs.items()]
    return rows


def refits_line(row):
    return (
        f"  refits  {row['ages']:<9} {row['rule']:<20} sockets {row['sockets']:>5}  "
        f"outgrown weeks a socket {row['outgrown_weeks']:5.1f} (in {100 * row['outgrown_share']:3.0f} % of them)  "
        f"thrown away early {100 * row['thrown_away']:3.0f} %  unused weeks a socket {row['unused_weeks']:5.1f}"
    )


def sizes_line(row):
    figures = f"rmse {row['rmse']:7.2f}  mae {row['mae']:7.2f}  bias {row['bias']:+7.2f}  crps {row['crps']:6.2f}"
    cover = row["coverage"]
    covered = "" if cover is None else "  covers " + " ".join(f"{p}%: {100 * c:.0f}" for p, c in cover.items())
    return f"  {row['months']:>2} mo  {row['ages']:<9} {row['rule']:<13} n {row['n']:>5}  {figures}{covered}"


def dates_line(row):
    return (
        f"  +{row['percent']} %  {row['ages']:<9} n {row['n']:>5}  median {row['median_weeks']:5.1f} weeks  "
        f"covers 80%: {100 * row['cover80']:.0f}  early too late {100 * row['early_too_late']:.0f} %"
    )
