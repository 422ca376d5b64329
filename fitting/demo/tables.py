"""The invented scenario's tables in fixtures/demo."""

import csv
from collections import defaultdict
from pathlib import Path

DEMO_FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "demo"


def demo_rows(name: str) -> list[dict[str, str]]:
    """Rows of a table such as "children"; lines that start with # are remarks."""
    lines = (DEMO_FOLDER / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def rows_of_each_child(name: str) -> dict[str, list[dict[str, str]]]:
    """Rows of a table such as "limbs", by the key of the child they belong to."""
    rows = defaultdict(list)
    for row in demo_rows(name):
        rows[row["child"]].append(row)
    return rows


def words(cell: str) -> list[str]:
    """The words of a cell that holds several, separated by semicolons."""
    return [word for word in cell.split(";") if word]
