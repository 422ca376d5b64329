"""A clinic that shows millimetres, one child with one limb, its last visit and its socket; the clock stands at noon."""

from datetime import date

import pytest
import time_machine

from fitting.models import ClinicSettings, Reading
from tests import factories as make

M = Reading.Measure
LAST = date(2026, 1, 12)


@pytest.fixture(autouse=True)
def at_noon():
    with time_machine.travel(make.noon(make.TODAY), tick=False):
        yield


@pytest.fixture
def clinic():
    clinic = make.make_clinic("Tern Island", length_unit="mm")
    ClinicSettings.objects.create(clinic=clinic)
    return clinic


@pytest.fixture
def staff(client, clinic):
    staff = make.make_staff(clinics=[clinic])
    client.force_login(staff)
    return staff


@pytest.fixture
def child(clinic):
    return make.make_child(clinic)


@pytest.fixture
def limb(child):
    return make.make_limb(child)


@pytest.fixture
def last_visit(limb, staff):
    visit = make.make_visit(limb.child, staff, on=LAST)
    make.make_girths(visit, limb, {0: 180.0, 25: 170.0})
    make.make_reading(visit, M.RESIDUAL_LENGTH, 100.0, limb, landmark="medial_epicondyle")
    make.make_reading(visit, M.STATURE, 1200.0)
    return visit


@pytest.fixture
def socket(limb, last_visit):
    return make.make_socket(last_visit, limb, {0: 186.0, 25: 176.0})
