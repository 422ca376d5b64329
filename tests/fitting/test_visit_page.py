from django.urls import reverse

from tests.factories import TODAY, make_child, make_clinic, make_staff, make_visit, noon


def test_the_time_of_a_visit_is_the_clinics(db, client):
    """Noon in Greenwich on 4 May is 09:00 in Halifax (UTC-3 in summer)."""
    clinic = make_clinic(time_zone="America/Halifax")
    visit = make_visit(make_child(clinic), at=noon(TODAY))
    client.force_login(make_staff(clinics=[clinic]))
    assert "<li>09:00</li>" in client.get(reverse("visit", args=[visit.pk])).content.decode()
