import io
from uuid import uuid4

import pytest
from django.core.files.base import ContentFile
from PIL import Image

from fitting.models import LevelSettings, MuscleSite
from fitting.services.muscle_sites import (
    PHOTO_SIDE_PX,
    LevelsIn,
    SiteIn,
    current_levels,
    move_site,
    plain_photo,
    record_site,
    set_levels,
)
from fitting.services.steps import StepError
from tests import factories as make

pytestmark = pytest.mark.django_db
NOW = make.noon(make.TODAY)


def what(**changed):
    facts = {
        "muscle": "biceps",
        "landmark": "acromion",
        "distance_mm": 80.0,
        "residual_length_mm": 150.0,
        "clock_hour": 12.0,
        "spacing_mm": 20.0,
        "orientation": "along",
        "electrode": "dry pair 2",
        "gain": "4",
        "posture": "seated_arm_hanging",
        "skin_preparation": "water",
        "on": make.TODAY,
    }
    return SiteIn(**{**facts, **changed})


@pytest.fixture
def limb():
    return make.make_limb(level="transhumeral")


@pytest.fixture
def staff(limb):
    return make.make_staff(clinics=[limb.child.clinic])


def test_a_site_is_stored_once_a_submit(limb, staff):
    submission = uuid4()
    first = record_site(limb, staff, what(), None, submission, NOW)
    assert record_site(limb, staff, what(distance_mm=90.0), None, submission, NOW) == first
    assert (first.observer, first.distance_mm, first.photo.name) == (staff, 80, "")


def test_a_site_entered_anew_supersedes_and_says_why(limb, staff):
    old = record_site(limb, staff, what(), None, uuid4(), NOW)
    new = move_site(old, staff, what(distance_mm=88.0), None, "grown", uuid4(), NOW)
    assert (new.supersedes, new.why) == (old, "grown")
    assert MuscleSite.objects.get(pk=old.pk).distance_mm == 80
    assert list(MuscleSite.objects.current()) == [new]
    with pytest.raises(StepError, match="Somebody entered this site anew first"):
        move_site(old, staff, what(), None, "also", uuid4(), NOW)


def photo_with_place(size=(3000, 2000)):
    picture = Image.new("RGB", size, "tan")
    exif = picture.getexif()
    exif[0x010F], exif[0x0112] = "a camera", 6  # maker; turned by a quarter
    exif.get_ifd(0x8825)[1] = "N"
    data = io.BytesIO()
    picture.save(data, "JPEG", exif=exif)
    return Image.open(io.BytesIO(data.getvalue()))


def test_a_photo_is_upright_bounded_and_says_nothing_of_place_or_camera():
    photo = photo_with_place()
    assert photo.getexif()[0x010F] == "a camera"
    kept = Image.open(io.BytesIO(plain_photo(photo).read()))
    assert dict(kept.getexif()) == {}
    assert kept.format == "JPEG"
    assert kept.height == PHOTO_SIDE_PX > kept.width


def test_a_photo_is_kept_with_its_site(limb, staff):
    site = record_site(limb, staff, what(), photo_with_place((40, 30)), uuid4(), NOW)
    with site.photo.open("rb") as file:
        assert Image.open(file).size == (30, 40)


def levels(**changed):
    facts = {
        "levels": ("rest", "hard"),
        "boundaries": (0.1,),
        "unit": "mV",
        "full_scale": 1.0,
        "hysteresis_ln": 0.1,
        "debounce_ms": 60,
        "gestures": {"rest": {"grip": "still", "word": ""}, "hard": {"grip": "open", "word": "claw"}},
        "typed": False,
        "on": make.TODAY,
    }
    return LevelsIn(**{**facts, **changed})


def recording(site, **fields):
    return make.make_muscle_recording(site, ContentFile(b"0,1\n", "a.csv"), **fields)


def test_levels_supersede_those_of_the_same_muscle(limb, staff):
    site = make.make_muscle_site(limb, staff)
    old = set_levels(recording(site), 0, staff, levels(), None, NOW)
    moved = make.make_muscle_site(limb, staff, supersedes=site, why="grown")
    later = recording(moved)
    new = set_levels(later, 0, staff, levels(boundaries=(0.2,)), old.pk, NOW)
    assert new.supersedes == old
    assert current_levels(later, 0) == new
    assert list(LevelSettings.objects.current()) == [new]


def test_levels_of_another_muscle_stand_beside(limb, staff):
    site = make.make_muscle_site(limb, staff)
    other = make.make_muscle_site(limb, staff, muscle="wrist_flexors")
    both = recording(site, second_site=other)
    first = set_levels(both, 0, staff, levels(), None, NOW)
    second = set_levels(both, 1, staff, levels(), None, NOW)
    assert set(LevelSettings.objects.current()) == {first, second}
    assert (current_levels(both, 0), current_levels(both, 1)) == (first, second)


def test_levels_set_from_a_stale_page_are_refused(limb, staff):
    row = recording(make.make_muscle_site(limb, staff))
    standing = set_levels(row, 0, staff, levels(), None, NOW)
    with pytest.raises(StepError, match="Somebody set the levels of this muscle meanwhile"):
        set_levels(row, 0, staff, levels(), None, NOW)
    assert set_levels(row, 0, staff, levels(), standing.pk, NOW).supersedes == standing
