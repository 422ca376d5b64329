"""New socket from a visit, and the steps on a socket's page."""

from datetime import date, timedelta

import pytest
import time_machine
from django.urls import reverse

from fitting.models import ClinicSettings, CurrentForecast, Forecast, Layer, Sleeve, SleeveDesign, Socket
from patients.models import Limb
from patients.roles import Role
from tests import factories as make

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_noon")]
CAST = date(2026, 4, 1)
GIRTHS = {0: 180.0, 50: 160.5}


@pytest.fixture
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


@pytest.fixture
def clinic():
    clinic = make.make_clinic("Tern Island", length_unit="cm")
    ClinicSettings.objects.create(clinic=clinic, allowance_mm=5)
    return clinic


@pytest.fixture
def limb(clinic):
    return make.make_limb(make.make_child(clinic))


@pytest.fixture
def staff(client, clinic):
    staff = make.make_staff(clinics=[clinic])
    client.force_login(staff)
    return staff


@pytest.fixture
def visit(limb, staff):
    visit = make.make_visit(limb.child, staff, on=CAST)
    make.make_girths(visit, limb, GIRTHS)
    make.make_reading(visit, "sound_forearm_length", 192.0)
    return visit


def design_names(limb, visit):
    return [f"design_{reading.pk}_mm" for reading in visit.readings.filter(limb=limb).order_by("station_mm")]


def typed(limb, visit, designs=("18.5", "6.52 in"), **changed):
    return {
        "visit": visit.pk,
        "allowance_mm": "0.5",
        **dict(zip(design_names(limb, visit), designs, strict=True)),
        "end_gap_mm": "8 mm",
        "forearm_length_mm": "19.2",
        "trim_note": "open over the olecranon",
        "made_on": "2026-04-02",
        "layer_1_mm": "1",
        "layer_2_mm": "1,5",
        **changed,
    }


def values(form):
    return {name: form[name].value() for name in form.fields}


def test_the_table_is_laid_out_from_the_newest_visit_and_the_usual_allowance(client, limb, visit):
    older = make.make_visit(limb.child, visit.observer, on=CAST - timedelta(days=90))
    make.make_girths(older, limb, {0: 170, 50: 150})
    response = client.get(reverse("socket_new", args=[limb.pk]))
    form = response.context["form"]
    assert [form[name].value() for name in design_names(limb, visit)] == ["18.5 cm", "16.55 cm"]
    assert form["forearm_length_mm"].value() == "19.2 cm"
    response = client.get(reverse("socket_new", args=[limb.pk]), {"visit": older.pk, "allowance_mm": "1 cm"})
    form = response.context["form"]
    assert [form[name].value() for name in design_names(limb, older)] == ["18 cm", "16 cm"]
    assert f'<input type="hidden" name="visit" value="{older.pk}"' in response.content.decode()


def test_a_corrected_girth_counts_and_the_old_one_does_not(client, limb, visit):
    old = visit.readings.get(station_mm=50)
    new = make.make_reading(visit, "girth", 158, limb, station_mm=50, supersedes=old, why="read again")
    form = client.get(reverse("socket_new", args=[limb.pk])).context["form"]
    assert form[f"design_{new.pk}_mm"].value() == "16.3 cm"
    assert f"design_{old.pk}_mm" not in form.fields


def test_a_limb_without_girths_is_measured_first(client, limb, staff):
    response = client.get(reverse("socket_new", args=[limb.pk]))
    assert "No girths of this limb are recorded yet." in response.content.decode()
    assert client.post(reverse("socket_new", args=[limb.pk]), {"made_on": "2026-04-02"}).status_code == 200
    assert not Socket.objects.exists()


