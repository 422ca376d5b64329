"""The arrows of the code, and what no file may hold."""

import ast
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
VISIBLE = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "requirements.txt",
    "fitting",
    "patients",
    "templates",
    "static",
    "tests",
    "fixtures",
}
LAYERS = ["managers", "models", "inputs", "services", "forms", "views", "urls"]
ASK_THE_CLOCK = ("fitting.views.", "fitting.management.commands.", "fitting.admin")
CALC_LIBRARIES = {"numpy", "scipy"} | sys.stdlib_module_names
MOST_LINES = 400


@cache
def modules() -> dict[str, Path]:
    """Dotted name and file of every module of the two apps, without migrations."""
    found = {}
    for app in ("patients", "fitting"):
        for path in sorted((ROOT / app).rglob("*.py")):
            if "migrations" not in path.parts:
                name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
                found[name.removesuffix(".__init__")] = path
    return found


@cache
def imports() -> dict[str, frozenset[str]]:
    """What each module imports, at its head or inside a function: ours by full name, others by their first word."""
    return {name: frozenset(_imported(path)) for name, path in modules().items()}


def _imported(path):
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: imports are absolute"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        for name in names:
            yield _ours(name) or name.split(".")[0]


def _ours(name):
    while name and name not in modules():
        name = name.rpartition(".")[0]
    return name


@cache
def reached(start: str) -> frozenset[str]:
    """Every module of ours that importing `start` brings in, itself left out."""
    seen, open_ends = set(), [start]
    while open_ends:
        for name in imports().get(open_ends.pop(), ()):
            if name in modules() and name not in seen:
                seen.add(name)
                open_ends.append(name)
    return frozenset(seen)


def layer(name: str) -> int | None:
    """Where a module stands in its app; None for one that is not in the row."""
    part = name.split(".")[1] if "." in name else ""
    return LAYERS.index(part) if part in LAYERS else None


def test_there_is_something_to_look_at():
    assert len(modules()) > 60
    assert "fitting.models" in reached("fitting.urls")
    assert "django" in imports()["fitting.urls"]


def test_the_top_level_is_fixed():
    visible = {path.name for path in ROOT.iterdir() if not path.name.startswith((".", "__pycache__"))}
    assert visible == VISIBLE


def test_patients_never_imports_fitting():
    assert {n: r for n in modules() if n.startswith("patients") if (r := _fitting(reached(n)))} == {}


def _fitting(names):
    return sorted(name for name in names if name.startswith("fitting"))


def test_arrows_inside_an_app_go_one_way():
    """Also through modules outside the row: what a form reaches by any path is no view."""
    wrong = [
        f"{name} reaches {other}"
        for name in modules()
        for other in reached(name)
        if name.split(".")[0] == other.split(".")[0]
        and None not in (layer(name), layer(other))
        and layer(other) > layer(name)
    ]
    assert wrong == []


def test_no_module_imports_itself_in_a_circle():
    circles = [
        name for name in modules() if any(name in reached(other) for other in imports()[name] & modules().keys())
    ]
    assert circles == []


def test_calc_knows_nothing_above_it():
    for name, imported in imports().items():
        if name.startswith("fitting.calc"):
            ours = {other for other in imported if other in modules()}
            assert all(other == "fitting" or other.startswith("fitting.calc") for other in ours), name
            assert imported - ours <= CALC_LIBRARIES, name


def test_calc_imports_with_django_absent():
    names = [name for name in modules() if name.startswith("fitting.calc")]
    code = (
        "import sys\n"
        "for banned in ('django', 'pint', 'psycopg2'): sys.modules[banned] = None\n"
        f"for name in {names}: __import__(name)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, env={})
    assert done.returncode == 0, done.stderr


def asks_the_clock(node) -> bool:
    return (
        isinstance(node, ast.Attribute)
        and node.attr in {"now", "today", "utcnow", "localdate", "localtime"}
        and isinstance(node.value, ast.Name)
        and node.value.id in {"date", "datetime", "timezone"}
    )


def test_only_views_and_commands_ask_the_clock():
    asking = {
        name for name, path in modules().items() if any(map(asks_the_clock, ast.walk(ast.parse(path.read_text()))))
    }
    assert "fitting.views.socket" in asking
    assert {name for name in asking if not name.startswith(ASK_THE_CLOCK)} == set()


def test_one_place_knows_pint():
    assert [name for name, imported in imports().items() if "pint" in imported] == ["fitting.quantities"]


def test_no_signals_and_no_save_overrides():
    for name, path in modules().items():
        text = path.read_text()
        assert "django.db.models.signals" not in text and "django.dispatch" not in text, name
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ClassDef) and ".models." in name:
                assert "save" not in {f.name for f in node.body if isinstance(f, ast.FunctionDef)}, (name, node.name)


def written_by_us(*patterns: str) -> list[Path]:
    kept = [path for pattern in patterns for path in sorted(ROOT.glob(pattern)) if "migrations" not in path.parts]
    assert kept
    return kept


@pytest.mark.parametrize(
    "pattern", ["patients/**/*.py", "fitting/**/*.py", "tests/**/*.py", "templates/**/*", "static/*.css", "static/*.js"]
)
def test_files_are_short_enough_to_read(pattern):
    lengths = {str(p): len(p.read_text().splitlines()) for p in written_by_us(pattern) if p.is_file()}
    assert {path: length for path, length in lengths.items() if length > MOST_LINES} == {}


FORBIDDEN_IN_TEMPLATES = {
    "inline script": re.compile(r"<script(?![^>]*\bsrc=)", re.I),
    "inline style sheet": re.compile(r"<style\b", re.I),
    "style attribute": re.compile(r"\sstyle\s*=", re.I),
    "event handler": re.compile(r"\son[a-z]+\s*=", re.I),
    "script address": re.compile(r"javascript:", re.I),
    "remote address": re.compile(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9]", re.I),
}


@pytest.mark.parametrize("what", FORBIDDEN_IN_TEMPLATES)
def test_templates_hold_no(what):
    pattern = FORBIDDEN_IN_TEMPLATES[what]
    found = [
        str(p) for p in written_by_us("templates/**/*.html", "templates/**/*.svg") if pattern.search(p.read_text())
    ]
    assert found == []


@pytest.mark.parametrize(
    ("what", "text"),
    [
        ("inline script", '<script type="module">go()</script>'),
        ("inline style sheet", "<style>"),
        ("style attribute", '<p style="color: red">'),
        ("event handler", '<p onclick="go()">'),
        ("script address", '<a href="javascript:go()">'),
        ("remote address", '<img src="//host.example/a.png">'),
    ],
)
def test_the_template_rules_bite(what, text):
    assert FORBIDDEN_IN_TEMPLATES[what].search(text)
    assert not FORBIDDEN_IN_TEMPLATES[what].search(
        '<script src="/static/a.js"></script><svg xmlns="http://www.w3.org/2000/svg">'
    )


def test_styles_and_scripts_load_nothing_from_elsewhere():
    remote = re.compile(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9-]+\.[a-z]", re.I)
    assert [str(path) for path in written_by_us("static/*.css", "static/*.js") if remote.search(path.read_text())] == []
