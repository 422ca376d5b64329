"""Entering a muscle site, its photo, and finding the place again at a new length."""

import io
from uuid import uuid4

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from fitting.forms import muscle_site
from fitting.models import MuscleSite
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]


@pytest.fixture
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


@pytest.fixture
def limb():
    return make.make_limb(make.make_child(make.make_clinic("Tern Island")))


@pytest.fixture
def staff(client, limb):
    staff = make.make_staff(clinics=[limb.child.clinic])
    client.force_login(staff)
    return staff


@pytest.fixture
def site(limb, staff):
    return make.make_muscle_site(limb, staff)


def text_of(response):
    return " ".join(response.content.decode().split())


def typed_site(**changed):
    facts = {
        "muscle": "wrist_extensors",
        "landmark": "lateral_epicondyle",
        "distance_mm": "4 cm",
        "residual_length_mm": "10 cm",
        "clock_hour": "2.5",
        "spacing_mm": "15",
        "orientation": "along",
        "electrode": "dry pair 1",
        "posture": "seated_elbow_90",
        "skin_preparation": "alcohol",
        "on": "2026-05-04",
        "submission": str(uuid4()),
    }
    return {**facts, **changed}


def photo(size=(40, 30), name="marks.jpg"):
    data = io.BytesIO()
    Image.new("RGB", size).save(data, "JPEG")
    return SimpleUploadedFile(name, data.getvalue(), "image/jpeg")


def test_a_site_is_entered(client, limb, staff):
    response = client.post(reverse("muscle_site_new", args=[limb.pk]), typed_site(photo=photo(), photo_agreed="on"))
    assert response.status_code == 302
    site = MuscleSite.objects.get()
    assert (site.distance_mm, site.residual_length_mm, site.clock_hour, site.observer) == (40, 100, 2.5, staff)
    page = text_of(client.get(reverse("muscle_sites", args=[limb.pk])))
    assert "40 mm from the lateral epicondyle (40 % of 100 mm), 2.5 o'clock" in page
    picture = client.get(reverse("muscle_site_photo", args=[site.pk]))
    assert picture["Content-Type"] == "image/jpeg"
    assert "no-store" in picture["Cache-Control"]
    assert Image.open(io.BytesIO(b"".join(picture.streaming_content))).size == (40, 30)


def test_a_site_without_photo_has_none_to_show(client, site):
    assert client.get(reverse("muscle_site_photo", args=[site.pk])).status_code == 404


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"on": "2026-05-05"}, "on", "This day is in the future."),
        ({"distance_mm": "210 mm"}, "distance_mm", "This is more than twice the residual length. Check the unit."),
        ({"distance_mm": "900"}, "distance_mm", "This must be from 0 mm to 500 mm. Check the unit."),
        ({"clock_hour": "13"}, "clock_hour", "Ensure this value is less than or equal to 12."),
        ({"electrode": ""}, "electrode", "This field is required."),
        (
            {"photo": photo()},
            "photo_agreed",
            "A photo is kept only if the family and the child agreed. Choose it again.",
        ),
        (
            {"photo": SimpleUploadedFile("a.jpg", b"no picture"), "photo_agreed": "on"},
            "photo",
            "Upload a valid image. The file you uploaded was either not an image or a corrupted image.",
        ),
    ],
)
def test_a_bad_entry_is_said_at_its_field_and_nothing_typed_is_lost(client, limb, staff, changed, field, sentence):
    response = client.post(reverse("muscle_site_new", args=[limb.pk]), typed_site(note="near the scar", **changed))
    assert response.context["form"].errors == {field: [sentence]}
    assert 'value="near the scar"' in response.content.decode()
    assert not MuscleSite.objects.exists()


def test_a_photo_too_large_is_refused(client, limb, staff, monkeypatch):
    monkeypatch.setattr(muscle_site, "MOST_PHOTO_PIXELS", 100)
    url = reverse("muscle_site_new", args=[limb.pk])
    form = client.post(url, typed_site(photo=photo(), photo_agreed="on")).context["form"]
    assert form.errors == {"photo": ["The photo has too many pixels. Take it at a lower setting."]}
    monkeypatch.setattr(muscle_site, "MOST_PHOTO_MB", 0)
    form = client.post(url, typed_site(photo=photo(), photo_agreed="on")).context["form"]
    assert form.errors == {"photo": ["The photo is larger than 0 MB."]}


def test_the_form_starts_from_the_newest_length_and_the_site_before(client, site):
    visit = make.make_visit(site.limb.child, site.observer)
    make.make_reading(visit, "residual_length", 120, site.limb)
    form = client.get(reverse("muscle_site_replace", args=[site.pk])).context["form"]
    assert (form["residual_length_mm"].value(), form["distance_mm"].value()) == ("120 mm", "40 mm")
    assert form["electrode"].value() == "dry pair 1"


def test_a_site_entered_anew_keeps_the_one_before(client, site):
    url = reverse("muscle_site_replace", args=[site.pk])
    assert client.post(url, typed_site()).context["form"].errors == {"why": ["This field is required."]}
    assert client.post(url, typed_site(why="grown", distance_mm="44")).status_code == 302
    assert list(MuscleSite.objects.current().values_list("distance_mm", "supersedes")) == [(44, site.pk)]
    assert client.get(url).status_code == 302


def test_at_a_new_length_the_place_is_rescaled_and_marked_retest(client, site):
    visit = make.make_visit(site.limb.child, site.observer)
    make.make_reading(visit, "residual_length", 120, site.limb)
    response = client.get(reverse("muscle_sites", args=[site.limb_id]))
    (row,) = response.context["sites"]
    assert (row.look_mm, row.retest, row.percent) == (pytest.approx(48), True, 40)
    assert "<strong>48 mm</strong>" in response.content.decode()
    assert "retest" in response.content.decode()
    assert [window.retest for window in response.context["drawing"].windows] == [True]
    assert "Window 1: wrist extensors at 48 mm. Retest." in response.content.decode()
