"""A database of one's own for the speed figures: a file that goes away afterwards, in place of the usual one."""

from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from django.core.management import call_command
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.sqlite3.base import DatabaseWrapper


@contextmanager
def scratch_database():
    """Migrate a new SQLite file and let everything inside use it; yields its path."""
    usual = connections[DEFAULT_DB_ALIAS]
    with TemporaryDirectory() as folder:
        path = Path(folder) / "bench.sqlite3"
        scratch = DatabaseWrapper({**usual.settings_dict, **_settings(path)}, DEFAULT_DB_ALIAS)
        connections[DEFAULT_DB_ALIAS] = scratch
        try:
            call_command("migrate", verbosity=0)
            yield path
        finally:
            scratch.close()
            connections[DEFAULT_DB_ALIAS] = usual


def _settings(path):
    return {"ENGINE": "django.db.backends.sqlite3", "NAME": str(path), "OPTIONS": {}, "ATOMIC_REQUESTS": False}
