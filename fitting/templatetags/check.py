"""Shares of the forecast check in words."""

from django import template

register = template.Library()


@register.filter
def percent(share: float) -> int:
    """A share as whole percent."""
    return round(100 * share)
