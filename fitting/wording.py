"""Plain sentences for a stored forecast as of a day, for staff and families; screen, due list and paper say these."""

from datetime import date

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, pgettext

from fitting.calc import next_action as act
from fitting.calc.limb import level_facts
from fitting.landmarks import landmark_word
from fitting.models import Forecast
from fitting.quantities import format_length

CAUTION = gettext_lazy("An estimate. The licensed prosthetist decides; local rules come first.")
FAMILY_CAUTION = gettext_lazy("This is our best guess. Your prosthetist decides.")
STOP_AND_CALL = gettext_lazy(
    "Stop wearing and call the same day: open skin, a blister, swelling, pain, or a numb, cold or blue limb."
)

NEVER_MEASURED = gettext_lazy("Never measured.")
MEASURE_FIRST = gettext_lazy("Measure the limb.")

SMALLER = "girth_smaller"  # by the tape, not seen
FINDINGS = {
    "overgrowth": gettext_lazy("pointed end, thin shiny skin or a tender bony tip"),
    "open_skin": gettext_lazy("open skin or a blister"),
    "numb_or_cold": gettext_lazy("numb, cold or blue"),
    "marks_stay": gettext_lazy("marks that do not clear in time"),
    "pain": gettext_lazy("pain"),
    "tight": gettext_lazy("too tight"),
    "not_full": gettext_lazy("does not go on fully"),
    "end_contact": gettext_lazy("the end of the limb touches the socket"),
    "end_gap": gettext_lazy("hardly any gap left at the end"),
    "brim": gettext_lazy("the brim has moved away from its landmark"),
    "loose": gettext_lazy("loose"),
    "slipping": gettext_lazy("slips off on a pull"),
    SMALLER: gettext_lazy("smaller than when the socket was made: have the fit looked at"),
    "weight": gettext_lazy("weight changed by a tenth or more since the limb was measured"),
    "wear_hours": gettext_lazy("worn for half the hours or less"),
}

NOTES = {
    "borrowed_shapes": gettext_lazy(
        "No growth table exists for residual limbs. The shape of growth is borrowed from sound arms, and the method "
        "was tried on published records of 136 children's calves and legs, not arms."
    ),
    "adult_data": gettext_lazy("How fast a new residual limb settles is known from adult legs only."),
    "estimated_length": gettext_lazy("There is no sound side: the length is estimated from the child's height."),
    "cut_at_table_age": gettext_lazy("The growth table ends before the forecast does, so it stops at that age."),
    "no_reference_under_24m": gettext_lazy(
        "Under two years there is no growth table for the arm: remeasure every three months instead."
    ),
    "stations_not_comparable": gettext_lazy(
        "Some stations of the socket were not measured at the same distance from the same landmark; they are left out."
    ),
    "end_gap_not_followed": gettext_lazy("The gap at the end of the socket could not be followed ahead."),
    "takes_differ": gettext_lazy(
        "Repeated takes on this child differ more than the clinic's error of measurement, so a larger error was used."
    ),
    "corrected_age": gettext_lazy("Born early: growth is read at the age counted from the due date."),
}


def day_words(day: date) -> str:
    """A day written out, such as 3 May 2026."""
    return date_format(day, pgettext("a day written out, in Django's date format letters", "j F Y"))


def short_day_words(day: date) -> str:
    """A day with the month cut short, such as 3 May 2026 or 14 Feb 2027."""
    return date_format(day, pgettext("a short day, in Django's date format letters", "j M Y"))


def age_words(birth_date: date, on: date) -> str:
    """Age in completed years and months."""
    months_lived = (on.year - birth_date.year) * 12 + on.month - birth_date.month - (on.day < birth_date.day)
    years, months = divmod(max(months_lived, 0), 12)
    parts = [ngettext("%d year", "%d years", years) % years] if years else []
    if months or not years:
        parts.append(ngettext("%d month", "%d months", months) % months)
    return " ".join(parts)


def landmark_words(level: str, landmark: str = "") -> str:
    """The landmark named, or else the one the stations of a level start from, in words."""
    return str(landmark_word(landmark or level_facts(level).station_landmark))


def part_words(part: str, level: str, unit: str) -> str:
    """A limiting part ("girth:60", "end_gap", "brim") in words; empty for none."""
    if part == "end_gap":
        return _("the gap at the end")
    if part == "brim":
        return _("the brim")
    if not part:
        return ""
    _girth, *landmark, station_mm = part.split(":")
    if float(station_mm) == 0:
        return _("the girth at the %(landmark)s") % {"landmark": landmark_words(level, *landmark)}
    return _("the girth %(distance)s from the %(landmark)s") % {
        "distance": format_length(float(station_mm), unit),
        "landmark": landmark_words(level, *landmark),
    }


