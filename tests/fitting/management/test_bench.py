"""Each bench, on little, says everything it promises."""

import pytest
from django.core.management import CommandError, call_command


def test_bench_plan_prints_cost_bound_ratio_seconds_and_memory(capsys):
    call_command("bench", "plan", "--refits", "40", "--days", "20", "--clinics", "2")
    said = capsys.readouterr().out
    assert "40 refits, 20 days at 2 clinics" in said
    for word in ("cost", "LP bound", "above it", "times the plan", "s computing", "MiB at most"):
        assert word in said


def bench(capsys, *words):
    call_command("bench", *words)
    return capsys.readouterr().out


def rows_of(said, what):
    return [line for line in said.splitlines() if line.startswith(what)]


def test_bench_forecast_names_its_baselines_and_its_memory(capsys):
    said = bench(capsys, "forecast", "--size", "30", "--sample", "1")
    assert "MiB at most so far (limit 1,536 MiB)" in said
    for what in ("bands of 30, length", "dates of 30, length", "bands of 30, girth", "dates of 30, girth"):
        smaller, loop, regressor = rows_of(said, what)
        assert " 3 children " in smaller
        assert " one child at a time " in loop
        assert " GaussianProcessRegressor " in regressor
    assert "not installed" not in said


def test_bench_forecast_says_the_limit_at_the_size_it_holds_for(capsys, monkeypatch):
    monkeypatch.setattr("fitting.bench.forecast.LIMIT_CHILDREN", 20)
    said = bench(capsys, "forecast", "--size", "20", "--sample", "1")
    assert all(line.endswith("2.5 s") for line in rows_of(said, "bands of 20")[::3])
    assert all(line.endswith("6 s") for line in rows_of(said, "dates of 20")[::3])


@pytest.mark.parametrize(
    ("name", "library"), [("forecast", "scikit-learn is not installed"), ("lms", "rcpchgrowth is not installed")]
)
def test_a_bench_without_its_library_says_so_and_goes_on(capsys, monkeypatch, name, library):
    monkeypatch.setattr(f"fitting.bench.{name}.find_spec", lambda name: None)
    said = bench(capsys, name, "--size", "20", "--sample", "1")
    assert library in said
    assert "at a time" in said
    assert "GaussianProcessRegressor   " not in said


def test_bench_lms_names_its_baselines(capsys):
    loop, library = rows_of(bench(capsys, "lms", "--size", "50", "--sample", "3"), "z of 50 rows")
    assert " one row at a time " in loop
    assert " rcpchgrowth " in library


@pytest.mark.django_db
def test_bench_due_counts_queries_and_holds_the_large_against_the_small(capsys):
    said = bench(capsys, "due", "--size", "5", "60")
    assert "5 children: 4 queries for 5 rows" in said
    assert "60 children: 4 queries for 40 rows" in said
    assert rows_of(said, "due list, 5 children")[0].endswith(" 1.00")
    assert " 5 children " in rows_of(said, "due list, 60 children")[0]


@pytest.mark.django_db
def test_bench_sheet_prints_each_sheet_first_warm_and_side_by_side(capsys):
    said = bench(capsys, "sheet", "--size", "1")
    for name in ("fitting sheet", "care sheet", "measuring form"):
        for how in ("first", "warm", "2 processes"):
            row, rate = rows_of(said, f"{name}, {how}")
            assert rate.endswith("PDFs a second")
            assert float(row.split(how)[1].split()[0]) > 0


def test_bench_asks_what_to_measure():
    with pytest.raises(CommandError, match="bench"):
        call_command("bench")
