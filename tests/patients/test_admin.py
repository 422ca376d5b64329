"""The setup pages: for administrators, about settings and staff, never about a child."""

import pytest
import time_machine
from django.urls import reverse

from fitting.models import ClinicSettings, Forecast, SleeveDesign, usual_minutes
from patients.admin import setup
from patients.models import Clinic, RoleHeld, Staff
from patients.roles import Role
from tests import factories as make

pytestmark = pytest.mark.django_db
CLINIC = {
    "name": "Tern Island",
    "time_zone": "UTC",
    "length_unit": "mm",
    "weight_unit": "kg",
    "paper": "A4",
    "phone": "555 0100",
    "out_of_hours_phone": "555 0199",
}


@pytest.fixture
def admin(client):
    staff = make.make_staff(Role.ADMINISTRATOR)
    client.force_login(staff)
    return client


def settings_rows(clinic, **changed):
    row = clinic.settings if clinic else ClinicSettings()
    fields = [f.name for f in ClinicSettings._meta.fields if f.name not in ("id", "clinic")]
    values = {name: getattr(row, name) for name in fields} | changed
    rows = {f"settings-0-{name}": value for name, value in values.items()}
    keys = {"settings-0-id": row.pk, "settings-0-clinic": clinic.pk} if clinic else {}
    lengths = {"visit_lengths-TOTAL_FORMS": 0, "visit_lengths-INITIAL_FORMS": 0}
    return {"settings-TOTAL_FORMS": 1, "settings-INITIAL_FORMS": 1 if clinic else 0, **rows, **keys, **lengths}


def test_only_settings_and_staff_are_registered():
    names = {model._meta.label for model in setup._registry}
    ours = {"patients.Clinic", "patients.Staff", "fitting.SleeveDesign", "fitting.Absence"}
    assert names == ours | {"auditlog.LogEntry"}


def test_the_flag_on_an_account_opens_nothing(client):
    client.force_login(make.make_staff(Role.PROSTHETIST, is_staff=True, is_superuser=True))
    assert client.get(reverse("admin:index")).status_code == 403
    assert client.get(reverse("admin:login")).status_code == 403


def test_the_first_account_made_at_the_command_line_is_an_administrator(client):
    first = Staff.objects.create_superuser("first", password="a long enough one")
    assert first.roles == {Role.ADMINISTRATOR}
    client.force_login(first)
    assert client.get(reverse("admin:index")).status_code == 200


def test_there_is_one_sign_in_page(client):
    response = client.get(reverse("admin:index"), follow=True)
    assert response.redirect_chain[-1][0] == f"{reverse('sign_in')}?next=/setup/"


def test_every_setup_page_opens(admin):
    clinic, design = make.make_clinic(), SleeveDesign.objects.create(name="Comet")
    staff = make.make_staff()
    for model, row in ((Clinic, clinic), (Staff, staff), (SleeveDesign, design)):
        base = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        for url in (f"{base}_changelist", f"{base}_add"):
            assert admin.get(reverse(url)).status_code == 200
        assert admin.get(reverse(f"{base}_change", args=[row.pk])).status_code == 200
        assert admin.get(reverse(f"{base}_delete", args=[row.pk])).status_code == 403


def test_a_new_clinic_has_its_settings(admin):
    response = admin.post(reverse("admin:patients_clinic_add"), {**CLINIC, **settings_rows(None)})
    assert response.status_code == 302, response.context["errors"]
    assert Clinic.objects.get(name="Tern Island").settings.lead_time_days == 28


