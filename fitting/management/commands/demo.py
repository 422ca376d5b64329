"""python manage.py demo: load the invented scenario, or say what is there; with --serve, serve it too."""

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from fitting.demo.families import DEMO_PASSWORD
from fitting.demo.scenario import load_scenario
from fitting.demo.tables import demo_rows
from patients.models import Clinic, Staff

SAY_EVERY = 10


class Command(BaseCommand):
    help = (
        "Loads an invented clinic group and prints the sign-in names; a database that holds clinics is left as it is."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--serve", metavar="ADDRESS", help="bring the database up to date, then serve at 127.0.0.1:8000"
        )

    def handle(self, *args, serve, **options):
        if not settings.DEBUG:
            raise CommandError(
                "Everybody knows the demo's password, so it loads only on a machine of your own: set DOORPOST_DEBUG=1."
            )
        if serve:
            call_command("migrate", verbosity=0)
        if Clinic.objects.exists():
            self.stdout.write("This database holds clinics already, so nothing was changed.")
        else:
            self._load()
        self._print_sign_in_names()
        if serve:
            self.stdout.write(f"Serving at http://{serve} - stop with Ctrl-C.")
            call_command("runserver", serve, use_reloader=False, skip_checks=True)

    def _load(self):
        self.stdout.write("Making the invented Tern Island limb program ...")
        load_scenario(timezone.now(), self._say)
        self.stdout.write("The awkward cases:")
        for story in demo_rows("stories"):
            names = [
                f"{row['given_name']} {row['family_name']}"
                for row in demo_rows("children")
                if row["story"] == story["story"]
            ]
            self.stdout.write(f"  {', '.join(names)}: {story['title']}")

    def _say(self, done, of):
        if done % SAY_EVERY == 0:
            self.stdout.write(f"  {done} of {of} children")

    def _print_sign_in_names(self):
        members = Staff.objects.filter(is_active=True).prefetch_related("roles_held", "clinics")
        self.stdout.write("Sign-in names:")
        for member in members.order_by("pk"):
            roles = ", ".join(held.get_role_display() for held in member.roles_held.all())
            clinics = ", ".join(clinic.name for clinic in member.clinics.all())
            self.stdout.write(f"  {member.username:10} {member!s:20} {roles:24} {clinics}")
        self.stdout.write(f"Password of the demo's names: {DEMO_PASSWORD}")
