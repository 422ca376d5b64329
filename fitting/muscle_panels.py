"""A recording's page in words: how far it is, what is wrong with it, and a panel of figures for each channel."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from fitting.calc.muscle.controller import DEBOUNCE_MS, HYSTERESIS_LN, Replay, TradeOff
from fitting.calc.muscle.expected_error import FIXED_SHARES
from fitting.calc.muscle.recording_faults import REFUSED
from fitting.models import MuscleRecording, MuscleSite
from fitting.muscle_charts import SignalChart, TradeOffChart, signal_chart, trade_off_chart
from fitting.muscle_inputs import (
    channel_of,
    is_fitted,
    level_names,
    replay_with,
    stored_replay,
    stored_trade_off,
    trade_off_with,
)
from fitting.muscle_record import Comparison, comparison
from fitting.muscle_words import LEVEL_WORDS, VERDICT_SENTENCES, VERDICT_WORDS, fault_sentence, file_error_sentence

State = MuscleRecording.State
STEPS = (State.WAITING, State.READING, State.COMPUTING, State.DONE)
NO_WORKER_AFTER = timedelta(seconds=30)


@dataclass(frozen=True)
class ConfusionRow:
    """Where the controller was while one level was asked for: shares [%] in the order of the levels."""

    word: str
    shares: tuple[int, ...]
    right: int


@dataclass(frozen=True)
class ChannelPanel:
    """One channel: picture, and where there are figures, verdict, replay and form."""

    number: int
    site: MuscleSite | None
    chart: SignalChart
    figures: Mapping | None = None
    verdict: str = ""
    verdict_word: str = ""
    verdict_sentence: str = ""
    error: str = ""
    fixed: tuple[str, ...] = ()
    comparison: Comparison | None = None
    changes: tuple[str, ...] = ()
    replay: Replay | None = None
    held_out: bool = True
    confusion: tuple[ConfusionRow, ...] = ()
    level_words: tuple[str, ...] = ()
    trade_off: tuple[TradeOff, ...] = ()
    trade_chart: TradeOffChart | None = None
    form: object = None


def recording_words(row: MuscleRecording, now: datetime) -> dict:
    """How far the reading is and what was found wrong, in sentences; refused faults first."""
    faults = sorted(row.result.get("faults", ()), key=lambda fault: fault["weight"] != REFUSED)
    at = STEPS.index(row.state) if row.state in STEPS else None
    return {
        "unfinished": row.state in MuscleRecording.UNFINISHED,
        "steps": [
            (State(step).label, at is not None and number < at, step == row.state) for number, step in enumerate(STEPS)
        ],
        "no_worker": row.state == State.WAITING and now - row.touched_at > NO_WORKER_AFTER,
        "file_error": file_error_sentence(row.error["code"], row.error["figures"]) if row.error else "",
        "faults": [(fault["weight"] == REFUSED, fault_sentence(fault)) for fault in faults],
    }


def channel_panels(row: MuscleRecording, forms: Mapping) -> list[ChannelPanel]:
    """A panel for each channel that carries a signal."""
    return [_panel(row, int(number), forms.get(int(number))) for number in sorted(row.result.get("traces", ()))]


def _panel(row, number, form):
    figures, result = channel_of(row.result, number), row.result
    if figures is None:
        return ChannelPanel(number, row.site_of(number), signal_chart(result, None, number, ()))
    tried = form is not None and form.is_bound and form.is_valid()
    boundaries = form.boundaries if tried else figures["fitted"]
    hysteresis_ln, debounce_ms = _choice(form, tried)
    replay, curve = _replayed(result, figures, boundaries, hysteresis_ln, debounce_ms, tried)
    held_against = comparison(row, number)
    return ChannelPanel(
        number=number,
        site=row.site_of(number),
        chart=signal_chart(result, figures, number, boundaries),
        figures=figures,
        verdict=figures["verdict"],
        verdict_word=str(VERDICT_WORDS[figures["verdict"]]),
        verdict_sentence=str(VERDICT_SENTENCES[figures["verdict"]]),
        error=_error_words(figures["expected_error"]),
        fixed=tuple(_fixed_words(figures)),
        comparison=held_against,
        changes=tuple(_change_words(change) for change in held_against.changes) if held_against else (),
        replay=replay,
        held_out=is_fitted(figures, boundaries),
        confusion=tuple(_confusion(replay, level_names(figures))),
        level_words=tuple(str(LEVEL_WORDS[level]) for level in level_names(figures)),
        trade_off=curve,
        trade_chart=trade_off_chart(curve, hysteresis_ln, debounce_ms),
        form=form,
    )


def _choice(form, tried):
    if tried:
        return form.cleaned_data["hysteresis_ln"], form.cleaned_data["debounce_ms"]
    return HYSTERESIS_LN, DEBOUNCE_MS


def _replayed(result, figures, boundaries, hysteresis_ln, debounce_ms, tried):
    """As stored where nothing was typed; else computed from the stored readings."""
    if not tried:
        return stored_replay(figures), stored_trade_off(figures)
    number = figures["channel"]
    replay = replay_with(result, number, boundaries, hysteresis_ln, debounce_ms)
    if is_fitted(figures, boundaries):
        return replay, stored_trade_off(figures)
    return replay, trade_off_with(result, number, boundaries)


def _error_words(error):
    words = {name: f"{100 * error[name]:.0f}" for name in ("share", "low", "high")}
    return _("%(share)s %% in the wrong level, between %(low)s and %(high)s %% with 95 %% confidence") % words


def _fixed_words(figures):
    for name, error in figures["fixed_errors"].items():
        shares = " / ".join(f"{100 * share:.0f}" for share in FIXED_SHARES[name])
        words = {"shares": shares, "wrong": f"{100 * error['share']:.0f}"}
        yield _("fixed at %(shares)s %% of the strongest: %(wrong)s %% wrong") % words


def _change_words(change):
    words = {"level": LEVEL_WORDS[change.level], "percent": f"{100 * (2.718281828**change.ln - 1):+.0f}"}
    if change.noise:
        return _("%(level)s %(percent)s %%: noise") % words
    return _("%(level)s %(percent)s %%: a real change") % words


def _confusion(replay, levels):
    for number, (level, counts) in enumerate(zip(levels, replay.confusion, strict=True)):
        total = sum(counts) or 1
        yield ConfusionRow(str(LEVEL_WORDS[level]), tuple(round(100 * count / total) for count in counts), number)
