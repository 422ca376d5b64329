"""python manage.py reforecast: new promises for every limb whose newest one rests on another method or settings."""

import argparse

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from django.utils.translation import gettext as _

from fitting.services.reforecast import behind, reforecast
from patients.models import Clinic

CHUNK = 100


def above_zero(text):
    number = int(text)
    if number < 1:
        raise argparse.ArgumentTypeError(_("at least 1"))
    return number


class Command(BaseCommand):
    help = _(
        "Forecast a registry anew after a change of method or settings. Old promises stay; a run that was broken off "
        "goes on where it stopped."
    )

    def add_arguments(self, parser):
        parser.add_argument("--clinic", help=_("name of one clinic; all of them unless named"))
        parser.add_argument(
            "--chunk", type=above_zero, default=CHUNK, help=_("limbs to a transaction (default %d)") % CHUNK
        )

    def handle(self, clinic, chunk, **options):
        clinics = Clinic.objects.filter(name=clinic) if clinic else Clinic.objects.all()
        if clinic and not clinics:
            raise CommandError(_('There is no clinic called "%(name)s".') % {"name": clinic})
        for one in clinics:
            self._clinic(one, chunk)

    def _clinic(self, clinic, chunk):
        total, done = behind(clinic).count(), 0
        words = {"clinic": clinic, "total": total}
        if not total:
            self.stdout.write(_("%(clinic)s: every promise is up to date.") % words)
        for made in reforecast(clinic, timezone.now(), chunk):
            done += made
            self.stdout.write(_("%(clinic)s: %(done)d of %(total)d limbs") % {**words, "done": done})
