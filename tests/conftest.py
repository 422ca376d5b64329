import pytest


@pytest.fixture(autouse=True)
def _fast_passwords(settings):
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture(autouse=True)
def _files_in_memory(settings):
    settings.STORAGES = {**settings.STORAGES, "default": {"BACKEND": "django.core.files.storage.InMemoryStorage"}}


def pytest_collection_modifyitems(config, items):
    """Tests marked for one database run on that database only; they are left out, not skipped, on the other."""
    from django.conf import settings

    other = "postgresql" if settings.DATABASES["default"]["ENGINE"].endswith("sqlite3") else "sqlite"
    elsewhere = [item for item in items if item.get_closest_marker(other)]
    if elsewhere:
        config.hook.pytest_deselected(items=elsewhere)
        items[:] = [item for item in items if not item.get_closest_marker(other)]
