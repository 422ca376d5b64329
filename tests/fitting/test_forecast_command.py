import csv
import os
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from fitting.calc.forecast import series_outlook
from fitting.calc.outlook import Observation, crossing_days, quantiles

ROOT = Path(__file__).resolve().parents[2]
CHILDREN = "case,sex,birth_date\nT-1,F,2016-05-01\nT-2,M,2007-01-10\n"
MEASUREMENTS = """case,date,measure,value,unit,error
T-1,2023-05-01,stature,121.0,cm,0.4
T-1,2024-05-01,stature,127.2,cm,0.4
T-1,2023-05-01,girth:stump,150,mm,
T-1,2024-05-01,girth:stump,156,mm,
T-2,2024-05-01,girth:stump,210,mm,2
"""
BAND = ["p2.5", "p10", "p25", "p50", "p75", "p90", "p97.5"]


@pytest.fixture
def run(tmp_path, capsys):
    """Writes the two files, runs the command on them, and gives exit status, forecast rows, dates rows and stderr."""

    def command(children=CHILDREN, measurements=MEASUREMENTS, ahead="6,24", grown="2,30"):
        (tmp_path / "children.csv").write_text(children)
        (tmp_path / "measurements.csv").write_text(measurements)
        files = [str(tmp_path / name) for name in ("children.csv", "measurements.csv")]
        more = ["--grown", grown, "--dates", str(tmp_path / "d.csv")] if grown else []
        status = 0
        try:
            call_command("forecast", *files, "--ahead", ahead, "--out", str(tmp_path / "f.csv"), *more)
        except SystemExit as end:
            status = end.code
        return status, rows(tmp_path / "f.csv"), rows(tmp_path / "d.csv"), capsys.readouterr().err.splitlines()

    return command


def rows(path):
    if not path.exists():
        return []
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def stature_outlook():
    read = [Observation(date(2023, 5, 1), 1210, 4), Observation(date(2024, 5, 1), 1272, 4)]
    return series_outlook(sex="F", birth_date=date(2016, 5, 1), measure="stature", readings=read)


def test_forecast_rows_are_the_engines(run):
    status, forecast, _, _ = run()
    assert status == 0
    assert list(forecast[0]) == ["case", "measure", "ahead_months", "date", "unit", *BAND]
    row = forecast[0]
    when = date(2024, 5, 1) + timedelta(days=round(6 * 30.4375))
    assert [row[k] for k in ("case", "measure", "ahead_months", "date", "unit")] == (
        ["T-1", "stature", "6", when.isoformat(), "cm"]
    )
    expected = quantiles(stature_outlook(), "stature", [0.025, 0.1, 0.25, 0.5, 0.75, 0.9, 0.975], 4.0)[:, 6] / 10
    np.testing.assert_allclose([float(row[p]) for p in BAND], expected, atol=1e-3)


def test_dates_rows_are_the_engines(run):
    _, _, dates, _ = run()
    assert list(dates[0]) == ["case", "measure", "percent", "early_date", "likely_date", "late_date"]
    days = crossing_days(stature_outlook(), "stature", 1272 * 1.02, [0.1, 0.5, 0.9])
    expected = [(date(2024, 5, 1) + timedelta(days=int(np.ceil(d)))).isoformat() for d in days]
    assert [dates[0][k] for k in ("case", "measure", "percent")] == ["T-1", "stature", "2"]
    assert [dates[0][k] for k in ("early_date", "likely_date", "late_date")] == expected


def test_a_date_that_is_not_reached_is_empty(run):
    _, _, dates, _ = run()
    nearly_grown = [row for row in dates if (row["case"], row["percent"]) == ("T-2", "30")]
    assert [nearly_grown[0][k] for k in ("early_date", "likely_date", "late_date")] == ["", "", ""]


def test_a_horizon_past_the_reference_has_no_row_and_a_note(run):
    status, forecast, _, said = run()
    assert status == 0
    assert [row["ahead_months"] for row in forecast if row["case"] == "T-2"] == ["6"]
    assert said == [
        "T-2, girth:stump: no row 24 months ahead of the last reading at 207.7 months of age, "
        "because the reference covers 3 to 228 months."
    ]


