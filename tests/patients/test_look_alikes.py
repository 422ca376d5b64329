"""Same birth date, similar name, same clinic: perhaps the same child."""

from datetime import date

import pytest

from patients.look_alikes import is_similar, look_alikes
from tests import factories as make

SAME = [
    ("Ada Quill", "ada quill"),
    ("Ada Quill", "Quill Ada"),
    ("José Núñez", "Jose Nunez"),
    ("Katherine Moss", "Catherine Moss"),
    ("Ana María Soler", "Ana Soler"),
    ("Ada Quill", "Ada Quil"),
    ("Leni Farrow-Hale", "Leni Farrow Hale"),
]
OTHER = [("Ada Quill", "Bruno Marsh"), ("Leni Farrow", "Gus Farrow"), ("Ada Quill", "Odin Ashby"), ("", "Ada Quill")]


@pytest.mark.parametrize(("name", "other"), SAME)
def test_one_child_under_two_spellings(name, other):
    assert is_similar(name, other)
    assert is_similar(other, name)


@pytest.mark.parametrize(("name", "other"), OTHER)
def test_two_children(name, other):
    assert not is_similar(name, other)
    assert not is_similar(other, name)


@pytest.mark.django_db
def test_only_the_same_clinic_and_the_same_birth_date_count():
    child = make.make_child(given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 14))
    make.make_child(clinic=child.clinic, given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 15))
    make.make_child(given_name="Ada", family_name="Quill", birth_date=date(2018, 3, 14))
    assert look_alikes(child.clinic, date(2018, 3, 14), "Aida Quill") == [child]
