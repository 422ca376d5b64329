"""What the forecast check page shows: promises held against what happened, and the clinic's own error and wander."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.backtest import AGE_BANDS
from fitting.calc.calibration import (
    AGREES,
    NEEDED,
    TOO_FEW,
    TOO_NARROW,
    TOO_WIDE,
    DateErrors,
    Judged,
    date_errors,
    judged,
)
from fitting.calc.own_error import NEEDED_DIFFERENCES
from fitting.calc.units import DAYS_PER_MONTH
from fitting.check_charts import CalibrationChart, calibration_chart
from fitting.check_rows import CheckRows, check_rows, in_arrays
from fitting.inputs import settings_of
from fitting.proposals import Proposal, TakesSeen, WhyNot, proposals, takes_seen
from patients.models import Clinic, Limb

AHEAD_MONTHS = ((0, 4), (4, 8), (8, 14), (14, 25))
MEASURES = {
    "girth": gettext_lazy("girths of the residual limb"),
    "length": gettext_lazy("lengths of the sound side"),
    "stature": gettext_lazy("height"),
}
OUTGROWN_IN = {"girth": gettext_lazy("outgrown in girth"), "length": gettext_lazy("outgrown in length")}
FAMILIES = {
    "girth": gettext_lazy("girths"),
    "length": gettext_lazy("lengths"),
    "stature": gettext_lazy("height"),
    "weight": gettext_lazy("weight"),
}
VERDICTS = {
    AGREES: gettext_lazy("as promised"),
    TOO_NARROW: gettext_lazy("bands too narrow: surer than they should be"),
    TOO_WIDE: gettext_lazy("bands too wide: less sure than they could be"),
    TOO_FEW: gettext_lazy("too few to judge"),
}
SETTINGS = {
    "lambda_girth": gettext_lazy("wander of girths, lambda"),
    "lambda_length": gettext_lazy("wander of lengths, lambda"),
    "lambda_stature": gettext_lazy("wander of height, lambda"),
    "tem_girth_mm": gettext_lazy("TEM of girths [mm]"),
    "tem_length_mm": gettext_lazy("TEM of lengths [mm]"),
    "tem_stature_mm": gettext_lazy("TEM of height [mm]"),
}


@dataclass(frozen=True)
class GroupRow:
    label: str
    judged: Judged

    @property
    def verdict(self) -> str:
        return str(VERDICTS[self.judged.verdict])


@dataclass(frozen=True)
class Group:
    """Tests told apart by one thing."""

    title: str
    rows: list[GroupRow]


@dataclass(frozen=True)
class DateRow:
    label: str
    errors: DateErrors


@dataclass(frozen=True)
class ProposalRow:
    proposal: Proposal
    label: str
    why_not: str


@dataclass(frozen=True)
class TakesRow:
    seen: TakesSeen
    label: str


@dataclass(frozen=True)
class ForecastCheck:
    """Everything on the page. proposals are empty unless one clinic is looked at."""

    promises: int
    judged: Judged
    summary: str
    chart: CalibrationChart | None
    groups: list[Group]
    dates: list[DateRow]
    outlasted: int
    proposals: list[ProposalRow]
    takes: list[TakesRow]


def forecast_check(clinics: list[Clinic], as_of: date) -> ForecastCheck:
    """Hold the promises of some clinics against what happened; as many queries for one child as for many."""
    rows = check_rows(clinics)
    everything = in_arrays(rows.outcomes)
    found = judged(everything)
    groups = _groups(rows) if rows.outcomes else []
    one = clinics[0] if len(clinics) == 1 else None
    return ForecastCheck(
        promises=rows.promises,
        judged=found,
        summary=_summary(found, groups),
        chart=calibration_chart(everything),
        groups=groups,
        dates=_dates(rows),
        outlasted=sum(s.outgrown is None and s.late is not None and s.late < as_of for s in rows.sockets),
        proposals=[_proposal_row(p) for p in proposals(rows, settings_of(one))] if one else [],
        takes=[TakesRow(seen, str(FAMILIES[seen.family])) for seen in takes_seen(rows)] if one else [],
    )


def _summary(found, groups):
    if not found.n:
        return _("No promise has been tested yet: that needs a later reading of the same place.")
    if found.verdict == TOO_FEW:
        return _(
            "Too few to judge: %(have)d tests that do not overlap, %(needed)d are needed. With that many, a band that "
            "holds 80 of 100 is shown within 10 either way, 19 times in 20."
        ) % {"have": found.independent, "needed": NEEDED}
    told = _(
        "All together, the band that should hold 80 of 100 readings held %(share)d (95 %% interval %(low)d to "
        "%(high)d): %(verdict)s."
    )
    worst = _worst(groups)
    if worst is None:
        return told % _share_words(found)
    named = _share_words(worst.judged) | {"group": worst.label}
    return " ".join((told % _share_words(found), str(WORST) % named))


WORST = gettext_lazy("Worst group, %(group)s: %(share)d (%(low)d to %(high)d), %(verdict)s.")


def _share_words(found):
    share = found.held[80]
    words = {name: round(100 * getattr(share, name)) for name in ("share", "low", "high")}
    return words | {"verdict": VERDICTS[found.verdict]}


def _worst(groups) -> GroupRow | None:
    """The judged group whose bands mislead most: too narrow before too wide before as promised."""
    order = (TOO_NARROW, TOO_WIDE, AGREES)
    judged_rows = [row for group in groups for row in group.rows if row.judged.verdict in order]

    def rank(row):
        share, verdict = row.judged.held[80].share, row.judged.verdict
        return order.index(verdict), -share if verdict == TOO_WIDE else share

    return min(judged_rows, key=rank, default=None)


def _groups(rows: CheckRows):
    levels = dict(Limb.Level.choices)
    return [
        _group(_("By measure"), rows.outcomes, MEASURES, lambda outcome: outcome.family),
        _group(_("By level"), rows.outcomes, levels, lambda outcome: outcome.level),
        _group(_("By age"), rows.outcomes, _age_labels(), lambda outcome: _age_band(outcome.age_years)),
        _group(_("By time ahead"), rows.outcomes, _ahead_labels(), lambda outcome: _ahead_band(outcome.ahead_days)),
    ]


def _group(title: str, outcomes, labels: dict, key: Callable) -> Group:
    told = {name: [] for name in labels}
    for outcome in outcomes:
        told[key(outcome)].append(outcome)
    return Group(title, [GroupRow(str(labels[name]), judged(in_arrays(some))) for name, some in told.items() if some])


def _age_labels():
    return {band: _("%(low)d to %(high)d years") % {"low": band[0], "high": band[1]} for band in AGE_BANDS}


def _age_band(years):
    return next((band for band in AGE_BANDS if years < band[1]), AGE_BANDS[-1])


def _ahead_labels():
    return {band: _("%(low)d to %(high)d months") % {"low": band[0], "high": band[1]} for band in AHEAD_MONTHS}


def _ahead_band(days):
    return next((band for band in AHEAD_MONTHS if days < band[1] * DAYS_PER_MONTH), AHEAD_MONTHS[-1])


def _dates(rows):
    """Date errors of the sockets retired as outgrown: all, then by measure, level and age."""
    outgrown = [socket for socket in rows.sockets if socket.outgrown]
    levels = dict(Limb.Level.choices)
    groups = [(_("all sockets"), outgrown)]
    groups += [(label, [s for s in outgrown if s.family == name]) for name, label in OUTGROWN_IN.items()]
    groups += [(label, [s for s in outgrown if s.level == name]) for name, label in levels.items()]
    groups += [
        (label, [s for s in outgrown if _age_band(s.age_years) == band]) for band, label in _age_labels().items()
    ]
    return [DateRow(str(label), _errors(sockets)) for label, sockets in groups if sockets]


def _errors(sockets):
    names = ("early", "likely", "late", "outgrown")
    return date_errors(*([_ordinal(getattr(socket, name)) for socket in sockets] for name in names))


def _ordinal(day):
    return day.toordinal() if day else float("nan")


def _proposal_row(proposal):
    return ProposalRow(proposal, str(SETTINGS[proposal.setting]), _why_not(proposal))


def _why_not(proposal):
    if proposal.why_not is None:
        return ""
    if proposal.why_not == WhyNot.TOO_FEW:
        have = proposal.estimate.n if proposal.estimate else 0
        return _("too few: %(have)d of %(needed)d") % {"have": have, "needed": NEEDED_DIFFERENCES}
    return {
        WhyNot.AT_EDGE: _("cannot be told apart from zero or from much more"),
        WhyNot.BELOW_TAKES: _("below what two takes of one sitting differ by, so it is not believed"),
        WhyNot.AGREES: _("agrees with the one in use"),
        WhyNot.TOO_WIDE: _("the interval is still too wide to act on"),
    }[proposal.why_not]