@time_machine.travel(make.noon(make.TODAY), tick=False)
def test_changed_settings_make_new_promises(admin):
    limb = make.make_limb()
    clinic = limb.child.clinic
    ClinicSettings.objects.create(clinic=clinic)
    make.make_girths(make.make_visit(limb.child), limb, {0: 180, 50: 160})
    url = reverse("admin:patients_clinic_change", args=[clinic.pk])
    typed = {**CLINIC, "name": clinic.name}
    assert admin.post(url, {**typed, **settings_rows(clinic)}).status_code == 302
    assert not Forecast.objects.exists()
    assert admin.post(url, {**typed, **settings_rows(clinic, lead_time_days=42)}).status_code == 302
    forecast = Forecast.objects.get()
    assert (forecast.limb, forecast.why, forecast.as_of) == (limb, "settings", make.TODAY)
    assert forecast.inputs["tolerances"]["lead_time_days"] == 42


def test_a_visit_length_is_the_clinics_own_and_makes_no_new_promise(admin):
    limb = make.make_limb()
    clinic = limb.child.clinic
    ClinicSettings.objects.create(clinic=clinic)
    assert usual_minutes(clinic, "refit") == 60
    lengths = {"visit_lengths-TOTAL_FORMS": 1, "visit_lengths-0-kind": "refit", "visit_lengths-0-minutes": 75}
    url = reverse("admin:patients_clinic_change", args=[clinic.pk])
    typed = {**CLINIC, "name": clinic.name, **settings_rows(clinic), **lengths, "visit_lengths-0-clinic": clinic.pk}
    assert admin.post(url, typed).status_code == 302
    assert usual_minutes(clinic, "refit") == 75 and not Forecast.objects.exists()


def test_impossible_settings_are_refused_at_their_field(admin):
    clinic = make.make_clinic()
    ClinicSettings.objects.create(clinic=clinic)
    url = reverse("admin:patients_clinic_change", args=[clinic.pk])
    response = admin.post(url, {**CLINIC, "time_zone": "Mars", **settings_rows(clinic, girth_tolerance_percent=-1)})
    page = response.content.decode()
    assert "Mars is not a time zone name such as Europe/Madrid." in page
    assert "Ensure this value is greater than or equal to 0." in page


def test_a_member_of_staff_is_entered_with_roles_and_clinics(admin):
    clinic = make.make_clinic()
    typed = {
        "username": "maren",
        "password1": "paper and pencil",
        "password2": "paper and pencil",
        "first_name": "Maren",
        "last_name": "Holloway",
        "clinics": [clinic.pk],
        "roles_held-TOTAL_FORMS": 1,
        "roles_held-INITIAL_FORMS": 0,
        "roles_held-0-role": "prosthetist",
    }
    response = admin.post(reverse("admin:patients_staff_add"), typed)
    assert response.status_code == 302, response.context["errors"]
    staff = Staff.objects.get(username="maren")
    assert staff.roles == {Role.PROSTHETIST}
    assert list(staff.clinics.all()) == [clinic]
    assert staff.check_password("paper and pencil")
    assert not staff.is_staff


def test_a_role_is_taken_away(admin):
    staff = make.make_staff(Role.PROSTHETIST, Role.THERAPIST)
    held = list(staff.roles_held.order_by("role"))
    typed = {
        "username": staff.username,
        "is_active": "on",
        "roles_held-TOTAL_FORMS": 2,
        "roles_held-INITIAL_FORMS": 2,
        "roles_held-0-id": held[0].pk,
        "roles_held-0-staff": staff.pk,
        "roles_held-0-role": "prosthetist",
        "roles_held-1-id": held[1].pk,
        "roles_held-1-staff": staff.pk,
        "roles_held-1-role": "therapist",
        "roles_held-1-DELETE": "on",
    }
    response = admin.post(reverse("admin:patients_staff_change", args=[staff.pk]), typed)
    assert response.status_code == 302, response.context["errors"]
    assert list(RoleHeld.objects.filter(staff=staff).values_list("role", flat=True)) == ["prosthetist"]


def test_the_change_log_tells_of_settings_and_not_of_children(admin):
    make.make_child(given_name="Unseen", family_name="Child")
    make.make_clinic("Seen Clinic")
    page = admin.get(reverse("admin:auditlog_logentry_changelist")).content.decode()
    assert "Seen Clinic" in page
    assert "Unseen" not in page
