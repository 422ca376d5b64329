"""`bench plan` on a small year says everything it promises."""

import pytest
from django.core.management import CommandError, call_command


def test_bench_plan_prints_cost_bound_ratio_seconds_and_memory(capsys):
    call_command("bench", "plan", "--refits", "40", "--days", "20", "--clinics", "2")
    said = capsys.readouterr().out
    assert "40 refits, 20 days at 2 clinics" in said
    for word in ("cost", "LP bound", "above it", "times the plan", "s computing", "MiB at most"):
        assert word in said


def test_bench_asks_what_to_measure():
    with pytest.raises(CommandError, match="bench"):
        call_command("bench")
