"""Recording files as recorders write them, and as they should not be."""

import gzip
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitting import recording_files
from fitting.calc.muscle.recording import Cue
from fitting.recording_files import RecordingFileError, read_recording


def refused(data, time_unit="s"):
    with pytest.raises(RecordingFileError) as error:
        read_recording(data, time_unit)
    return error.value.code, error.value.figures


ROWS = [(0.0, 0.5, -0.25), (0.001, -1.5, 0.125), (0.002, 2.0, 1e-3)]


def written(separator, comma=False, header="", ends="\n"):
    lines = [separator.join(repr(value) for value in row) for row in ROWS]
    text = ends.join(([header] if header else []) + lines) + ends
    return (text.replace(".", ",") if comma else text).encode()


@pytest.mark.parametrize(
    "data",
    [
        written(","),
        written(";"),
        written("\t"),
        written(";", comma=True),
        written("\t", comma=True),
        written(", "),
        written(",", ends="\r\n"),
        written(",", ends="\r"),
        written(",").rstrip(),
        b"\xef\xbb\xbf" + written(","),
        written(",").decode().encode("utf-16"),
        b"\n".join(line + b"," for line in written(",").splitlines()),
        written(",").replace(b"0.5", b'"0.5"'),
        written(",").replace(b"\n", b"\n\n"),
    ],
)
def test_the_same_numbers_however_they_are_written(data):
    found = read_recording(data)
    np.testing.assert_array_equal(np.column_stack([found.time_s, found.values]), ROWS)
    assert (found.names, found.cues) == ((), None)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_a_header_gives_the_names(separator):
    header = separator.join(["time", "extensor", "flexor"])
    assert read_recording(written(separator, header=header)).names == ("extensor", "flexor")


def test_lines_before_the_header_are_passed_over():
    found = read_recording(b"recorder, rate 1000\nmade on a Monday\n" + written(",", header="time,a,b"))
    assert found.names == ("a", "b")
    assert len(found.time_s) == 3


def test_a_header_of_another_width_gives_no_names():
    assert read_recording(written(",", header="recorded in room 4")).names == ()


def test_one_channel_and_milliseconds():
    found = read_recording(b"0,1\n1,2\n2,3\n", "ms")
    assert found.time_s == pytest.approx([0, 0.001, 0.002])
    assert found.values.tolist() == [[1], [2], [3]]


@pytest.mark.parametrize("separator", [b",", b";", b"\t"])
def test_empty_fields_are_missing_samples(separator):
    data = b"0,,\n1,,5\n,2,\n3,,".replace(b",", separator)
    found = read_recording(b"9,9,9\n".replace(b",", separator) + data)
    expected = [[9, 9, 9], [0, np.nan, np.nan], [1, np.nan, 5], [np.nan, 2, np.nan], [3, np.nan, np.nan]]
    np.testing.assert_array_equal(np.column_stack([found.time_s, found.values]), expected)


def test_nan_and_inf_are_read_as_such():
    assert np.isnan(read_recording(b"0,NaN\n1,2\n").values[0, 0])
    assert np.isinf(read_recording(b"0,inf\n1,2\n").values[0, 0])


@given(st.lists(st.tuples(*[st.floats(-1e6, 1e6)] * 2), min_size=2, max_size=20), st.sampled_from(",;\t"))
def test_every_number_written_comes_back(rows, separator):
    lines = (separator.join(repr(value) for value in (n, *row)) for n, row in enumerate(rows))
    np.testing.assert_array_equal(read_recording("\n".join(lines).encode()).values, rows)


def test_a_file_without_any_time_is_read_all_the_same():
    assert np.isnan(read_recording(b"9,1\n,2\n,3\n").time_s[1:]).all()
    assert np.isinf(read_recording(b"inf,1\ninf,2\n").time_s).all()


# Cues


def with_cues(words, header="time,signal,cue"):
    rows = [f"{n / 10},0.5,{word}" for n, word in enumerate(words)]
    return "\n".join([header, *rows] if header else rows).encode()


WORDS = ["rest"] * 10 + [""] * 5 + ["Light"] * 10 + ["hard2"] * 10


@pytest.mark.parametrize("header", ["time,signal,cue", "t,emg,Level", "t,emg,cue_level", ""])
def test_cues_by_word(header):
    found = read_recording(with_cues(WORDS, header))
    assert found.values.shape == (35, 1)
    assert found.cues == (Cue("rest", 0, 1.0), Cue("light", 1.5, 2.5), Cue("hard", 2.5, 3.4, 1))


