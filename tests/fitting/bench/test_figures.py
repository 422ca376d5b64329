import os

import pytest

from fitting.bench.figures import Figure, Taken, each_timed, one_core, peak_mib, print_figures, ratio, timed


def test_work_is_done_once_and_timed():
    done, taken = timed(lambda: sum(range(1000)))
    assert done == 499500
    assert taken.computing > 0
    assert taken.clock > 0


def test_each_item_is_worked_on():
    seen = []
    assert each_timed(seen.append, "abc").clock > 0
    assert seen == ["a", "b", "c"]


def test_a_sample_is_scaled():
    assert Taken(0.5, 0.25) * 4 == Taken(2.0, 1.0)


def test_the_table_has_a_head_and_the_ratio_to_the_baseline():
    said = []
    print_figures(
        said.append, [Figure("bands", Taken(2, 1.9), "a loop", Taken(250, 190), "2.5 s"), Figure("x", Taken(9, 8))]
    )
    assert said[0].split() == ["what", "seconds", "computing", "baseline", "its", "seconds", "ratio", "limit"]
    assert said[1].split() == ["bands", "2", "1.9", "a", "loop", "190", "1/100", "2.5", "s"]
    assert said[2].split() == ["x", "9", "8"]
    assert said[0].index("limit") == said[1].index("2.5 s")


def test_processes_side_by_side_are_compared_by_the_clock():
    assert Figure("two", Taken(3, 6), "one", Taken(5, 5), by_clock=True).cells()[4:6] == ("5", "0.60")


@pytest.mark.parametrize(("value", "words"), [(2.1, "2.10"), (0.5, "0.50"), (0.001, "1/1,000")])
def test_ratios_in_words(value, words):
    assert ratio(value) == words


def test_the_process_stays_on_one_core_and_gets_its_cores_back():
    usual = os.sched_getaffinity(0)
    with one_core():
        assert len(os.sched_getaffinity(0)) == 1
    assert os.sched_getaffinity(0) == usual


def test_memory_is_in_mebibytes():
    assert 20 < peak_mib() < 100_000
