"""Half configured, production does not start and says what to set; fully configured, it passes Django's own checks."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PRODUCTION = {
    "DOORPOST_SECRET_KEY": "an-installation-of-its-own-" + "0123456789abcdefghij" * 2,
    "DOORPOST_HOSTS": "doorpost.example",
}


def manage(tmp_path, *arguments, **environment):
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    return subprocess.run(
        [sys.executable, "-W", "error", "manage.py", *arguments],
        cwd=ROOT,
        env={**kept, "DOORPOST_DATA": str(tmp_path), **environment},
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize(
    ("missing", "sentence"),
    [
        (
            "DOORPOST_SECRET_KEY",
            "Set DOORPOST_SECRET_KEY to a long random text that only this installation knows, "
            "or set DOORPOST_DEBUG=1 on a machine of your own.",
        ),
        (
            "DOORPOST_HOSTS",
            "Set DOORPOST_HOSTS to the host names that serve Doorpost, separated by commas, "
            "or set DOORPOST_DEBUG=1 on a machine of your own.",
        ),
    ],
)
@pytest.mark.parametrize("command", ["check", "migrate"])
def test_refuses_to_start(tmp_path, missing, sentence, command):
    there = {name: value for name, value in PRODUCTION.items() if name != missing}
    for environment in (there, {**there, missing: ""}):
        done = manage(tmp_path, command, **environment)
        assert done.returncode != 0
        assert done.stderr.rstrip().endswith(sentence)
        assert not list(tmp_path.glob("*.sqlite3"))


def test_debug_is_off_unless_it_is_exactly_one(tmp_path):
    assert manage(tmp_path, "check", DOORPOST_DEBUG="true").returncode != 0


def test_passes_the_deployment_checks(tmp_path):
    done = manage(tmp_path, "check", "--deploy", "--fail-level", "WARNING", **PRODUCTION)
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout


def test_the_wsgi_server_refuses_too(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", "import fitting.wsgi"],
        cwd=ROOT,
        env={"DOORPOST_DATA": str(tmp_path)},
        capture_output=True,
        text=True,
    )
    assert done.returncode != 0
    assert "Set DOORPOST_SECRET_KEY" in done.stderr
