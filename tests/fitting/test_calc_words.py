"""The records and the computation use the same words and the same defaults."""

from dataclasses import fields

import pytest

from fitting.calc import promise
from fitting.calc.limb import LENGTH_BANDS, Level
from fitting.calc.next_action import ORDER
from fitting.calc.plausibility import HARD_RANGES
from fitting.calc.present_fit import FitFindings
from fitting.calc.tolerances import Tolerances
from fitting.models import ClinicSettings, Forecast, PresentFit, Reading
from patients.models import Limb


def test_levels():
    assert set(Limb.Level.values) == set(Level)


def test_every_measure_has_its_range():
    assert set(Reading.Measure.values) == set(HARD_RANGES)


def test_states_and_actions():
    states = {
        promise.FIT_PROBLEM,
        promise.NO_SOCKET,
        promise.MATURING,
        promise.NO_REFERENCE,
        promise.DATED,
        promise.MAY_NOT_OUTGROW,
    }
    assert set(Forecast.State.values) == states
    assert set(Forecast.NextAction.values) == set(ORDER)


def test_length_bands():
    assert set(ClinicSettings.Bands.values) == set(LENGTH_BANDS)


@pytest.mark.parametrize("field", fields(Tolerances), ids=lambda field: field.name)
def test_a_clinics_settings_start_at_the_computations_defaults(field):
    assert ClinicSettings._meta.get_field(field.name).default == field.default


def test_the_findings_are_those_of_the_present_fit():
    recorded = {field.name for field in PresentFit._meta.fields}
    from_elsewhere = {"seen_on", "earlier_wear_hours_per_day", "weight_kg", "weight_when_measured_kg"}
    assert {field.name for field in fields(FitFindings)} - from_elsewhere <= recorded
