"""What muscle recordings and their figures say, in sentences for staff."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.calc.muscle.recording import HARD, LIGHT, MEDIUM, REST
from fitting.calc.muscle.verdict import Verdict

LEVEL_WORDS = {
    REST: gettext_lazy("rest"),
    LIGHT: gettext_lazy("light"),
    MEDIUM: gettext_lazy("medium"),
    HARD: gettext_lazy("hard"),
}
VERDICT_WORDS = {
    Verdict.USABLE: gettext_lazy("usable"),
    Verdict.MARGINAL: gettext_lazy("marginal"),
    Verdict.RETRY: gettext_lazy("retry"),
}
VERDICT_SENTENCES = {
    Verdict.USABLE: gettext_lazy("The levels stand well apart."),
    Verdict.MARGINAL: gettext_lazy("Two levels lie close together. Use fewer levels, or practise and record again."),
    Verdict.RETRY: gettext_lazy("Two levels cannot be told apart yet. Move the electrode or try on another day."),
}
UNIT_WORDS = {
    "uV": gettext_lazy("microvolts"),
    "mV": gettext_lazy("millivolts"),
    "V": gettext_lazy("volts"),
    "counts": gettext_lazy("converter steps"),
}

FAULTS = {
    "time_missing": gettext_lazy("Row %(row)d has no time. Nothing could be computed; the file is kept."),
    "time_backwards": gettext_lazy(
        "Time stands still or runs backwards after %(at)s s (row %(row)d, %(rows)d rows in all). Nothing could be "
        "computed; the file is kept. Export the recording again."
    ),
    "time_in_ms": gettext_lazy(
        "The time column steps by %(step).3g, which cannot be seconds. Say that it is in milliseconds and read the "
        "file again."
    ),
    "too_short": gettext_lazy("The recording lasts %(seconds).1f s. Two seconds is the least that can be filtered."),
    "gap": gettext_lazy(
        "Samples are missing in time at %(at)s s (%(gaps)d gaps, the longest %(longest_ms).0f ms). A wireless link may "
        "have dropped out."
    ),
    "rate_too_low": gettext_lazy(
        "The recording has %(rate_hz).0f samples a second. Below %(least_hz).0f the muscle signal is lost, so nothing "
        "was computed; the file is kept."
    ),
    "rate_low": gettext_lazy(
        "The recording has %(rate_hz).0f samples a second. Record at %(good_hz).0f or more when the recorder can."
    ),
    "missing": gettext_lazy("%(percent).1f %% of the samples are missing, the first at %(at)s s."),
    "dead": gettext_lazy("This channel carries no signal at all. Check the plug, the electrode and its contact."),
    "unit": gettext_lazy(
        "The numbers were said to be %(declared)s but look like %(looks_like)s. If so, correct the unit and read the "
        "file again."
    ),
    "clipped": gettext_lazy(
        "The signal is cut off at its largest value from %(at)s s on (%(samples)d samples). Lower the gain; hard "
        "flexes read too low here."
    ),
    "lead_off": gettext_lazy(
        "The signal stood still at %(at)s s (%(times)d times, the longest %(longest_ms).0f ms). The electrode may have "
        "lifted off."
    ),
    "rectified": gettext_lazy(
        "The signal never goes below zero: it was rectified or smoothed before it was recorded. It is used as it came, "
        "without a filter. Never compare it with a raw recording."
    ),
    "motion": gettext_lazy(
        "Slow swings outweigh the muscle at %(at)s s: the cable or the electrode moved, or the skin was pulled."
    ),
    "mains": gettext_lazy(
        "%(percent).0f %% of what is seen at rest is %(mains_hz).0f Hz hum from the mains. Check skin contact, move "
        "away from chargers, record on battery."
    ),
    "cue_outside": gettext_lazy(
        "%(cues)d cues lie outside the recording or in a gap, the first at %(at)s s. They were left out."
    ),
    "no_rest": gettext_lazy("There is no rest of at least %(least_s).0f s in the cues, so nothing could be computed."),
    "only_rest": gettext_lazy("The cues hold rest only. Add at least one flex."),
    "level_missing": gettext_lazy("Not asked for: %(levels)s. The boundaries are between the others."),
    "lone_levels": gettext_lazy(
        "Held only once: %(levels)s. The expected error is too good to be true; repeat each level three times."
    ),
    "drift": gettext_lazy(
        "The signal changed by %(percent)+.0f %% from the first repetition to the last: tiring, sweat or drying gel."
    ),
    "cocontraction": gettext_lazy(
        "The other muscle worked along with this one, at %(percent).0f %% of its own hard level relative to it. "
        "Practise them one at a time, or move one electrode."
    ),
}

FILE_ERRORS = {
    "too_large": gettext_lazy("The file is larger than %(most_mb)d MB. Send ten minutes at most."),
    "too_long": gettext_lazy("The recording is longer than %(most_minutes)d minutes. Send a shorter one."),
    "too_many_rows": gettext_lazy("The file has more than %(most)d rows. Send ten minutes at most."),
    "packed": gettext_lazy("This is a packed file or a spreadsheet. Save the recording as text (CSV) and send that."),
    "not_text": gettext_lazy("This is not a text file. Save the recording as text (CSV) and send that."),
    "empty": gettext_lazy("The file is empty."),
    "altered": gettext_lazy("The stored file is not the one that was sent. Tell the administrator; it is not used."),
    "no_rows": gettext_lazy(
        "No row of numbers was found in the first %(most)d lines. The file needs time and one or two channels, "
        "separated by commas, semicolons or tabs."
    ),
    "channels": gettext_lazy(
        "The file has %(channels)d signal columns. Keep time, one or two channels and, if there is one, the cue column."
    ),
    "one_row": gettext_lazy("The file has a single row of numbers."),
    "cue_channel": gettext_lazy("A cue is for the second muscle, but the file has one channel only."),
    "columns": gettext_lazy("Line %(line)d has %(found)d columns where %(expected)d are expected."),
    "number": gettext_lazy("Line %(line)d holds \u201c%(text)s\u201d, which is not a number."),
    "cue": gettext_lazy(
        "Line %(line)d has the cue %(text)s. Cues are rest, light, medium and hard, or 0 to 3; 11 to 13 for the second "
        "muscle."
    ),
}


def level_list(levels) -> str:
    return ", ".join(str(LEVEL_WORDS[level]) for level in levels)


def fault_sentence(fault: Mapping) -> str:
    """Sentence for one fault as stored: code, at_s, channel, figures."""
    figures = dict(fault["figures"])
    if "levels" in figures:
        figures["levels"] = level_list(figures["levels"])
    for name in ("declared", "looks_like"):
        if name in figures:
            figures[name] = str(UNIT_WORDS[figures[name]])
    if fault["at_s"] is not None:
        figures["at"] = f"{fault['at_s']:.2f}"
    sentence = str(FAULTS[fault["code"]]) % figures
    if fault["channel"] is None:
        return sentence
    return _("Channel %(channel)d: %(sentence)s") % {"channel": fault["channel"] + 1, "sentence": sentence}


def file_error_sentence(code: str, figures: Mapping) -> str:
    """Sentence for a file that could not be read."""
    return str(FILE_ERRORS[code]) % figures