def test_pauses_by_word():
    words = ["pause" if word == "" else word for word in WORDS]
    assert read_recording(with_cues(words)).cues == read_recording(with_cues(WORDS)).cues


def test_cues_by_number():
    numbers = [0] * 10 + [-1] * 5 + [1] * 10 + [13] * 10
    assert read_recording(with_cues(numbers)).cues == read_recording(with_cues(WORDS)).cues


def test_the_fourth_column_is_the_cues():
    found = read_recording(b"\n".join(b"%f,1,2,%d" % (n / 10, n > 9) for n in range(20)))
    assert found.values.shape == (20, 2)
    assert [cue.level for cue in found.cues] == ["rest", "light"]


def test_a_cue_column_may_stand_anywhere():
    found = read_recording(b"time,cue,signal\n" + b"\n".join(b"%f,rest,2" % (n / 10) for n in range(9)))
    assert found.values[:, 0].tolist() == [2] * 9
    assert [cue.level for cue in found.cues] == ["rest"]


def test_cues_shorter_than_a_quarter_second_are_dropped():
    assert read_recording(with_cues(["rest"] * 10 + ["hard"] * 2 + ["rest"] * 10)).cues == (
        Cue("rest", 0, 1.0),
        Cue("rest", 1.2, 2.1),
    )


def test_an_unknown_cue_is_named_with_its_line():
    assert refused(with_cues([0] * 5 + [7])) == ("cue", {"line": 7, "text": "7"})
    assert refused(with_cues(["rest"] * 5 + ["gentle"])) == ("number", {"line": 7, "text": "gentle"})


# Refused


@pytest.mark.parametrize(
    ("data", "code", "figures"),
    [
        (b"", "empty", {}),
        (b" \n\r\n", "empty", {}),
        (b"PK\x03\x04rest of a spreadsheet", "packed", {}),
        (gzip.compress(b"0,1\n" * 1000), "packed", {}),
        (b"0,1\n\0\0", "not_text", {}),
        (b"no numbers at all\n" * 3, "no_rows", {"most": 20}),
        (b"1\n2\n3\n", "no_rows", {"most": 20}),
        (b"0,1,2,3,4\n1,2,3,4,5\n", "channels", {"channels": 4}),
        (b"time,cue\n0,rest\n", "channels", {"channels": 0}),
        (b"time,cue\n0,1\n1,1\n", "channels", {"channels": 0}),
        (b"time,a\n0,1\n", "one_row", {}),
        (b"0,1\n1,2\n2,3,4\n", "columns", {"line": 3, "found": 3, "expected": 2}),
        (b"t,a\n0,1\n1\n", "columns", {"line": 3, "found": 1, "expected": 2}),
        (b"0,1\n1,=1+1\n", "number", {"line": 2, "text": "=1+1"}),
        (b"0,1\n1,1_0\n", "number", {"line": 2, "text": "1_0"}),
        (b"t,a\n0,1\n12:30:01,2\n", "number", {"line": 3, "text": "12:30:01"}),
        (b"0,1\n1," + b"9" * 20 + b"x" * 50 + b"\n", "number", {"line": 2, "text": "9" * 20 + "x" * 10}),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_place(data, code, figures):
    assert refused(data) == (code, figures)


def test_limits(monkeypatch):
    monkeypatch.setattr(recording_files, "MOST_BYTES", 2**20)
    assert refused(b"0,1\n" * 300_000) == ("too_large", {"most_mb": 1})
    monkeypatch.setattr(recording_files, "MOST_ROWS", 10)
    assert refused(b"0,1\n" * 11) == ("too_many_rows", {"most": 10})


def test_longer_than_ten_minutes_is_refused_but_milliseconds_taken_for_seconds_are_not():
    rows = b"\n".join(b"%g,1" % (n / 10) for n in range(6002))
    assert refused(rows) == ("too_long", {"most_minutes": 10})
    assert read_recording(b"\n".join(b"%d,1" % n for n in range(6002))).time_s[-1] == 6001


def test_ten_minutes_of_two_channels_are_read_within_two_seconds():
    rng = np.random.default_rng(1)
    block = "\n".join(f"%.4f,{a:.5f},{b:.5f}" for a, b in rng.standard_normal((12_000, 2)))
    text = "\n".join(block % tuple(np.arange(n * 12_000, (n + 1) * 12_000) / 2000) for n in range(100))
    start = time.process_time()
    found = read_recording(text.encode())
    assert time.process_time() - start <= 2
    assert found.values.shape == (1_200_000, 2)