@pytest.mark.parametrize(("unit", "factor"), [("mm", 10), ("m", 0.01), ("in", 1 / 2.54)])
def test_the_unit_makes_no_difference(run, unit, factor):
    in_cm = run()[1][0]
    lines = [line.split(",") for line in MEASUREMENTS.splitlines()]
    other = [
        [*line[:3], repr(float(line[3]) * factor), unit, repr(float(line[5]) * factor)] if "stature" in line else line
        for line in lines
    ]
    row = run(measurements="\n".join(map(",".join, other)) + "\n")[1][0]
    assert row["unit"] == unit
    np.testing.assert_allclose([float(row[p]) / factor for p in BAND], [float(in_cm[p]) for p in BAND], atol=0.02)


def test_the_error_has_a_default_and_its_column_may_be_absent(run):
    without = "\n".join(line.rpartition(",")[0] for line in MEASUREMENTS.splitlines()) + "\n"
    status, forecast, _, _ = run(measurements=without)
    stated = MEASUREMENTS.replace(",0.4", ",0.5").replace("mm,\n", "mm,2\n")
    assert (status, forecast) == (0, run(measurements=stated)[1])


def test_weight_in_pounds_and_grams(run):
    head = "case,date,measure,value,unit\n"
    kg = run(measurements=head + "T-1,2024-05-01,weight,25,kg\n")[1][0]
    g = run(measurements=head + "T-1,2024-05-01,weight,25000,g\n")[1][0]
    lb = run(measurements=head + f"T-1,2024-05-01,weight,{25 / 0.45359237},lb\n")[1][0]
    assert float(g["p50"]) == pytest.approx(float(kg["p50"]) * 1000, abs=0.1)
    assert float(lb["p50"]) == pytest.approx(float(kg["p50"]) / 0.45359237, abs=0.001)


BAD_MEASUREMENTS = [
    ("T-9,2024-05-01,stature,127,cm,", "case", '"T-9" is not a usable case of the children file.'),
    ("T-1,1 May 2024,stature,127,cm,", "date", '"1 May 2024" is not a day such as 2024-05-31.'),
    ("T-1,2016-04-30,stature,127,cm,", "date", '"2016-04-30" lies before the birth of the child.'),
    ("T-1,2024-05-01,shoe,127,cm,", "measure", '"shoe" is not a measure of the forecast.'),
    ("T-1,2024-05-01,girth:,127,cm,", "measure", '"girth:" is not a measure of the forecast.'),
    ("T-1,2024-05-01,stature,tall,cm,", "value", '"tall" is not a number above zero.'),
    ("T-1,2024-05-01,stature,-3,cm,", "value", '"-3" is not a number above zero.'),
    ("T-1,2024-05-01,stature,nan,cm,", "value", '"nan" is not a number above zero.'),
    ("T-1,2024-05-01,stature,,cm,", "value", '"" is not a number above zero.'),
    ("T-1,2024-05-01,stature,127,kg,", "unit", '"kg" is not one of mm, cm, m, in.'),
    ("T-1,2024-05-01,weight,25,cm,", "unit", '"cm" is not one of kg, g, lb.'),
    ("T-1,2024-05-01,stature", "unit", '"" is not one of mm, cm, m, in.'),
    ("T-1,2024-05-01,stature,127,cm,0", "error", '"0" is not a number above zero.'),
]


@pytest.mark.parametrize(("row", "column", "why"), BAD_MEASUREMENTS)
def test_a_bad_measurement_is_named_and_the_good_ones_are_answered(run, row, column, why):
    good = run(grown=None)
    status, forecast, _, said = run(measurements=MEASUREMENTS + row + "\n", grown=None)
    assert status == 2
    assert said[0] == f"measurements.csv, line 7, column {column}: {why}"
    assert forecast == good[1]


BAD_CHILDREN = [
    (",F,2016-05-01", "case", "the case is empty."),
    ("T-1,M,2016-05-01", "case", '"T-1" stands in an earlier line already.'),
    ("T-3,girl,2016-05-01", "sex", '"girl" is not F or M.'),
    ("T-3,F,2016-13-01", "birth_date", '"2016-13-01" is not a day such as 2024-05-31.'),
    ("T-3", "sex", '"" is not F or M.'),
]


