"""Why a forecast says what it says: in words for a family, in numbers for a statistician."""

from dataclasses import dataclass
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fitting.models import Forecast
from fitting.quantities import format_length
from fitting.wording import day_words, limiting_words

WEEK_DAYS = 7
HALVES_AT = 0.5
MM_PLACES = 1


@dataclass(frozen=True)
class Explanation:
    """plain: sentences for a family; numbers: (what, figure) pairs; sharper: what one more visit would do, or empty."""

    plain: list[str]
    numbers: list[tuple[str, str]]
    sharper: str


def explanation(forecast: Forecast, unit: str, as_of: date) -> Explanation | None:
    """What drove the dates of a dated limb; None where nothing was stored of it."""
    if not forecast.drivers or forecast.early is None:
        return None
    return Explanation(_plain(forecast, unit), _numbers(forecast), _sharper(forecast, as_of))


def _plain(forecast, unit):
    told = forecast.drivers
    words = {
        "part": limiting_words(forecast, unit),
        "size": format_length(told["size_mm"], unit),
        "speed": format_length(max(told["growth_mm_per_year"], 0), unit),
    }
    if told["measure"] == "girth":
        grown = _("What runs out first is %(part)s. It measures about %(size)s now and grows about %(speed)s a year.")
    else:
        grown = _(
            "What runs out first is %(part)s. The same part of the other arm is %(size)s long and grows about "
            "%(speed)s a year."
        )
    return [grown % words, *_holds(forecast, unit), _why_a_window(told)]


def _holds(forecast, unit):
    room = next((room for room in forecast.room if room["part"] == forecast.limiting), None)
    if room is None:
        return []
    return [
        _("The socket is too small there above %(size)s.") % {"size": format_length(room["outgrown_above_mm"], unit)}
    ]


def _why_a_window(told):
    reasons = {
        "by_error": _("a tape is never read exactly the same twice"),
        "by_wander": _("every child speeds up and slows down in its own way"),
        "by_rest": _("nobody knows yet how early this child will finish growing"),
    }
    most = max(reasons, key=told.get)
    return _("We give a window and not a day, mostly because %(reason)s.") % {"reason": reasons[most]}


def _numbers(forecast):
    told = forecast.drivers
    shares = {name: f"{100 * max(told[name], 0):.0f} %" for name in ("by_error", "by_wander", "by_rest")}
    tem = forecast.inputs.get("tolerances", {}).get("tem_girth_mm" if told["measure"] == "girth" else "tem_length_mm")
    wander = next((row["wander_scale"] for row in forecast.bands if row["measure"] == told["measure"]), None)
    days = ngettext("%(n)d day", "%(n)d days", told["readings"]) % {"n": told["readings"]}
    return [
        (_("window, early (10 %) to late (90 %)"), _window(forecast)),
        (_("read on"), days),
        (_("standard deviation of the size on the likely day"), f"{told['sd_mm']:.{MM_PLACES}f} mm"),
        (_("of its variance: error of reading"), shares["by_error"]),
        (_("wander of this child's growth"), shares["by_wander"]),
        (_("tempo and borrowed shape"), shares["by_rest"]),
        *([(_("TEM, lambda in use"), f"{tem:g} mm, {wander:g}")] if tem and wander else []),
    ]


def _window(forecast):
    if forecast.late is None:
        return _("no end within the search")
    return _weeks((forecast.late - forecast.early).days)


def _weeks(days):
    weeks = max(round(days / WEEK_DAYS), 1)
    return ngettext("%(n)d week", "%(n)d weeks", weeks) % {"n": weeks}


def _sharper(forecast, as_of):
    """What one more visit is expected to do; nothing once its day has passed."""
    told = forecast.sharper
    if not told or date.fromisoformat(told["visit_on"]) < as_of:
        return ""
    words = {"day": day_words(date.fromisoformat(told["visit_on"]))}
    words |= {"now": _weeks(told["window_days"]), "then": _weeks(told["expected_days"])}
    if told["expected_days"] <= HALVES_AT * told["window_days"]:
        return _("A visit on %(day)s is expected to halve the window, from %(now)s to %(then)s.") % words
    return _("A visit on %(day)s is expected to narrow the window from %(now)s to %(then)s.") % words
