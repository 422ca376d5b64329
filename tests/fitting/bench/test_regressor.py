"""The batched forecast against scikit-learn's Gaussian-process regressor, one child at a time."""

import numpy as np
import pytest

from fitting.bench import regressor
from fitting.bench.forecast import ASKED, SERIES, WORK
from fitting.bench.invented_series import VISITS, invented_series

CHILDREN = 12


@pytest.fixture(scope="module", params=SERIES)
def series(request):
    return invented_series(*SERIES[request.param], CHILDREN, seed=3)


def test_invented_children_grow_and_come_six_times(series):
    assert series.readings.size.shape == (CHILDREN, VISITS)
    assert (np.diff(series.readings.age_years) > 0).all()
    assert (series.readings.size[:, -1] > series.readings.size[:, 0]).mean() > 0.9
    assert 0 < series.male.sum() < CHILDREN


@pytest.mark.parametrize("what", WORK)
def test_the_forecast_equals_that_of_the_regressors(series, what):
    together = WORK[what](series)
    by_regressor = {"bands": regressor.bands, "dates": regressor.dates}[what]
    assert np.isfinite(together).mean() > 0.5
    for child in (0, 5, 11):
        alone = series.of(np.array([child]))
        theirs = by_regressor(alone, *ASKED[what](alone))
        known = np.isfinite(together[child])
        np.testing.assert_allclose(together[child][known], theirs[known], rtol=1e-8)
        if what == "dates":
            np.testing.assert_array_equal(np.isnan(theirs), ~known)