def limiting_words(forecast: Forecast, unit: str) -> str:
    return part_words(forecast.limiting, forecast.limb.level, unit)


LENGTH_BANDS = {
    "very_short": gettext_lazy("very short"),
    "short": gettext_lazy("short"),
    "medium": gettext_lazy("medium"),
    "standard": gettext_lazy("standard"),
    "long": gettext_lazy("long"),
    "humeral_neck": gettext_lazy("humeral neck"),
    "wrist_disarticulation": gettext_lazy("wrist disarticulation length"),
    "elbow_disarticulation": gettext_lazy("elbow disarticulation length"),
}


def band_words(band: str | None) -> str:
    """A band of length level in words; empty for none."""
    return str(LENGTH_BANDS[band]) if band else ""


def finding_words(codes) -> str:
    """Findings about the fit as a list in one line."""
    return ", ".join(str(FINDINGS.get(code, code.replace("_", " "))) for code in codes)


def findings_of(forecast: Forecast) -> list[str]:
    """Codes of what was found about the fit, the gravest group first."""
    groups = forecast.inputs.get("findings", {})
    return [code for name in ("red", "surgeon", "outgrown", "loose", "remeasure") for code in groups.get(name, [])]


def note_sentences(forecast: Forecast) -> list[str]:
    """What the forecast cannot know, one sentence a note."""
    return [str(NOTES.get(code, code)) for code in forecast.notes]


def action_of(forecast: Forecast, as_of: date) -> tuple[str, date]:
    """What comes first on a day and the day it is due, from the stored dates by the rule they were stored under."""
    days = {
        act.REMEASURE: forecast.remeasure_by,
        act.LAYER_OUT: forecast.layer_on,
        act.START_REFIT: forecast.start_refit_by,
        act.LENGTHEN: forecast.length_on,
    }
    stored = forecast.next_action
    if days.get(stored) is None or stored == act.REMEASURE:
        days[stored] = forecast.act_on
    first = act.first_due(tuple(act.Action(code, day) for code, day in days.items() if day), as_of)[0]
    return first.code, first.on


LOOSE = "loose"  # a fit problem without a red finding: to be seen, but nothing that harms
NEXT = {
    LOOSE: gettext_lazy("See the child about the loose fit."),
    act.FIT_PROBLEM: gettext_lazy("See the child about the fit now. Until then the arm stays off."),
    act.SURGEON: gettext_lazy("Show the limb to the surgeon this week."),
    act.MAKE_SOCKET: gettext_lazy("Measure and make a socket, or note why none is wanted."),
}
NEXT_BY = {
    act.REMEASURE: gettext_lazy("Remeasure by %(day)s."),
    act.LAYER_OUT: gettext_lazy("Take a layer out by %(day)s and read the end gap again."),
    act.START_REFIT: gettext_lazy("Start the refit by %(day)s: measure and order."),
    act.LENGTHEN: gettext_lazy("Give a longer sleeve or an extension by %(day)s; the socket stays."),
}
NEXT_NOW = {
    act.REMEASURE: gettext_lazy("Remeasure now."),
    act.LAYER_OUT: gettext_lazy("Take a layer out now and read the end gap again. It was due on %(day)s."),
    act.START_REFIT: gettext_lazy("Start the refit now: measure and order. It was due on %(day)s."),
    act.LENGTHEN: gettext_lazy("Give a longer sleeve or an extension now; the socket stays. It was due on %(day)s."),
}
FIT_CHECK = gettext_lazy("Look at the fit and remeasure by %(day)s.")
FIT_CHECK_NOW = gettext_lazy("Look at the fit and remeasure now. It was due on %(day)s.")
FIT_CHECK_WHY = gettext_lazy(
    "A new socket is looked at within two weeks of the fitting, at six weeks and at three months."
)
# The day was past before the promise was made, so nobody was told of it in time.
NEXT_MISSED = NEXT_NOW | {
    act.LAYER_OUT: gettext_lazy(
        "Take a layer out now and read the end gap again. It would have had to come out by %(day)s."
    ),
    act.START_REFIT: gettext_lazy("Start the refit now: measure and order. It would have had to start by %(day)s."),
    act.LENGTHEN: gettext_lazy(
        "Give a longer sleeve or an extension now; the socket stays. It would have been wanted by %(day)s."
    ),
}
FAMILY_NEXT = {
    LOOSE: gettext_lazy("Call us this week. The socket is too loose."),
    act.FIT_PROBLEM: gettext_lazy("Stop wearing the arm. Call us today."),
    act.SURGEON: gettext_lazy("Call us this week. A doctor needs to look at the end of the arm."),
    act.MAKE_SOCKET: gettext_lazy("We will measure the arm and make a socket."),
}
FAMILY_NEXT_BY = {
    act.REMEASURE: gettext_lazy("Come and be measured by %(day)s."),
    act.LAYER_OUT: gettext_lazy(
        "Come in by %(day)s. We can take out a layer to make room. Please do not do it at home."
    ),
    act.START_REFIT: gettext_lazy("Come in by %(day)s. We will measure for a new socket."),
    act.LENGTHEN: gettext_lazy("Come in by %(day)s. The sleeve will need to be longer."),
}
FAMILY_NEXT_NOW = {
    act.REMEASURE: gettext_lazy("Call us soon. It is time to measure the arm again."),
    act.LAYER_OUT: gettext_lazy("Call us soon. We can take out a layer to make room. Please do not do it at home."),
    act.START_REFIT: gettext_lazy("Call us soon. It is time to measure for a new socket."),
    act.LENGTHEN: gettext_lazy("Call us soon. The sleeve needs to be longer."),
}

