import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from fitting.calc.muscle.recording import LEVELS, Cue
from fitting.recording_cues import MOST_CUES, CueTextError, cues_text, parse_cues


@pytest.mark.parametrize(
    ("line", "cue"),
    [
        ("rest 0-10", Cue("rest", 0, 10)),
        ("Rest: 0 10", Cue("rest", 0, 10)),
        ("light 10.5 - 13", Cue("light", 10.5, 13)),
        ("light 10,5 to 13 s", Cue("light", 10.5, 13)),
        ("HARD 2 20–24", Cue("hard", 20, 24, 1)),
        ("hard2 20 24", Cue("hard", 20, 24, 1)),
        ("medium 2 - 4", Cue("medium", 2, 4)),
        ("medium 2 4", Cue("medium", 2, 4)),
        ("medium 2 2 4", Cue("medium", 2, 4, 1)),
        ("medium 20 24", Cue("medium", 20, 24)),
    ],
)
def test_cues_as_people_type_them(line, cue):
    assert parse_cues(f"\n  {line}\n\n") == (cue,)


times = st.integers(0, 5000).map(lambda n: n / 10)


@given(
    st.lists(
        st.builds(
            lambda level, start, length, channel: Cue(level, start, start + length, channel),
            st.sampled_from(LEVELS),
            times,
            st.integers(1, 60),
            st.sampled_from((0, 1)),
        )
    )
)
def test_cues_written_out_are_read_back(cues):
    found = parse_cues(cues_text(cues))
    assert [(c.level, c.channel) for c in found] == [(c.level, c.channel) for c in cues]
    assert [c.start_s for c in found] == pytest.approx([c.start_s for c in cues])
    assert [c.end_s for c in found] == pytest.approx([c.end_s for c in cues])


def test_levels_in_the_language_of_the_page():
    with translation.override("es"):
        assert parse_cues("rest 0-10") == (Cue("rest", 0, 10),)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("rest 0-10\nlight", "Line 2 is not a cue."),
        ("0-10", "Line 1 is not a cue."),
        ("rest 10", "Line 1 is not a cue."),
        ("soft 1-4", "Line 1: soft is not a level. Use rest, light, medium or hard."),
        ("rest 4-4", "Line 1: a cue lasts at least 0.25 s and ends after it starts."),
        ("rest 0-1\n" * (MOST_CUES + 1), "There are more than 400 cues."),
    ],
)
def test_what_is_no_cue_is_named_with_its_line(text, sentence):
    with pytest.raises(CueTextError, match=sentence):
        parse_cues(text)
