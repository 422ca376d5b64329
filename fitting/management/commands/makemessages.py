"""Django's makemessages, set so that the catalogue holds words only: no dates, no line numbers, nothing guessed."""

import re
from pathlib import Path

from django.core.management.commands import makemessages

DATES = re.compile(r'^"(POT-Creation|PO-Revision)-Date: .*\n', re.MULTILINE)


class Command(makemessages.Command):
    """`manage.py makemessages -l es` brings the Spanish catalogue up to date."""

    msgmerge_options = [*makemessages.Command.msgmerge_options, "--no-fuzzy-matching"]

    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.set_defaults(
            extensions=["html,svg,py"], ignore_patterns=["tests"], add_location="file", no_obsolete=True
        )

    def write_po_file(self, potfile, locale):
        super().write_po_file(potfile, locale)
        catalogue = Path(potfile).parent / locale / "LC_MESSAGES" / f"{self.domain}.po"
        catalogue.write_text(DATES.sub("", catalogue.read_text(encoding="utf-8")), encoding="utf-8")
