"""The backtest command: what counts as a past, what as a target, and a report that adds up."""

import csv
import json
from datetime import date, timedelta

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from fitting.backtest import (
    Case,
    Track,
    _crossed,
    _sockets_at,
    cases_of,
    companion_cells,
    past_of,
    refit_costs,
    refit_days,
    tracks_of,
)
from fitting.calc.lms import value_at_z
from fitting.calc.references import lms_table
from fitting.series_files import read_series_files

BIRTH = date(2010, 1, 1)


@pytest.fixture
def files(tmp_path):
    """Four children on fixed centiles of the CDC stature table, measured every half year from 4 to 10 years."""
    children, measurements = tmp_path / "children.csv", tmp_path / "measurements.csv"
    table = lms_table("stature_cdc2000")
    with open(children, "w", newline="") as out:
        writer = csv.writer(out)
        writer.writerows([["case", "sex", "birth_date"], *([f"c{i}", "FM"[i % 2], BIRTH] for i in range(4))])
    with open(measurements, "w", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(["case", "date", "measure", "value", "unit"])
        for i in range(4):
            for half_year in range(8, 21):
                on = BIRTH + timedelta(days=round(half_year * 182.625))
                size_mm = value_at_z(table, "FM"[i % 2], half_year * 6.0, i - 1.5)
                writer.writerow([f"c{i}", on, "stature", f"{size_mm:.2f}", "mm"])
    return children, measurements


def test_the_past_is_half_a_year_apart_within_three_years():
    ages = np.array([5, 5.25, 5.5, 6, 6.5, 7, 7.5, 8, 8.5, 9])
    assert past_of(ages, 9) == [4, 5, 6, 7, 8, 9]
    assert past_of(ages, 2) == [0, 2]
    assert past_of(ages, 0) == [0]


def test_crossing_is_linear_between_readings():
    sizes = np.array([100.0, 101.0, 105.0])
    track = Track(np.array([5.0, 6.0, 7.0]), sizes, sizes, sizes, np.ones(3))
    assert _crossed(track, 0) == pytest.approx({2: 1.25, 4: 1.75})


def test_noise_is_added_to_the_past_and_apart_to_the_targets(files):
    read = read_series_files(*files)
    track = tracks_of(read, {"stature": "3.5"}, np.random.default_rng(3))["c0", "stature"]
    assert set(track.error_sd) == {3.5}
    assert not np.allclose(track.read, track.target)
    assert np.std(np.concatenate([track.read - track.true, track.target - track.true])) == pytest.approx(3.5, rel=0.4)
    percent = tracks_of(read, {"stature": "1%"}, np.random.default_rng(3))["c0", "stature"]
    assert percent.error_sd == pytest.approx(percent.true / 100)


def test_companions_are_never_from_the_future(files):
    read = read_series_files(*files)
    tracks = tracks_of(read, {}, np.random.default_rng(1))
    tracks["c0", "length:arm"] = tracks["c0", "stature"]
    case = next(case for case in cases_of(read, tracks) if case.measure == "length:arm")
    assert max(age for age, _, _ in companion_cells(case, tracks, "stature")) <= case.age_years + 1 / 365
    assert companion_cells(case, tracks, "weight") == []


def test_the_report_scores_forecast_and_rules(files, tmp_path, capsys):
    out = tmp_path / "scores.json"
    call_command("backtest", *map(str, files), "--noise", "stature=3.5", "--seed", "5", "--json", str(out))
    report = json.loads(out.read_text())["stature"]
    everyone = {(row["months"], row["rule"]): row for row in report["sizes"] if row["ages"] == "all ages"}
    assert {rule for _, rule in everyone} == {"forecast", "last value", "last velocity", "constant z"}
    assert everyone[12, "forecast"]["rmse"] < everyone[12, "last velocity"]["rmse"] < everyone[12, "last value"]["rmse"]
    assert everyone[12, "last value"]["coverage"] is None
    assert 0.5 < everyone[12, "forecast"]["coverage"]["80"] <= 1
    assert [row["percent"] for row in report["dates"] if row["ages"] == "all ages"] == [2, 4, 6]
    assert "early too late" in capsys.readouterr().out


def test_nothing_to_test_is_said(tmp_path, files):
    lone = tmp_path / "lone.csv"
    lone.write_text("case,date,measure,value,unit\nc0,2014-01-01,stature,100,cm\n")
    with pytest.raises(CommandError, match="two or more past visits"):
        call_command("backtest", str(files[0]), str(lone))
    with pytest.raises(CommandError, match="cannot be opened"):
        call_command("backtest", str(files[0]), str(tmp_path / "absent.csv"))


def test_the_calendar_and_the_forecast_are_costed_on_girths(tmp_path, capsys):
    """Girths of a steady 3 % a year: outgrown at 4 % after 16 months, so two calendar years come 8 months too late."""
    children, measurements = tmp_path / "children.csv", tmp_path / "measurements.csv"
    children.write_text("case,sex,birth_date\n" + "".join(f"c{i},F,{BIRTH}\n" for i in range(3)))
    rows = [
        f"c{i},{BIRTH + timedelta(days=round(half * 182.625))},girth:calf,{(190 + 20 * i) * 1.03 ** (half / 2):.2f},mm"
        for i in range(3)
        for half in range(10, 24)
    ]
    measurements.write_text("case,date,measure,value,unit\n" + "\n".join(rows) + "\n")
    out = tmp_path / "scores.json"
    call_command("backtest", str(children), str(measurements), "--json", str(out))
    refits = {
        row["rule"]: row for row in json.loads(out.read_text())["girth:calf"]["refits"] if row["ages"] == "all ages"
    }
    assert refits["calendar"]["sockets"] == refits["forecast"]["sockets"] > 20
    assert refits["forecast, seen again"]["unused_weeks"] < refits["forecast"]["unused_weeks"]
    assert refits["calendar"]["outgrown_weeks"] > 10
    assert refits["calendar"]["thrown_away"] == 0
    assert refits["forecast"]["outgrown_weeks"] < 1
    assert "outgrown weeks a socket" in capsys.readouterr().out


def steady(case, start_years, outgrown_years):
    """A child seen at three ages and taken for three sockets, each outgrown after so many years."""
    ages = start_years + np.array([0.0, 0.5, 1.0])
    track = Track(np.append(ages, start_years + 3), *(np.full(4, 200.0) for _ in range(3)), np.ones(4))
    return [Case(case, "M", "girth:calf", track, [k], crossed={4: outgrown_years}) for k in range(3)]


def test_cases_as_sockets():
    """A boy of 4 (a year by the calendar) and one of 8 (two years), outgrown after 1.5 years; by hand."""
    cases = [steady("a", 4, 1.5)[0], steady("b", 8, 1.5)[0]]
    costs = refit_costs(cases, {"calendar": np.array([1.0, 2.0]), "never": np.array([np.inf, np.inf])})
    half_year = 0.5 * 365.25 / 7
    assert (costs["calendar"].outgrown_share, costs["never"].outgrown_share) == (0.5, 1)
    assert costs["calendar"].outgrown_weeks == pytest.approx(half_year / 2)
    assert costs["calendar"].unused_weeks == pytest.approx(half_year / 2)
    assert costs["never"].outgrown_weeks == pytest.approx(3 * half_year)


def test_each_rule_has_its_days(monkeypatch):
    """Due days by hand: the first look says 1.5 years, the look half a year on 0.2 years, that is 0.7 in all."""
    cases, week = steady("a", 4, 1.5) + steady("b", 8, 1.5), 7 / 365.25
    told = np.array([[1.5, 9, 9], [1.0, 0.2, 9], [1.0, 0.5, 0.1], [np.nan, 9, 9], [np.nan, np.nan, 9], [0.01, 3, 0.4]])
    monkeypatch.setattr("fitting.backtest.crossing_days", lambda series, limits, q: told[..., None] * 365.25)
    found = refit_days(cases, None)
    assert found["calendar"].tolist() == [1, 1, 2, 2, 2, 2]
    assert found["forecast"][:3] == pytest.approx([1.5 - week, 1 - week, 1 - week])
    assert found["forecast"][3:].tolist() == [np.inf, np.inf, 0]
    assert found["forecast, seen again"][:3] == pytest.approx([0.7 - week, 1.0 - week, 1.0 - week])
    assert found["forecast, seen again"][3:] == pytest.approx([1.4 - week, 3.5 - week, 0])


def test_sockets_of_another_child_are_not_worn():
    rows, limits = _sockets_at(steady("a", 4, 1.5) + steady("b", 8, 1.5))
    assert rows == [[0], [1, 0], [2, 1, 0], [3], [4, 3], [5, 4, 3]]
    assert limits.tolist() == [[208.0] * 3] * 6
