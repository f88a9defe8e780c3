"""Shares of animals that meet an event, beside statsmodels' own of the same animals."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight
from statsmodels.stats.proportion import proportion_confint

from bpvet.maths.estimates import share_interval
from bpvet.models.clinic.incidence import cumulative_incidence, median_days


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("censored", [0.0, 0.3, 0.9])
def test_shares_and_errors_are_those_of_statsmodels(seed: int, censored: float) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 60))
    # Whole days, so that several animals meet their events on one.
    days = rng.integers(1, 40, count).astype(float)
    status = np.where(rng.random(count) < censored, 0, rng.integers(1, 4, count))
    status[0] = 3
    ours = cumulative_incidence(days, status, 3)
    with np.errstate(divide="ignore", invalid="ignore"):
        theirs = CumIncidenceRight(days, status)
    assert ours.days == pytest.approx(theirs.times)
    assert ours.share == pytest.approx(np.array(theirs.cinc), rel=1e-12)
    assert ours.error == pytest.approx(np.array(theirs.cinc_se), rel=1e-9, nan_ok=True)


@pytest.mark.parametrize("seed", range(20))
def test_the_median_is_that_of_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 12))
    days = rng.integers(1, 6, count).astype(float)
    met = (rng.random(count) < 0.6).astype(int)
    met[0] = 1
    theirs = SurvfuncRight(days, met).quantile(0.5)
    assert median_days(days, met) == (None if np.isnan(theirs) else theirs)


def test_by_a_day_all_that_happened_on_it_counts_and_before_the_first_nothing() -> None:
    found = cumulative_incidence(np.array([3.0, 5.0, 5.0, 9.0]), np.array([1, 2, 2, 0]), 2)
    assert found.at(0, 2.9) == (0.0, 0.0)
    assert found.at(0, 3.0)[0] == pytest.approx(0.25)
    assert found.at(1, 5.0)[0] == pytest.approx(0.5)
    assert found.at(1, 4.9)[0] == 0.0


def test_half_exactly_is_not_yet_the_median() -> None:
    assert median_days(np.array([1.0, 2.0]), np.array([1, 0])) is None
    assert median_days(np.array([1.0, 2.0]), np.array([1, 1])) == 2.0


@pytest.mark.parametrize("level", [0.8, 0.95])
@pytest.mark.parametrize(("count", "number"), [(0, 7), (3, 7), (7, 7), (411, 1000)])
def test_a_share_has_the_interval_of_wilson(count: int, number: int, level: float) -> None:
    theirs = proportion_confint(count, number, 1 - level, method="wilson")
    assert [*map(float, share_interval(count / number, number, level))] == pytest.approx(theirs)