@pytest.mark.parametrize(("row", "column", "why"), BAD_CHILDREN)
def test_a_bad_child_is_named_and_the_good_ones_are_answered(run, row, column, why):
    good = run(grown=None)
    status, forecast, _, said = run(children=CHILDREN + row + "\n", grown=None)
    assert (status, forecast) == (2, good[1])
    assert said[0] == f"children.csv, line 4, column {column}: {why}"


def refusal(*arguments):
    with pytest.raises(CommandError) as refused:
        call_command("forecast", *map(str, arguments))
    assert refused.value.returncode == 2
    return str(refused.value)


def test_files_that_cannot_be_used_are_refused(tmp_path):
    children, out = tmp_path / "children.csv", tmp_path / "f.csv"
    measurements = tmp_path / "measurements.csv"
    usual = (children, measurements, "--ahead", "6", "--out", out)
    assert refusal(*usual) == f"The file {children} cannot be opened."
    children.write_text(CHILDREN)
    measurements.write_text("case,date,measure,size\n")
    assert refusal(*usual) == "The first line of measurements.csv does not name these columns: value, unit."
    measurements.write_text("")
    assert "does not name these columns: case, date, measure, value, unit." in refusal(*usual)
    measurements.write_bytes(b"case,date,measure,value,unit\nT-1,2024-05-01,stature,127,\xb5m\n")
    assert refusal(*usual) == f"The file {measurements} is not a CSV file in UTF-8."
    measurements.write_text(MEASUREMENTS)
    assert refusal(*usual, "--grown", "2") == "--grown and --dates go together."
    nowhere = tmp_path / "no folder" / "f.csv"
    assert refusal(*usual[:-1], nowhere) == f"The file {nowhere} cannot be written."


@pytest.mark.parametrize("text", ["six", "0", "6,-1", "", "inf"])
def test_horizons_that_are_no_numbers_are_refused(text):
    with pytest.raises(CommandError, match="argument --ahead: invalid numbers value"):
        call_command("forecast", "c.csv", "m.csv", f"--ahead={text}", "--out", "f.csv")


def test_runs_from_the_shell_without_a_database_or_settings(tmp_path):
    (tmp_path / "c.csv").write_text(CHILDREN)
    (tmp_path / "m.csv").write_text(MEASUREMENTS + "T-1,2024-05-01,shoe,1,cm,\n")
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("DOORPOST", "DJANGO"))}
    environment |= {"DATABASE_URL": f"sqlite:///{tmp_path}/no folder/none.sqlite3", "DOORPOST_DATA": str(tmp_path)}
    files = [str(tmp_path / name) for name in ("c.csv", "m.csv", "f.csv")]
    command = [sys.executable, "manage.py", "forecast", *files[:2], "--ahead", "6", "--out", files[2]]
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True)
    assert done.returncode == 2
    assert done.stderr == 'm.csv, line 7, column measure: "shoe" is not a measure of the forecast.\n'
    assert len(rows(tmp_path / "f.csv")) == 3


def test_readings_noisier_than_declared_are_said_and_widen_the_band(tmp_path, capsys):
    rng = np.random.default_rng(2)
    children = ["case,sex,birth_date"] + [f"c{i},F,2015-01-01" for i in range(20)]
    rows = ["case,date,measure,value,unit,error"]
    for i in range(20):
        for year in range(2020, 2026):
            size_cm = 108 + 6 * (year - 2020) + rng.normal() * 2
            rows.append(f"c{i},{year}-01-01,stature,{size_cm:.2f},cm,0.2")
    for name, lines in (("c.csv", children), ("m.csv", rows)):
        (tmp_path / name).write_text("\n".join(lines) + "\n")
    out = tmp_path / "f.csv"
    call_command("forecast", tmp_path / "c.csv", tmp_path / "m.csv", "--ahead", "12", "--out", out)
    assert "stature: the readings show 4 times the declared error, so that is used." in capsys.readouterr().err
    with open(out) as file:
        first = next(csv.DictReader(file))
    assert float(first["p97.5"]) - float(first["p2.5"]) > 2 * 1.96 * 0.8