def test_a_socket_is_entered(client, limb, visit):
    response = client.post(reverse("socket_new", args=[limb.pk]), typed(limb, visit))
    socket = Socket.objects.get()
    assert response.url == reverse("socket", args=[socket.pk])
    stations = socket.stations.values_list("station_mm", "girth_at_cast_mm", "design_girth_mm")
    assert list(stations) == [(0, 180, 185), (50, 160.5, 165.61)]
    assert [layer.thickness_mm for layer in socket.layers.all()] == [1, 1.5]  # a bare layer is in millimetres
    assert (socket.version, socket.end_gap_mm, socket.forearm_length_mm) == (1, 8, 192)
    assert (socket.allowance_mm, socket.made_on, socket.fitted_on) == (5, date(2026, 4, 2), None)


@pytest.mark.parametrize(
    ("changed", "field", "sentence"),
    [
        ({"made_on": "2026-05-05"}, "made_on", "This day is in the future."),
        ({"made_on": "2026-03-31"}, "made_on", "The socket cannot be made before the visit it is made from."),
        ({"end_gap_mm": ""}, "end_gap_mm", "This field is required."),
        ({"end_gap_mm": "8"}, "end_gap_mm", "This must be from 0 cm to 6 cm. Check the unit."),
        ({"layer_1_mm": ""}, "layer_1_mm", "Layers count from the innermost: fill this one first."),
        ({"layer_1_mm": "1 cm 2"}, "layer_1_mm", "Give every part a unit, for example 1 ft 2 in."),
        ({"layer_2_mm": "15"}, "layer_2_mm", "This must be from 0.1 mm to 10 mm. Check the unit."),
        ({"forearm_length_mm": "19.2 mm"}, "forearm_length_mm", "This must be from 6 cm to 40 cm. Check the unit."),
    ],
)
def test_refused_at_its_field_with_nothing_lost(client, limb, visit, changed, field, sentence):
    sent = typed(limb, visit, **changed)
    form = client.post(reverse("socket_new", args=[limb.pk]), sent).context["form"]
    assert form.errors == {field: [sentence]}
    assert values(form) == {name: sent.get(name, "") for name in form.fields} | {
        name: None for name in form.fields if name not in sent
    }
    assert not Socket.objects.exists()


@pytest.mark.parametrize(
    ("design", "sentence"),
    [
        ("185", "This must be from 6 cm to 45 cm. Check the unit."),
        ("7.3", "This is more than a fifth off the girth of the limb. Check the unit."),
        ("", "This field is required."),
    ],
)
def test_a_design_girth_that_is_a_slip(client, limb, visit, design, sentence):
    form = client.post(reverse("socket_new", args=[limb.pk]), typed(limb, visit, (design, "16.5"))).context["form"]
    assert form.errors == {design_names(limb, visit)[0]: [sentence]}


def test_a_visit_of_another_child_is_refused(client, limb, visit, clinic):
    other = make.make_limb(make.make_child(clinic))
    elsewhere = make.make_visit(other.child, visit.observer, on=CAST)
    make.make_girths(elsewhere, other, GIRTHS)
    response = client.post(reverse("socket_new", args=[limb.pk]), {**typed(limb, visit), "visit": elsewhere.pk})
    assert "visit" in response.context["source"].errors
    assert not Socket.objects.exists()


@pytest.fixture
def socket(limb, visit):
    return make.make_socket(visit, limb, {0: 185, 50: 165.5}, [1, 1.5], fitted_on=None)


def step(client, socket, name, **typed):
    data = {f"{name}-{field}": value for field, value in typed.items()}
    return client.post(reverse("socket", args=[socket.pk]), {"step": name, **data})


def fitted(client, socket, on="2026-04-10"):
    assert step(client, socket, "fit", on=on).status_code == 302
    socket.refresh_from_db()
    return socket


def test_the_station_table_says_what_each_station_holds(client, limb, visit, socket):
    page = client.get(reverse("socket", args=[socket.pk]))
    (first, sizes), _second = page.context["stations"]
    assert first == "0.0 cm"
    # every layer out: 18.5 cm + 2 pi x 2.5 mm = 20.07 cm
    assert sizes == ["17.9 cm", "18.5 cm", "18.5 cm", "20.1 cm"]
    assert "A tape never says “fits”" in page.content.decode()


