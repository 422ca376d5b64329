"""Children who may be entered a second time: same birth date, similar name, same clinic."""

import unicodedata
from difflib import SequenceMatcher

from patients.models import Child

SIMILAR = 0.8  # share of letters in common; common practice, tried on misspellings, swapped names and missing accents


def plain(name: str) -> str:
    """A name without accents, case and order of its words."""
    decomposed = unicodedata.normalize("NFKD", name.casefold())
    letters = "".join(c if c.isalpha() else " " for c in decomposed if not unicodedata.combining(c))
    return " ".join(sorted(letters.split()))


def is_similar(name: str, other: str) -> bool:
    """Whether two full names may be one child's."""
    a, b = plain(name), plain(other)
    shared = len(set(a.split()) & set(b.split()))
    return shared >= 2 or SequenceMatcher(None, a, b).ratio() >= SIMILAR


def look_alikes(clinic, birth_date, full_name: str) -> list[Child]:
    """Children of a clinic born on a day whose name is similar."""
    same_day = Child.objects.filter(clinic=clinic, birth_date=birth_date)
    return [child for child in same_day if is_similar(str(child), full_name)]
