"""Lengths and weights as people type and read them; inside everything is mm and kg. The one place that knows pint."""

import math
import re
import unicodedata
from functools import cache

import pint
from django.utils.formats import number_format
from django.utils.translation import gettext_lazy as _

LONGEST_TEXT = 40
MM, KG = "mm", "kg"
LENGTH_DIMENSION, WEIGHT_DIMENSION = "[length]", "[mass]"
DECIMALS = {"mm": 0, "cm": 1, "in": 2, "kg": 1, "lb": 1}  # finer than any reading's error

# What people write for units besides the names and symbols of the unit registry; English and Spanish.
OTHER_NAMES = {
    '"': "in",
    "''": "in",
    "″": "in",
    "”": "in",
    "'": "ft",
    "′": "ft",
    "’": "ft",
    "pulgada": "in",
    "pulgadas": "in",
    "pie": "ft",
    "pies": "ft",
    "milímetros": "mm",
    "centímetros": "cm",
    "lbs": "lb",
    "libra": "lb",
    "libras": "lb",
    "kilo": "kg",
    "kilos": "kg",
    "kgs": "kg",
    "kilogramos": "kg",
}

NUMBER = r"\d+\s+\d+/\d+|\d+/\d+|\d+[.,]\d+|[.,]\d+|\d+[.,]?"
UNIT = r"[^\W\d_]+\.?|''|[\"'″”′’]"
AMOUNT = re.compile(rf"\s*({NUMBER})\s*({UNIT})?")
NOT_A_DECIMAL = re.compile(r"[.,]\d*[.,]")


class UnreadableQuantity(ValueError):
    """What was typed cannot be taken as a length or weight; the message is one sentence for the field."""


NOTHING = _("Type a number, for example 190 mm, 19.0 cm or 7 1/2 in.")
TOO_LONG_TEXT = _("This is too long to be a measurement. Type one value.")
NEGATIVE = _("A measurement cannot be negative.")
TWO_SEPARATORS = _("Write the number with one decimal mark and without thousands marks, for example 19.0 or 19,0.")
NOT_A_NUMBER = _("This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm.")
ZERO_BELOW = _("A fraction cannot have zero below the line.")
UNKNOWN_UNIT = _("“%(unit)s” is not a unit known here.")
NOT_A_LENGTH = _("“%(unit)s” is not a unit of length.")
NOT_A_WEIGHT = _("“%(unit)s” is not a unit of weight.")
UNIT_MISSING = _("Give every part a unit, for example 1 ft 2 in.")
PARTS_OUT_OF_ORDER = _("Two values stand here. Type one value, or feet and inches such as 1 ft 2 in.")


@cache
def registry() -> pint.UnitRegistry:
    """The one unit registry of the process."""
    return pint.UnitRegistry()


def parse_length_mm(text: str, default_unit: str) -> float:
    """Length [mm] from text such as "7 1/2 in", "19,0 cm", "1 ft 2 in"; a bare number is in the default unit.

    Raises UnreadableQuantity with a sentence for the field.
    """
    return _parse(text, default_unit, LENGTH_DIMENSION, MM)


def parse_weight_kg(text: str, default_unit: str) -> float:
    """Weight [kg] from text such as "12,4 kg" or "27 lb 3 oz". Raises UnreadableQuantity."""
    return _parse(text, default_unit, WEIGHT_DIMENSION, KG)


def format_length(length_mm: float, unit: str) -> str:
    """Length in a unit (mm, cm, in) with the reader's decimal mark, such as "19.0 cm"."""
    return _format(length_mm, MM, unit)


def format_weight(weight_kg: float, unit: str) -> str:
    """Weight in a unit (kg, lb) with the reader's decimal mark, such as "12.4 kg"."""
    return _format(weight_kg, KG, unit)


def in_unit(value: float, canonical_unit: str, unit: str) -> float:
    """A canonical value [mm or kg] in another unit of its kind."""
    return registry().Quantity(value, canonical_unit).m_as(unit)


def _format(value, canonical_unit, unit):
    decimals = DECIMALS[unit]
    rounded = round(in_unit(value, canonical_unit, unit), decimals) + 0.0  # number_format cuts off; "-0" becomes "0"
    return f"{number_format(rounded, decimals)} {unit}"


def _parse(text, default_unit, dimension, canonical_unit):
    amounts = _amounts(_plain(text))
    if len(amounts) == 1:
        number, unit = amounts[0]
        return _canonical(number, _unit(unit or default_unit, dimension), canonical_unit)
    if any(not unit for _number, unit in amounts):
        raise UnreadableQuantity(UNIT_MISSING)
    units = [_unit(unit, dimension) for _number, unit in amounts]
    return _sum(list(zip((number for number, _unit_name in amounts), units, strict=True)), canonical_unit)


def _plain(text):
    """The text trimmed, lower case, vulgar fractions written out as "1/2"."""
    if len(text) > LONGEST_TEXT:
        raise UnreadableQuantity(TOO_LONG_TEXT)
    spaced = "".join(f" {c}" if unicodedata.decomposition(c).startswith("<fraction>") else c for c in text)
    plain = unicodedata.normalize("NFKC", spaced.replace("″", '"').replace("′", "'")).replace("⁄", "/").strip().lower()
    if not plain:
        raise UnreadableQuantity(NOTHING)
    if re.match(r"[-−–]\s*[\d.,]", plain):
        raise UnreadableQuantity(NEGATIVE)
    if NOT_A_DECIMAL.search(plain):
        raise UnreadableQuantity(TWO_SEPARATORS)
    return plain


def _amounts(plain):
    """Numbers with their unit texts, in order; every character must be used."""
    amounts, at = [], 0
    while at < len(plain):
        match = AMOUNT.match(plain, at)
        if not match:
            raise UnreadableQuantity(NOT_A_NUMBER)
        amounts.append((_number(match[1]), (match[2] or "").rstrip(".")))
        at = match.end()
    return amounts


def _number(text):
    """Value of "7 1/2", "1/2", "19,0" or "190"."""
    *whole, last = text.split()
    above, line, below = last.partition("/")
    if not line:
        return float(last.replace(",", "."))
    if int(below) == 0:
        raise UnreadableQuantity(ZERO_BELOW)
    return sum(map(int, whole)) + int(above) / int(below)


def _unit(name, dimension):
    try:
        unit = registry().Unit(OTHER_NAMES.get(name, name))
    except (pint.UndefinedUnitError, AttributeError, ValueError):
        raise UnreadableQuantity(UNKNOWN_UNIT % {"unit": name}) from None
    if not unit.is_compatible_with(MM if dimension == LENGTH_DIMENSION else KG):
        raise UnreadableQuantity((NOT_A_LENGTH if dimension == LENGTH_DIMENSION else NOT_A_WEIGHT) % {"unit": name})
    return unit


def _canonical(number, unit, canonical_unit):
    return float(registry().Quantity(number, unit).m_as(canonical_unit))


def _sum(parts, canonical_unit):
    """Sum of parts in falling units, each smaller than one of the unit before it (1 ft 2 in)."""
    for (_before, larger), (number, smaller) in zip(parts, parts[1:], strict=False):
        if _canonical(number, smaller, canonical_unit) >= _canonical(1, larger, canonical_unit):
            raise UnreadableQuantity(PARTS_OUT_OF_ORDER)
    return math.fsum(_canonical(number, unit, canonical_unit) for number, unit in parts)
