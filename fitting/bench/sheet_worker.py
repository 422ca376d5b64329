"""What a process that prints sheets does. It starts with nothing loaded, so what needs Django is imported late."""

import os
from datetime import UTC, datetime, time

import django

from fitting.bench.figures import Taken, timed


def start(database_path: str) -> None:
    """Set a new process up on the scratch database."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "fitting.settings"
    os.environ["DATABASE_URL"] = f"sqlite:///{database_path}"
    django.setup()


def print_sheets(name: str, limb_pk: int, times: int) -> Taken:
    """What it took to print one of the sheets so many times, what is loaded for it included."""
    return timed(lambda: [_print(name, limb_pk) for _ in range(times)])[1]


def _print(name, limb_pk):
    from fitting.bench.registry import AS_OF
    from fitting.sheets import care_sheet, fitting_sheet, measuring_form
    from patients.models import Limb

    limb = Limb.objects.select_related("child__clinic").get(pk=limb_pk)
    printed_at = datetime.combine(AS_OF, time(12), tzinfo=UTC)
    wearer = care_sheet.usual_wearer(limb, AS_OF)
    printed = {
        "fitting sheet": lambda: fitting_sheet.print_fitting_sheet(limb, AS_OF, "A4"),
        "care sheet": lambda: care_sheet.print_care_sheet(limb, printed_at, "A4", "en", wearer),
        "measuring form": lambda: measuring_form.print_measuring_form(limb, AS_OF, "A4"),
    }
    return printed[name]()
