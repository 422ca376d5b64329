"""The questions a reading raises, each in one plain sentence with its figures in the clinic's units."""

from collections.abc import Callable

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.calc.plausibility import Alert

THIRD_TAKE = "third_take"

SENTENCES = {
    "out_of_range": gettext_lazy("%(value)s is not possible here: from %(low)s to %(high)s is. Check the unit."),
    "unit_slip": gettext_lazy(
        "%(value)s is %(ratio)s times the last value, %(before)s. A unit may be mixed up: was %(meant)s meant?"
    ),
    "longer_than_sound": gettext_lazy(
        "%(value)s is longer than the sound side, %(sound)s, from the same landmarks. Check the side and the landmarks."
    ),
    "shrinking": gettext_lazy(
        "%(value)s is less than last time, %(before)s, by more than the noise of ±%(noise)s. "
        "Check the place, the tape and the posture."
    ),
    "grown_too_much": gettext_lazy(
        "%(value)s is more than growth explains: last time %(before)s, so at most %(most)s now. "
        "Was the sound arm, or another child, measured?"
    ),
    "beyond_z": gettext_lazy(
        "This is far outside what children of this age measure (z-score %(z)s). Check the unit and the birth date."
    ),
    "rising_distally": gettext_lazy(
        "%(girth)s is more than a tenth above the station before it, %(before)s. Stations may be mixed up."
    ),
    THIRD_TAKE: gettext_lazy("The two takes differ by %(gap)s, more than %(limit)s. Take a third."),
    "before_birth": gettext_lazy("This is before the child was born. Check the day."),
    "in_future": gettext_lazy("This is in the future. Check the day and the time."),
}

WAS_MEANT = gettext_lazy("Was %(meant)s meant?")
PLAIN_FIGURES = {"ratio": 2, "z": 1}  # decimals of figures that are not lengths or weights


def alert_sentence(alert: Alert, show: Callable[[float], str]) -> str:
    """An alert as a sentence. show: a length or weight in the clinic's unit."""
    figures = {
        name: number_format(round(figure, PLAIN_FIGURES[name]), PLAIN_FIGURES[name])
        if name in PLAIN_FIGURES
        else show(figure)
        for name, figure in alert.figures.items()
    }
    sentence = str(SENTENCES[alert.code]) % figures
    if alert.code == "out_of_range" and "meant" in figures:
        return f"{sentence} {WAS_MEANT % figures}"
    return sentence


SHORT = {
    "out_of_range": gettext_lazy("not a possible value"),
    "unit_slip": gettext_lazy("a unit slip was asked about"),
    "longer_than_sound": gettext_lazy("longer than the sound side"),
    "shrinking": gettext_lazy("smaller than last time beyond noise"),
    "grown_too_much": gettext_lazy("larger than growth explains"),
    "beyond_z": gettext_lazy("far outside the growth reference"),
    "rising_distally": gettext_lazy("larger than the station before it"),
    THIRD_TAKE: gettext_lazy("takes apart, no third"),
}


def answered_words(alert: dict) -> str:
    """An alert as a reading stores it, with its answer, in one line."""
    asked = str(SHORT.get(alert["code"], alert["code"]))
    if alert.get("answer") == "confirmed":
        return _("%(asked)s; confirmed, because: %(because)s") % {"asked": asked, "because": alert.get("because", "")}
    before = " / ".join(alert.get("typed_first", ()))
    return _("%(asked)s at %(typed)s; remeasured") % {"asked": asked, "typed": before}
