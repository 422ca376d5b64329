"""Correcting one reading: new takes, judged like those of a visit, and why."""

from collections.abc import Mapping
from functools import cached_property

from django.utils.translation import gettext as _

from fitting.forms.visit_rows import Row, row_of
from fitting.inputs import settings_of, tolerances_of
from fitting.models import Reading
from fitting.services.visits import ReadingIn
from fitting.visit_alerts import read_entries, reading_in
from fitting.visit_entry import Entry, Occasion
from fitting.visit_places import Place, history_of

WHY_MOST = 300


class Correction:
    """The page that corrects a reading, as filled in so far."""

    def __init__(self, data: Mapping[str, str] | None, old: Reading):
        self.data, self.old = data or {}, old
        self.why = self.data.get("why", "").strip()
        visit = old.visit
        self.occasion = Occasion(
            child=visit.child,
            at=visit.at,
            covering=visit.covering,
            instrument=visit.instrument,
            tolerances=tolerances_of(settings_of(visit.child.clinic)),
            history=history_of(visit.child, visit.at),
        )

    @cached_property
    def entry(self) -> Entry:
        old = self.old
        place = Place(old.measure, old.limb, old.landmark, old.station_mm)
        return read_entries([place], self.data, self.occasion)[place.key]

    @property
    def rows(self) -> list[Row]:
        return [row_of(self.entry, self.occasion)]

    @property
    def reading(self) -> ReadingIn:
        return reading_in(self.entry)

    @property
    def value_error(self) -> str:
        """What is wrong with the new value beside what its row says."""
        if not self.entry.filled:
            return _("Type the value that should stand there.")
        if list(self.entry.takes) == list(self.old.takes):
            return _("This value stands there already.")
        return ""

    @property
    def why_error(self) -> str:
        if not self.why:
            return _("Say why the old value was wrong.")
        return _("Say it shorter: at most 300 characters.") if len(self.why) > WHY_MOST else ""

    @property
    def ready(self) -> bool:
        return self.entry.ready and not self.value_error and not self.why_error
