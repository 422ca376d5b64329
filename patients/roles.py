"""Who may do what: one table of actions and the roles that may take them."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class Role(models.TextChoices):
    PROSTHETIST = "prosthetist", _("Prosthetist")
    COORDINATOR = "coordinator", _("Coordinator")
    THERAPIST = "therapist", _("Therapist")
    MONITOR = "monitor", _("Monitor")
    ADMINISTRATOR = "administrator", _("Administrator")


class Action(models.TextChoices):
    SIGN_IN = "sign_in", _("Sign in")
    READ_CASE = "read_case", _("Read the record of a child")
    RECORD_VISIT = "record_visit", _("Record a visit")
    CORRECT_READING = "correct_reading", _("Correct a reading")
    EDIT_CHILD = "edit_child", _("Enter or change a child and the family")
    EDIT_LIMB = "edit_limb", _("Enter a limb")
    MAKE_SOCKET = "make_socket", _("Enter, fit or retire a socket")
    RECORD_MUSCLE = "record_muscle", _("Record a muscle site and set its levels")
    BOOK = "book", _("Book, move or cancel an appointment")
    PRINT_SHEET = "print_sheet", _("Print a sheet")
    READ_CHECK = "read_check", _("See how forecasts turned out, no child named")
    CHANGE_SETTINGS = "change_settings", _("Change settings and staff")


CLINICAL_READERS = frozenset({Role.PROSTHETIST, Role.COORDINATOR, Role.THERAPIST})

ROLES_FOR = {
    Action.SIGN_IN: frozenset(Role),
    Action.READ_CASE: CLINICAL_READERS,
    Action.RECORD_VISIT: frozenset({Role.PROSTHETIST, Role.THERAPIST}),
    Action.CORRECT_READING: frozenset({Role.PROSTHETIST, Role.THERAPIST}),
    Action.EDIT_CHILD: frozenset({Role.PROSTHETIST, Role.COORDINATOR}),
    Action.EDIT_LIMB: frozenset({Role.PROSTHETIST}),
    Action.MAKE_SOCKET: frozenset({Role.PROSTHETIST}),
    Action.RECORD_MUSCLE: frozenset({Role.PROSTHETIST, Role.THERAPIST}),
    Action.BOOK: frozenset({Role.PROSTHETIST, Role.COORDINATOR}),
    Action.PRINT_SHEET: CLINICAL_READERS,
    Action.READ_CHECK: CLINICAL_READERS | {Role.ADMINISTRATOR},
    Action.CHANGE_SETTINGS: frozenset({Role.ADMINISTRATOR}),
}
