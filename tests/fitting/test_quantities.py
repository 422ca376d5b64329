import math

import pytest
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from fitting.quantities import (
    DECIMALS,
    UnreadableQuantity,
    format_length,
    format_weight,
    in_unit,
    parse_length_mm,
    parse_weight_kg,
)

HALF_LAST_DIGIT_MM = {"mm": 0.5, "cm": 0.5, "in": 0.127}


@pytest.mark.parametrize(
    ("text", "default_unit", "length_mm"),
    [
        ("7 1/2 in", "mm", 190.5),
        ("7.5in", "mm", 190.5),
        ('7 1/2"', "mm", 190.5),
        ("7 1/2''", "mm", 190.5),
        ("7½ in", "mm", 190.5),
        ("7 ½ in", "mm", 190.5),
        ("7″", "mm", 177.8),
        ("1/2 in", "mm", 12.7),
        ("½", "in", 12.7),
        ("19,0 cm", "mm", 190),
        ("19.0 cm", "mm", 190),
        ("190 mm", "cm", 190),
        ("190", "mm", 190),
        ("19", "cm", 190),
        ("7 1/2", "in", 190.5),
        ("  19 cm  ", "mm", 190),
        ("19 CM", "mm", 190),
        ("19 cm.", "mm", 190),
        (".5 cm", "mm", 5),
        ("19. cm", "mm", 190),
        ("1.2 m", "mm", 1200),
        ("1 ft 2 in", "mm", 355.6),
        ("1' 2\"", "mm", 355.6),
        ("1′2″", "mm", 355.6),
        ("1 ft 2 1/2 in", "mm", 368.3),
        ("7 inches", "mm", 177.8),
        ("19 centimetres", "mm", 190),
        ("7 pulgadas", "mm", 177.8),
        ("1 pie 2 pulgadas", "mm", 355.6),
        ("１９ cm", "mm", 190),  # full-width digits
        ("0", "mm", 0),
    ],
)
def test_lengths_as_people_type_them(text, default_unit, length_mm):
    assert parse_length_mm(text, default_unit) == pytest.approx(length_mm)


@pytest.mark.parametrize(
    ("text", "default_unit", "weight_kg"),
    [
        ("12,4 kg", "lb", 12.4),
        ("12.4", "kg", 12.4),
        ("12 kilos", "lb", 12),
        ("27 lb", "kg", 12.24699),
        ("27 lbs", "kg", 12.24699),
        ("27 libras", "kg", 12.24699),
        ("27 lb 3 oz", "kg", 12.33204),
        ("27 1/2", "lb", 12.47379),
        ("12400 g", "kg", 12.4),
    ],
)
def test_weights_as_people_type_them(text, default_unit, weight_kg):
    assert parse_weight_kg(text, default_unit) == pytest.approx(weight_kg, abs=1e-5)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "Type a number, for example 190 mm, 19.0 cm or 7 1/2 in."),
        ("   ", "Type a number, for example 190 mm, 19.0 cm or 7 1/2 in."),
        ("1" * 41, "This is too long to be a measurement. Type one value."),
        ("-5 cm", "A measurement cannot be negative."),
        ("−5 cm", "A measurement cannot be negative."),
        ("1,234.5", "Write the number with one decimal mark and without thousands marks, for example 19.0 or 19,0."),
        ("1.234,5 mm", "Write the number with one decimal mark and without thousands marks, for example 19.0 or 19,0."),
        ("nan", "This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm."),
        ("inf", "This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm."),
        ("about 19", "This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm."),
        ("19±1 cm", "This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm."),
        ("5 m**2", "This cannot be read as a measurement. Type a number and a unit, for example 19.0 cm."),
        ("1/0 in", "A fraction cannot have zero below the line."),
        ("5 zorp", "“zorp” is not a unit known here."),
        ("5 kg", "“kg” is not a unit of length."),
        ("5 s", "“s” is not a unit of length."),
        ("19 5 cm", "Give every part a unit, for example 1 ft 2 in."),
        ("19 cm 5", "Give every part a unit, for example 1 ft 2 in."),
        ("1e400", "Give every part a unit, for example 1 ft 2 in."),
        ("20 cm 19 cm", "Two values stand here. Type one value, or feet and inches such as 1 ft 2 in."),
        ("1 ft 12 in", "Two values stand here. Type one value, or feet and inches such as 1 ft 2 in."),
        ("2 in 1 ft", "Two values stand here. Type one value, or feet and inches such as 1 ft 2 in."),
    ],
)
def test_what_cannot_be_read_says_why(text, sentence):
    with pytest.raises(UnreadableQuantity) as error:
        parse_length_mm(text, "mm")
    assert str(error.value) == sentence


