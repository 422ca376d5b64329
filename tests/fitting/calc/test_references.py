import numpy as np
import pytest

from fitting.calc.errors import BadReference
from fitting.calc.references import (
    REFERENCE_FOLDER,
    growth_share_knots,
    height_velocity_whole_year,
    lms_table,
    read_lms_table,
    stature_template,
)

HEADER = {
    "measure": "test girth",
    "unit": "mm",
    "ages_months": "24.0 to 36.0",
    "source": "a test",
    "licence": "public domain",
}
ROWS = ["F,24,1,100,0.05", "F,36,1,110,0.05", "M,24,1,101,0.05", "M,36,1,111,0.05"]
LMS_TABLES = [path.stem for path in REFERENCE_FOLDER.glob("*.csv") if "sex,age_months,L,M,S" in path.read_text()]


def table_file(folder, header=HEADER, rows=ROWS, columns="sex,age_months,L,M,S"):
    path = folder / "test_table.csv"
    path.write_text("\n".join([*(f"# {key}: {text}" for key, text in header.items()), columns, *rows]) + "\n")
    return path


def refusal(path):
    with pytest.raises(BadReference) as refused:
        read_lms_table(path)
    return str(refused.value)


@pytest.mark.parametrize("name", LMS_TABLES)
def test_every_table_says_what_it_is_and_where_it_comes_from(name):
    table = lms_table(name)
    assert table.unit in ("mm", "kg")
    assert all((table.measure, table.source, table.licence, table.status))
    for curves in table.curves.values():
        assert (curves.age_months[0], curves.age_months[-1]) == (table.first_months, table.last_months)


def test_a_table_is_read_once_and_cannot_be_changed():
    table = lms_table("stature_cdc2000")
    assert lms_table("stature_cdc2000") is table
    with pytest.raises(ValueError, match="read-only"):
        table.curves["F"].M[0] = 1


@pytest.mark.parametrize("key", ["source", "licence", "unit", "ages_months", "measure"])
@pytest.mark.parametrize("text", [None, ""])
def test_a_table_without_its_origin_does_not_load(tmp_path, key, text):
    header = {k: v for k, v in HEADER.items() if k != key} | ({} if text is None else {key: text})
    sentence = f"The reference table test_table.csv does not state its {key}, so it is not used."
    assert refusal(table_file(tmp_path, header)) == sentence


@pytest.mark.parametrize(
    ("header", "rows", "sentence"),
    [
        (HEADER | {"ages_months": "two to three"}, ROWS, 'gives its ages as "two to three", not as "24.0 to 240.0"'),
        (HEADER, ["F,24,1,x,0.05", *ROWS[1:]], "holds a value that is not a number"),
        (HEADER, ["F,24,1,100", *ROWS[1:]], "holds a value that is not a number"),
        (HEADER, ROWS[:2], "needs rows of rising age for sex M"),
        (HEADER, [ROWS[1], ROWS[0], *ROWS[2:]], "needs rows of rising age for sex F"),
        (HEADER | {"ages_months": "24.0 to 48.0"}, ROWS, "does not cover the ages its header states for sex F"),
        (HEADER, ["F,24,1,100,0", *ROWS[1:]], "holds a median or a spread that is not above zero"),
        (HEADER, ["F,24,nan,100,0.05", *ROWS[1:]], "holds a median or a spread that is not above zero"),
    ],
)
def test_a_table_with_unfit_rows_does_not_load(tmp_path, header, rows, sentence):
    assert sentence in refusal(table_file(tmp_path, header, rows))


def test_a_table_with_other_columns_does_not_load(tmp_path):
    path = table_file(tmp_path, columns="sex,age,L,M,S")
    assert refusal(path) == "The reference table test_table.csv must have the columns sex, age_months, L, M, S."


def test_a_missing_table_says_so(tmp_path):
    assert refusal(tmp_path / "nowhere.csv") == "There is no reference table nowhere.csv."


def test_the_template_ends_where_the_cdc_medians_end():
    """Once grown, tempo does not matter: the template must meet the published median at 20 years."""
    for sex, (ages, M) in stature_template().items():
        adult = lms_table("stature_cdc2000").curves[sex].M[-1]
        assert np.interp(20, ages, M) == pytest.approx(adult, rel=0.002)


def test_the_velocity_table_peaks_as_published():
    """Abbassi 1998, Pediatrics 102:507, as the table's own header has it: near 9.5 (boys) and 8.3 cm/y (girls)."""
    peaks = {sex: lines[2][lines[0] > 100].max() for sex, lines in height_velocity_whole_year().items()}
    assert peaks == {"F": pytest.approx(8.3, abs=0.2), "M": pytest.approx(9.5, abs=0.2)}


@pytest.mark.parametrize(
    ("bone", "physis", "ages", "shares"),
    [
        ("humerus", "proximal", [2, 8, 11], [0.75, 0.85, 0.90]),
        ("radius", "distal", [2, 5, 8], [0.80, 0.85, 0.90]),
        ("ulna", "distal", [2, 5, 8], [0.85, 0.90, 0.95]),
    ],
)
def test_growth_share_knots(bone, physis, ages, shares):
    """Pritchett 1991, abstract; youngest knot at two years is common practice."""
    knots = growth_share_knots(bone, physis)
    np.testing.assert_allclose(knots[0], ages)
    np.testing.assert_allclose(knots[1], shares)


def test_a_plate_without_rows_is_refused():
    with pytest.raises(BadReference, match="There is no growth share for the distal plate of the femur."):
        growth_share_knots("femur", "distal")
