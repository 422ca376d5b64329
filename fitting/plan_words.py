"""Why a plan puts a refit where it does, in sentences; and a chance in words."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fitting.calc.planner import reasons
from fitting.wording import day_words

WHY = {
    reasons.PINNED: gettext_lazy("This booking stands and is not moved."),
    reasons.BEST_DAY: gettext_lazy("The best day there is."),
    reasons.BETTER_DAY_FULL: gettext_lazy("A better day is full."),
    reasons.TOGETHER: gettext_lazy("The household comes once, for all of its refits."),
    reasons.LANGUAGE_DAY: gettext_lazy("An interpreter is there that day."),
    reasons.WITH_STAFF: gettext_lazy("The person asked for works that day."),
    reasons.FIRST_READY: gettext_lazy("The first day the socket can be ready."),
    reasons.IN_TIME: gettext_lazy("In time: by the last good day."),
    reasons.AFTER_LAST_GOOD_DAY: gettext_lazy("After the last good day: no earlier day could take it."),
}
NO_DAY = {
    reasons.NO_CLINIC_DAY: gettext_lazy("The clinic has no open day ahead."),
    reasons.NO_LANGUAGE_DAY: gettext_lazy("No open day has an interpreter for the family."),
    reasons.NO_STAFF_DAY: gettext_lazy("Nobody who could do it works on an open day."),
    reasons.READY_TOO_LATE: gettext_lazy("The socket is ready only after the last open day."),
    reasons.TOO_LONG: gettext_lazy("It takes longer than any open day has."),
    reasons.DAYS_FULL: gettext_lazy("Every open day that suits is full."),
}
LEAST, MOST, STEP = 0.05, 0.95, 5


def why_words(codes, instead_of=None) -> list[str]:
    """The reasons of a placement, the deciding one first; a full better day is named."""
    return [_why(code, instead_of) for code in codes]


def _why(code, instead_of):
    if code == reasons.BETTER_DAY_FULL and instead_of:
        return _("A better day, %(day)s, is full.") % {"day": day_words(instead_of)}
    return str(WHY[code])


def chance_words(chance: float) -> str:
    """A chance to the nearest five in a hundred: more figures would claim more than is known."""
    if chance < LEAST:
        return _("less than 5 in 100")
    if chance > MOST:
        return _("more than 95 in 100")
    return _("about %(chance)d in 100") % {"chance": STEP * round(100 * chance / STEP)}