def test_a_length_is_not_a_weight():
    with pytest.raises(UnreadableQuantity) as error:
        parse_weight_kg("19 cm", "kg")
    assert str(error.value) == "“cm” is not a unit of weight."


@pytest.mark.parametrize(
    ("length_mm", "unit", "text"), [(190, "mm", "190 mm"), (190, "cm", "19.0 cm"), (190.5, "in", "7.50 in")]
)
def test_lengths_as_people_read_them(length_mm, unit, text):
    assert format_length(length_mm, unit) == text


@pytest.mark.parametrize(("unit", "text"), [("kg", "12.4 kg"), ("lb", "27.3 lb")])
def test_weights_as_people_read_them(unit, text):
    assert format_weight(12.4, unit) == text


def test_the_decimal_mark_is_the_readers():
    with translation.override("es"):
        assert format_length(190, "cm") == "19,0 cm"


@given(st.floats(min_value=0, max_value=3000), st.sampled_from(sorted(HALF_LAST_DIGIT_MM)))
def test_a_length_shown_is_read_again(length_mm, unit):
    assert parse_length_mm(format_length(length_mm, unit), "mm") == pytest.approx(
        length_mm, abs=HALF_LAST_DIGIT_MM[unit] + 1e-6
    )


@given(st.floats(min_value=0, max_value=3000), st.sampled_from(sorted(HALF_LAST_DIGIT_MM)))
def test_a_length_shown_in_spanish_is_read_again(length_mm, unit):
    with translation.override("es"):
        shown = format_length(length_mm, unit)
    assert parse_length_mm(shown, "mm") == pytest.approx(length_mm, abs=HALF_LAST_DIGIT_MM[unit] + 1e-6)


@given(st.floats(min_value=0, max_value=250), st.sampled_from(["kg", "lb"]))
def test_a_weight_shown_is_read_again(weight_kg, unit):
    assert parse_weight_kg(format_weight(weight_kg, unit), "kg") == pytest.approx(weight_kg, abs=0.0501)


@given(st.integers(min_value=0, max_value=60), st.integers(min_value=0, max_value=15))
def test_inches_in_sixteenths(whole, sixteenths):
    assert parse_length_mm(f"{whole} {sixteenths}/16 in", "cm") == pytest.approx(25.4 * (whole + sixteenths / 16))


@given(st.floats(min_value=0.001, max_value=3000), st.sampled_from(["mm", "cm", "in", "ft", "m"]))
def test_units_round_trip(length_mm, unit):
    assert in_unit(in_unit(length_mm, "mm", unit), unit, "mm") == pytest.approx(length_mm)


@given(st.text(max_size=45))
def test_any_text_is_read_or_refused(text):
    try:
        length_mm = parse_length_mm(text, "mm")
    except UnreadableQuantity as refused:
        assert str(refused).endswith(".")
    else:
        assert math.isfinite(length_mm)
        assert length_mm >= 0


@given(st.text(alphabet="0123456789 .,/½¼′″'\"-cmintfk", max_size=20))
def test_any_text_of_measurement_characters_is_read_or_refused(text):
    try:
        length_mm = parse_length_mm(text, "cm")
    except UnreadableQuantity:
        return
    assert math.isfinite(length_mm)
    assert length_mm >= 0


def test_shown_units_have_decimals():
    assert set(HALF_LAST_DIGIT_MM) | {"kg", "lb"} == set(DECIMALS)