FAMILY_GROWN = gettext_lazy(
    "The arm may already be too small. Do not start or go on wearing it until we have looked at it. Call us now."
)
FAMILY_NO_SOCKET = gettext_lazy("No arm is fitted now. Do not put on an old arm. Ask us first.")
FAMILY_MEASURE_AGAIN = gettext_lazy("It is time to measure the arm again.")
FAMILY_UNDER_TWO = gettext_lazy("We will measure the arm every three months.")
FAMILY_WIDEST_DAYS = 2 * 365  # a wider window tells a family nothing, common practice


def _sentence(undated, by, now, forecast, as_of):
    code, day = action_of(forecast, as_of)
    if code == act.FIT_PROBLEM and forecast.state != Forecast.State.FIT_PROBLEM:
        code = LOOSE
    if code in undated:
        return str(undated[code])
    return (now if day <= as_of else by)[code] % {"day": day_words(day)}


def next_step(forecast: Forecast, as_of: date) -> str:
    """The next action in one sentence, for staff."""
    code, day = action_of(forecast, as_of)
    if code == act.REMEASURE and _never_measured(forecast):
        return str(MEASURE_FIRST)
    if _is_fit_check(forecast, code, day):
        return str(FIT_CHECK if day > as_of else FIT_CHECK_NOW) % {"day": day_words(day)}
    return _sentence(NEXT, NEXT_BY, NEXT_MISSED if day < forecast.as_of else NEXT_NOW, forecast, as_of)


def _is_fit_check(forecast, code, day):
    """Whether what comes first is a look owed after a fitting: a visit before the readings are stale."""
    return code == act.REMEASURE and day == forecast.check_on and day != forecast.remeasure_by


def _never_measured(forecast):
    """Whether the forecast was made before the limb was ever measured; a row that does not say counts as measured."""
    return "last_reading" in forecast.inputs and forecast.inputs["last_reading"] is None


def family_next_step(forecast: Forecast, as_of: date) -> str:
    """The next action in words for the family."""
    return _sentence(FAMILY_NEXT, FAMILY_NEXT_BY, FAMILY_NEXT_NOW, forecast, as_of)


def why(forecast: Forecast, unit: str, as_of: date) -> str:
    """Why the limb stands where it stands, in one or two sentences, for staff."""
    found = findings_of(forecast)
    if found and action_of(forecast, as_of)[0] in (act.FIT_PROBLEM, act.SURGEON):
        return _("Seen at the last visit: %(findings)s.") % {"findings": finding_words(found)}
    parts = (_stale(forecast, found, as_of), _smaller(found), dates_sentence(forecast, unit, as_of))
    return " ".join(part for part in parts if part)


def _smaller(found):
    """What the tape alone says of a limb that has shrunk; whether the socket is loose is for the fit to show."""
    return _("By the tape %(finding)s.") % {"finding": FINDINGS[SMALLER]} if SMALLER in found else ""


def _stale(forecast, found, as_of):
    if action_of(forecast, as_of)[0] != act.REMEASURE:
        return ""
    if _never_measured(forecast):
        return str(NEVER_MEASURED)
    if forecast.remeasure_by and forecast.remeasure_by <= as_of:
        return _("The readings are stale since %(day)s.") % {"day": day_words(forecast.remeasure_by)}
    if _is_fit_check(forecast, *action_of(forecast, as_of)):
        return str(FIT_CHECK_WHY)
    seen = [code for code in found if code != SMALLER]
    asked = seen and forecast.remeasure_by and forecast.act_on < forecast.remeasure_by
    return _("Seen at the last visit: %(findings)s.") % {"findings": finding_words(seen)} if asked else ""


