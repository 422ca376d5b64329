"""Days as sheets write them: `day` in full, `short_day` where room is short; never figures that swap day and month."""

from django import template

from fitting.wording import day_words, short_day_words

register = template.Library()


@register.filter
def day(value) -> str:
    """A day written out, such as 3 May 2026; empty for none."""
    return day_words(value) if value else ""


@register.filter
def short_day(value) -> str:
    """A day with the month cut short, such as 3 May 2026 or 14 Feb 2027; empty for none."""
    return short_day_words(value) if value else ""
