import pytest
from django.conf import settings
from django.test import override_settings


@pytest.fixture(autouse=True)
def _fast_passwords(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(scope="session", autouse=True)
def _files_in_memory():
    in_memory = {"BACKEND": "django.core.files.storage.InMemoryStorage"}
    with override_settings(STORAGES={**settings.STORAGES, "default": in_memory}):
        yield


def pytest_collection_modifyitems(config, items):
    """Tests marked for one database run on that database only; they are left out, not skipped, on the other."""
    other = "postgresql" if settings.DATABASES["default"]["ENGINE"].endswith("sqlite3") else "sqlite"
    elsewhere = [item for item in items if item.get_closest_marker(other)]
    if elsewhere:
        config.hook.pytest_deselected(items=elsewhere)
        items[:] = [item for item in items if not item.get_closest_marker(other)]
