"""What is answered without a record: health, and the pages for what went wrong."""

import pytest
from django.test import Client
from django.urls import reverse

from tests import factories as make


@pytest.mark.django_db
def test_health_needs_no_sign_in_and_takes_nothing():
    client = Client()
    response = client.get("/health")
    assert (response.status_code, response.content) == (200, b"ok")
    assert "no-store" in response.headers["Cache-Control"]
    assert client.head("/health").status_code == 200
    assert client.post("/health").status_code == 405


def test_health_fails_without_the_database(django_db_blocker):
    with django_db_blocker.block():
        assert Client(raise_request_exception=False).get("/health").status_code == 500


@pytest.mark.django_db
def test_an_address_that_is_not_there(client):
    client.force_login(make.make_staff())
    response = client.get("/nowhere/")
    assert response.status_code == 404
    assert "There is nothing here" in response.content.decode()


@pytest.mark.django_db
def test_a_page_for_another_role(client):
    client.force_login(make.make_staff())
    response = client.get(reverse("admin:index"))
    assert response.status_code == 403
    assert "This page is not for your role" in response.content.decode()


@pytest.mark.django_db
def test_an_error_of_ours_says_what_to_do(client, monkeypatch):
    client.force_login(make.make_staff())
    client.raise_request_exception = False

    def broken(*_arguments):
        raise RuntimeError

    monkeypatch.setattr("fitting.views.child.guardian_formset", broken)
    response = client.get(reverse("child_new"))
    assert response.status_code == 500
    assert "Something went wrong on our side" in response.content.decode()


@pytest.mark.django_db
def test_a_form_from_before_signing_in_again_says_what_to_do():
    client = Client(enforce_csrf_checks=True)
    client.force_login(make.make_staff())
    response = client.post(reverse("child_new"), {})
    assert response.status_code == 403
    assert "This was not saved" in response.content.decode()