def test_fitted_then_a_layer_out_then_retired(client, limb, socket):
    fitted(client, socket)
    assert socket.fitted_on == date(2026, 4, 10)
    inner, outer = socket.layers.all()
    response = step(client, socket, "layer_out", layer=inner.pk, on="2026-04-20", end_gap_mm="6 mm")
    assert response.status_code == 302
    inner.refresh_from_db()
    assert (inner.out_on, inner.end_gap_after_mm) == (date(2026, 4, 20), 6)
    page = client.get(response.url)
    assert page.context["layer_out"].next_layer == outer
    assert page.context["stations"][0][1][2] == "19.1 cm"  # 18.5 cm + 2 pi x 1 mm
    assert step(client, socket, "retire", on="2026-05-04", why="outgrown_girth").status_code == 302
    socket.refresh_from_db()
    assert (socket.retired_on, socket.why_retired) == (date(2026, 5, 4), "outgrown_girth")
    assert [f.why for f in Forecast.objects.order_by("pk")] == ["fitted", "layer out", "retired"]
    assert CurrentForecast.objects.get(limb=limb).forecast.state == "no_socket"


def test_the_next_socket_says_why_the_worn_one_is_retired(client, limb, visit, socket):
    worn = fitted(client, socket)
    new = make.make_socket(visit, limb, {0: 190}, fitted_on=None)
    response = step(client, new, "fit", on="2026-05-01")
    assert response.context["fit"].errors == {"why_worn_retired": ["This field is required."]}
    response = step(client, new, "fit", on="2026-04-09", why_worn_retired="outgrown_girth")
    assert response.context["fit"].errors == {"on": ["The socket worn until now was fitted after that day."]}
    assert step(client, new, "fit", on="2026-05-01", why_worn_retired="outgrown_girth").status_code == 302
    worn.refresh_from_db()
    assert (worn.retired_on, worn.why_retired) == (date(2026, 5, 1), "outgrown_girth")
    assert list(Socket.objects.in_use()) == [new]


def test_days_that_do_not_follow(client, socket):
    before = step(client, socket, "fit", on="2026-03-31")
    assert before.context["fit"].errors == {"on": ["The socket was not made by that day."]}
    later = step(client, socket, "fit", on="2026-05-05")
    assert later.context["fit"].errors == {"on": ["This day is in the future."]}
    fitted(client, socket)
    inner = socket.layers.first()
    early = step(client, socket, "layer_out", layer=inner.pk, on="2026-04-09", end_gap_mm="0.6")
    assert early.context["layer_out"].errors == {"on": ["The socket's record has a later step than that day."]}
    assert early.context["layer_out"]["end_gap_mm"].value() == "0.6"
    early = step(client, socket, "retire", on="2026-04-09", why="loose")
    assert early.context["retire"].errors == {"on": ["The socket's record has a later step than that day."]}


def test_a_layer_comes_out_once_and_in_order(client, socket):
    inner, outer = socket.layers.all()
    response = step(client, socket, "layer_out", layer=inner.pk, on="2026-04-20", end_gap_mm="0.6")
    assert response.status_code == 302  # not fitted: the step is not there
    assert not Layer.objects.filter(out_on__isnull=False).exists()
    fitted(client, socket)
    wrong = step(client, socket, "layer_out", layer=outer.pk, on="2026-04-20", end_gap_mm="0.6")
    assert wrong.context["layer_out"].non_field_errors() == [
        "A layer further in is still there: that one comes out first."
    ]
    step(client, socket, "layer_out", layer=inner.pk, on="2026-04-20", end_gap_mm="0.6")
    again = step(client, socket, "layer_out", layer=inner.pk, on="2026-04-20", end_gap_mm="0.6")
    assert again.context["layer_out"].non_field_errors() == ["This layer is out already."]


def test_a_layer_out_asks_for_the_end_gap(client, socket):
    fitted(client, socket)
    response = step(client, socket, "layer_out", layer=socket.layers.first().pk, on="2026-04-20", end_gap_mm="")
    assert response.context["layer_out"].errors == {"end_gap_mm": ["This field is required."]}


