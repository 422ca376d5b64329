"""The words for the bony points and skin folds that lengths and stations start from."""

from django.utils.translation import gettext_lazy as _

LANDMARK_WORDS = {
    "ulnar_styloid": _("ulnar styloid"),
    "medial_epicondyle": _("medial epicondyle"),
    "olecranon": _("olecranon"),
    "cubital_fold": _("cubital fold"),
    "acromion": _("acromion"),
    "axilla": _("axilla"),
    "sternal_notch": _("sternal notch"),
}


def landmark_word(code: str) -> str:
    """Word for a landmark's code; a code without one is shown as it is."""
    return LANDMARK_WORDS.get(code, code)
