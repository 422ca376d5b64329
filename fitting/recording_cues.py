"""Cues as typed, one a line: "rest 0-10", "light 10 13.5", "hard 20 to 24"; a 2 after the level: second muscle."""

import re
from collections.abc import Sequence

from django.utils.translation import gettext as _

from fitting.calc.errors import DoorpostError
from fitting.calc.muscle.recording import LEVELS, SHORTEST_CUE_S, Cue
from fitting.muscle_words import LEVEL_WORDS

MOST_CUES = 400
NUMBER = r"(\d+(?:[.,]\d+)?)"
LINE = re.compile(
    rf"(?P<word>[^\W\d_]+)\s*(?P<muscle>2(?=[\s:]))?\s*:?\s*{NUMBER}\s*s?\s*(?:-|–|to|;|\s)\s*{NUMBER}\s*s?"
)


class CueTextError(DoorpostError):
    """A line that is no cue; the text says which and why."""


def parse_cues(text: str) -> tuple[Cue, ...]:
    """Cues in the order typed; empty lines are passed over. Raises CueTextError with the number of the line."""
    lines = [(number, line.strip()) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
    if len(lines) > MOST_CUES:
        raise CueTextError(_("There are more than %(most)d cues.") % {"most": MOST_CUES})
    return tuple(_cue(number, line) for number, line in lines)


def cues_text(cues: Sequence[Cue]) -> str:
    """Cues as they would be typed."""
    return "\n".join(
        f"{LEVEL_WORDS[cue.level]}{' 2' if cue.channel else ''} {cue.start_s:g}-{cue.end_s:g}" for cue in cues
    )


def _cue(number, line):
    match = LINE.fullmatch(line)
    if not match:
        raise CueTextError(
            _("Line %(line)d is not a cue. Write the level and from when to when in seconds, such as: light 10-13.")
            % {"line": number}
        )
    start_s, end_s = (float(text.replace(",", ".")) for text in match.groups()[-2:])
    if end_s - start_s < SHORTEST_CUE_S:
        raise CueTextError(
            _("Line %(line)d: a cue lasts at least %(least)s s and ends after it starts.")
            % {"line": number, "least": SHORTEST_CUE_S}
        )
    return Cue(_level(number, match["word"]), start_s, end_s, 1 if match["muscle"] else 0)


def _level(number, word):
    for level in LEVELS:
        if word.casefold() in (level, str(LEVEL_WORDS[level]).casefold()):
            return level
    raise CueTextError(
        _("Line %(line)d: %(word)s is not a level. Use rest, light, medium or hard.") % {"line": number, "word": word}
    )