UNDATED = {
    Forecast.State.FIT_PROBLEM: gettext_lazy("The fit needs looking at before any date is given."),
    Forecast.State.NO_SOCKET: gettext_lazy("No socket is in use."),
    Forecast.State.MATURING: gettext_lazy("The limb still settles after surgery or injury, so no date is given."),
    Forecast.State.MAY_NOT_OUTGROW: gettext_lazy(
        "This socket may not be outgrown as far ahead as the forecast reaches."
    ),
}


SEEN, MEASURED, PASSED, OPEN, OPEN_END, AHEAD, AHEAD_END = range(7)  # how the dates stand on a day
DATED = {
    SEEN: gettext_lazy("Already past its limit as seen on %(seen)s."),
    MEASURED: gettext_lazy("Already past its limit as measured on %(measured)s."),
    PASSED: gettext_lazy("Probably outgrown by now."),
    OPEN: gettext_lazy("May be outgrown by now, likely around %(likely)s."),
    OPEN_END: gettext_lazy("May be outgrown by now."),
    AHEAD: gettext_lazy("May be outgrown from %(early)s, likely around %(likely)s."),
    AHEAD_END: gettext_lazy("May be outgrown from %(early)s."),
}
DATED_LAYERS_IN = {
    SEEN: DATED[SEEN],
    MEASURED: gettext_lazy("Already past its limit, even with every layer out, as measured on %(measured)s."),
    PASSED: gettext_lazy("With every layer out, probably outgrown by now."),
    OPEN: gettext_lazy("With every layer out, may be outgrown by now, likely around %(likely)s."),
    OPEN_END: gettext_lazy("With every layer out, may be outgrown by now."),
    AHEAD: gettext_lazy("With every layer out, may be outgrown from %(early)s, likely around %(likely)s."),
    AHEAD_END: gettext_lazy("With every layer out, may be outgrown from %(early)s."),
}


def dates_sentence(forecast: Forecast, unit: str, as_of: date) -> str:
    """When the socket is outgrown and in what, as worn and with every layer out, or why no date is given."""
    full = _full_as_worn(forecast, as_of)
    if forecast.early is None:
        return " ".join(part for part in (full, _no_date(forecast)) if part)
    measured = forecast.inputs.get("last_reading")
    days = {
        "seen": day_words(forecast.early),
        "measured": day_words(date.fromisoformat(measured) if measured else forecast.as_of),
        "early": day_words(forecast.early),
        "likely": day_words(forecast.likely) if forecast.likely else "",
    }
    dated = (DATED_LAYERS_IN if _layers_in(forecast) else DATED)[_standing(forecast, as_of)] % days
    return " ".join(part for part in (full, dated, _first_to_run_out(forecast, unit)) if part)


def _standing(forecast, as_of):
    if forecast.inputs.get("findings", {}).get("outgrown"):
        return SEEN
    if any(_past_its_limit(room) for room in forecast.room):
        return MEASURED
    if forecast.likely and forecast.likely <= as_of:
        return PASSED
    if forecast.early <= as_of:
        return OPEN if forecast.likely else OPEN_END
    return AHEAD if forecast.likely else AHEAD_END


def _past_its_limit(room):
    limit_mm = room.get("outgrown_above_mm")
    return limit_mm is not None and room["girth_mm"] is not None and room["girth_mm"] > limit_mm


def _layers_in(forecast):
    return forecast.layer_on is not None or any(room["full_mm"] > room["capacity_mm"] for room in forecast.room)


def _full_as_worn(forecast, as_of):
    """From when the socket is full with the layers it has in; empty when none is due."""
    if forecast.layer_on is None:
        return ""
    full = (
        _("As worn, with its layers in, likely full from %(day)s.")
        if forecast.layer_on > as_of
        else _("As worn, with its layers in, likely full since %(day)s.")
    )
    return full % {"day": day_words(forecast.layer_on)}


def _first_to_run_out(forecast, unit):
    limiting = limiting_words(forecast, unit)
    return _("First to run out: %(limiting)s.") % {"limiting": limiting} if limiting else ""


def _no_date(forecast):
    if forecast.state in UNDATED:
        return str(UNDATED[forecast.state])
    for code in ("no_reference_under_24m", "stations_not_comparable"):
        if code in forecast.notes:
            return str(NOTES[code])
    return _("There is no growth table or no comparable reading to give a date from.")


def family_outlook(forecast: Forecast, as_of: date) -> str:
    """What to expect of the socket, in words for the family; empty without dates or when they lie too far apart."""
    if forecast.early is None or forecast.late is None or (forecast.late - forecast.early).days > FAMILY_WIDEST_DAYS:
        return ""
    days = {"early": day_words(forecast.early), "late": day_words(forecast.late)}
    told = _("The socket may get too small between %(early)s and %(late)s.") % days
    room_first = forecast.layer_on and action_of(forecast, as_of)[0] != act.LAYER_OUT
    return " ".join((told, _("We can make room first."))) if room_first else told
