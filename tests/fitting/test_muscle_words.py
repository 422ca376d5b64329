"""Every fault and every file error the code can raise has its sentence, and every sentence its figures."""

import re
from pathlib import Path

import pytest

from fitting import muscle_inputs, muscle_words, recording_files
from fitting.calc.muscle import recording_faults, site_test
from fitting.services import muscle_reading

CALC = (Path(recording_faults.__file__), Path(site_test.__file__))
FIGURES = {
    "row": 7,
    "rows": 2,
    "step": 1.0,
    "seconds": 1.5,
    "gaps": 2,
    "longest_ms": 80.4,
    "cues": 3,
    "least_s": 1.0,
    "rate_hz": 499.6,
    "least_hz": 500.0,
    "good_hz": 1000.0,
    "mains_hz": 50.0,
    "percent": 12.34,
    "declared": "mV",
    "looks_like": "uV",
    "levels": ["light", "hard"],
    "samples": 5,
    "times": 1,
    "ratio": 2.0,
    "windows": 1,
}


def codes(paths, call):
    return {code for path in paths for code in re.findall(rf'{call}\(\s*"(\w+)"', path.read_text())}


def test_every_fault_has_a_sentence():
    assert codes(CALC, "Fault") == set(muscle_words.FAULTS)


def test_every_file_error_has_a_sentence():
    paths = [Path(module.__file__) for module in (recording_files, muscle_inputs, muscle_reading)]
    assert codes(paths, "RecordingFileError") == set(muscle_words.FILE_ERRORS)


@pytest.mark.parametrize("code", sorted(muscle_words.FAULTS))
def test_fault_sentences_take_their_figures(code):
    sentence = muscle_words.fault_sentence({"code": code, "at_s": 3.14159, "channel": 1, "figures": FIGURES})
    assert sentence.startswith("Channel 2: ")
    assert "%(" not in sentence
    if "%(at)s" in str(muscle_words.FAULTS[code]):
        assert "3.14 s" in sentence


def test_a_fault_of_the_whole_recording_names_no_channel():
    fault = {"code": "rate_low", "at_s": None, "channel": None, "figures": {"rate_hz": 800.2, "good_hz": 1000}}
    assert muscle_words.fault_sentence(fault) == (
        "The recording has 800 samples a second. Record at 1000 or more when the recorder can."
    )


def test_units_and_levels_come_in_words():
    fault = {"code": "unit", "at_s": None, "channel": 0, "figures": {"declared": "mV", "looks_like": "uV"}}
    assert "said to be millivolts but look like microvolts" in muscle_words.fault_sentence(fault)
    fault = {"code": "level_missing", "at_s": None, "channel": 0, "figures": {"levels": ["light", "medium"]}}
    assert "Not asked for: light, medium." in muscle_words.fault_sentence(fault)


def test_file_error_sentences_take_their_figures():
    assert muscle_words.file_error_sentence("number", {"line": 3, "text": "=1+1"}) == (
        "Line 3 holds \u201c=1+1\u201d, which is not a number."
    )
