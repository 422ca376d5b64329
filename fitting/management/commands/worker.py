"""The worker: does what web processes leave to it, and takes up what a worker that died has left."""

import time

from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.utils import timezone
from django_tasks_db.models import DBTaskResult

from fitting.services.muscle_recordings import DEAD_AFTER, take_up_dead
from fitting.services.plans import close_dead_plans


class Command(BaseCommand):
    help = "Reads muscle recordings and works out plans. Run one or more beside the web server; stop with Ctrl-C."

    def add_arguments(self, parser):
        parser.add_argument("--once", action="store_true", help="do what is waiting, then stop")
        parser.add_argument("--interval", type=float, default=1.0, help="seconds between looks (default: 1)")

    def handle(self, *, once, interval, verbosity, **options):
        while True:
            now = timezone.now()
            close_dead_tasks(now)
            take_up_dead(now)
            close_dead_plans(now - DEAD_AFTER)
            call_command("db_worker", batch=True, reload=False, startup_delay=False, verbosity=max(0, verbosity - 1))
            if once:
                return
            time.sleep(interval)


def close_dead_tasks(now) -> int:
    """Mark tasks failed whose worker was killed: nobody else does. Returns how many."""
    dead = list(DBTaskResult.objects.running().filter(started_at__lt=now - DEAD_AFTER))
    for task in dead:
        task.set_failed(TimeoutError("The worker was killed or is stuck."))
    return len(dead)
