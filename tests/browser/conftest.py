"""A real browser on a running server that holds a few children of the invented scenario."""

import os

import pytest
from django.utils import timezone
from playwright.sync_api import Browser, Page, sync_playwright

from fitting.demo import scenario
from fitting.demo.families import DEMO_PASSWORD
from fitting.demo.tables import demo_rows
from patients.models import Child

os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"  # the browser's driver keeps an event loop in the test's thread
CHROMIUM = "/usr/bin/chromium"
PATIENCE_MS = 30_000
CHILDREN = ("mila_arden", "nell_abara")


@pytest.fixture(scope="session")
def browser():
    with sync_playwright() as driver:
        chromium = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield chromium
        chromium.close()


@pytest.fixture(autouse=True)
def plain_static_files(settings):
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture
def few_children(transactional_db, monkeypatch):
    """The invented scenario with two of its children, as of now."""

    def rows(name):
        return [row for row in demo_rows(name) if name != "children" or row["child"] in CHILDREN]

    monkeypatch.setattr(scenario, "demo_rows", rows)
    scenario.load_scenario(timezone.now(), lambda *_: None)


@pytest.fixture
def mila(few_children) -> Child:
    """A girl whose socket pinches, at a clinic that shows millimetres."""
    return Child.objects.get(given_name="Mila")


@pytest.fixture
def open_page(browser: Browser, live_server, few_children):
    """Opens a signed-in page in a window of its own: open_page(sign_in_name, width=...)."""
    contexts = []

    def opened(name: str, width: int = 1280) -> Page:
        context = browser.new_context(base_url=live_server.url, viewport={"width": width, "height": 900})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        sign_in(page, name)
        return page

    yield opened
    for context in contexts:
        context.close()


def sign_in(page: Page, name: str):
    page.goto("/sign-in/")
    page.get_by_label("Username").fill(name)
    page.get_by_label("Password").fill(DEMO_PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "sign-in" not in url)
