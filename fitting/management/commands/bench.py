"""How fast and how good the computations are, on invented data."""

from django.core.management.base import BaseCommand
from django.utils.translation import gettext as _

from fitting.bench import due, forecast, lms, plan, sheet

BENCHES = {"forecast": forecast, "lms": lms, "due": due, "sheet": sheet, "plan": plan}


class Command(BaseCommand):
    help = _("Measure a computation on invented data: seconds, memory, and how good the answer is.")
    requires_system_checks = []

    def add_arguments(self, parser):
        named = parser.add_subparsers(dest="bench", required=True)
        for name, bench in BENCHES.items():
            bench.add_arguments(named.add_parser(name, help=bench.__doc__))

    def handle(self, *, bench, **options):
        module = BENCHES[bench]
        module.run(self.stdout.write, **{name: options[name] for name in module.OPTIONS})