def test_a_retired_socket_takes_no_step(client, socket):
    assert step(client, socket, "retire", on="2026-05-04", why="broken").status_code == 302
    response = client.post(reverse("socket", args=[socket.pk]), {"step": "fit", "fit-on": "2026-05-04"}, follow=True)
    assert "That step does not follow from how the socket stands now." in response.content.decode()
    assert not Socket.objects.filter(fitted_on__isnull=False).exists()


def sleeve_typed(design, socket, **changed):
    sizes = {"length_mm": "19", "girth_proximal_mm": "20", "girth_distal_mm": "5.5 in"}
    return {"design": design.pk, "made_on": "2026-04-20", **sizes, "magnets": 6, "sockets": [socket.pk], **changed}


def test_a_sleeve_is_entered_with_its_magnets_counted(client, limb, visit, socket):
    comet = SleeveDesign.objects.create(name="Comet", magnets=6)
    assert step(client, socket, "sleeve", **sleeve_typed(comet, socket)).status_code == 302
    sleeve = Sleeve.objects.get()
    assert (sleeve.limb, sleeve.length_mm, sleeve.magnets) == (limb, 190, 6)
    assert sleeve.girth_distal_mm == pytest.approx(139.7)
    other = make.make_socket(visit, limb, {0: 190}, fitted_on=None)
    assert "do not fit this version" in client.get(reverse("socket", args=[other.pk])).content.decode()


def test_a_sleeve_with_a_magnet_missing_is_refused(client, socket):
    comet = SleeveDesign.objects.create(name="Comet", magnets=6)
    response = step(client, socket, "sleeve", **sleeve_typed(comet, socket, magnets=5))
    assert response.context["sleeve"].errors == {
        "magnets": ["Comet has 6 magnets. Count again; if one is loose or missing, do not hand the sleeve out."]
    }
    assert not Sleeve.objects.exists()


def test_a_sleeve_fits_only_sockets_of_its_limb(client, limb, visit, socket):
    comet = SleeveDesign.objects.create(name="Comet", magnets=6)
    right = make.make_limb(limb.child, side=Limb.Side.RIGHT)
    other = make.make_socket(visit, right, {0: 180})
    response = step(client, socket, "sleeve", **sleeve_typed(comet, socket, sockets=[other.pk]))
    assert "sockets" in response.context["sleeve"].errors
    response = step(client, socket, "sleeve", **sleeve_typed(comet, socket, made_on="2026-05-05"))
    assert response.context["sleeve"].errors == {"made_on": ["This day is in the future."]}


def test_a_coordinator_reads_the_socket_and_takes_no_step(client, clinic, socket):
    client.force_login(make.make_staff(Role.COORDINATOR, clinics=[clinic]))
    page = client.get(reverse("socket", args=[socket.pk])).content.decode()
    assert '<form method="post" novalidate>' not in page
    assert step(client, socket, "fit", on="2026-05-04").status_code == 403


def test_the_pages_ask_as_often_for_many_rows_as_for_few(client, limb, visit, socket, django_assert_max_num_queries):
    def asked(path):
        with django_assert_max_num_queries(60) as captured:
            assert client.get(path).status_code == 200
        return len(captured)

    def sleeve():
        sizes = {"length_mm": 190, "girth_proximal_mm": 200, "girth_distal_mm": 140, "magnets": 6, "made_on": CAST}
        Sleeve.objects.create(limb=limb, design=comet, **sizes).sockets.add(socket)

    comet = SleeveDesign.objects.create(name="Comet", magnets=6)
    sleeve()
    paths = [reverse("socket", args=[socket.pk]), reverse("socket_new", args=[limb.pk])]
    before = [asked(path) for path in paths]
    make.make_girths(visit, limb, {75: 150, 100: 145, 125: 140})
    for number in (3, 4):
        Layer.objects.create(socket=socket, number=number, thickness_mm=1)
        sleeve()
    for days in (100, 200, 300):
        older = make.make_visit(limb.child, visit.observer, on=CAST - timedelta(days=days))
        make.make_girths(older, limb, GIRTHS)
    assert [asked(path) for path in paths] == before
