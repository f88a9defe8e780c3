"""Intervals for what depends on visit noise and reading noise together."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from bpvet.maths.agreement.comparison import root, variance_interval
from bpvet.maths.agreement.pivots import (
    TwoVariances,
    from_nodes,
    share_within_pivots,
    two_variances,
)


def test_without_reading_noise_it_is_the_chi_square_interval() -> None:
    # Pairs that share no session: their squares are independent, and all is exact.
    d = np.random.default_rng(3).normal(0, 10, 20)
    found = two_variances(d, np.zeros(20), np.zeros(19), 0.0, 0.0)
    held = from_nodes(found.visit**0.5, np.sqrt(found.visit_nodes), 0.95)
    exact = root(variance_interval(float(np.mean(d**2)) / 2, 1.0, 0.95, 20))
    assert held.estimate == pytest.approx(exact.estimate)
    assert held.lower == pytest.approx(exact.lower, rel=0.005)
    assert held.upper == pytest.approx(exact.upper, rel=0.005)


def test_shared_sessions_leave_fewer_degrees_of_freedom() -> None:
    # Consecutive differences of one series: cov(d², d²) = 2 v², so df = m / (1 + (m − 1) / (2 m)).
    d = np.ones(9)
    apart = two_variances(d, np.zeros(9), np.zeros(8), 0.0, 0.0)
    shared = two_variances(d, np.zeros(9), np.full(8, 1e-12), 0.0, 0.0)
    df = 9 / (1 + 8 / 18)
    middle = df / stats.chi2.ppf(0.5, df) / 2
    # The median lies between the two middle nodes.
    assert np.median(shared.visit_nodes) == pytest.approx(middle, rel=1e-3)
    assert np.ptp(shared.visit_nodes) > np.ptp(apart.visit_nodes)


def gain(both: TwoVariances, n: float) -> tuple[float, np.ndarray]:
    """Return what half the visit noise would take off the SD of a mean of `n`."""

    def of(visit: np.ndarray, reading: np.ndarray) -> np.ndarray:
        return np.sqrt(visit + reading / n) - np.sqrt(visit / 4 + reading / n)

    estimate = of(np.array(both.visit), np.array(both.reading))
    return float(estimate), of(both.visit_nodes, both.reading_nodes)


def test_it_covers_the_truth() -> None:
    rng, held = np.random.default_rng(11), 0
    animals, sessions, n, sv, sr = 12, 3, 3, 8.0, 6.0
    truth, _ = gain(TwoVariances(sv**2, sr**2, np.zeros((1, 1)), np.zeros((1, 1))), n)
    shared = np.tile([1 / n, 0.0], animals)[:-1]
    part = np.full(animals * 2, 2 / n)
    df = animals * sessions * (n - 1)
    for _ in range(400):
        noise = sv * rng.standard_normal((animals, sessions))
        noise += sr / np.sqrt(n) * rng.standard_normal((animals, sessions))
        both = two_variances(
            np.diff(noise, axis=1).ravel(), part, shared, sr**2 * rng.chisquare(df), df
        )
        one = from_nodes(*gain(both, n), 0.95)
        held += bool(one.lower <= truth <= one.upper)  # type: ignore[operator]
    # 0.95 ± three standard errors of 400 trials.
    assert 0.917 <= held / 400 <= 0.983


@pytest.mark.parametrize(("bias", "sd"), [(2.0, 9.0), (8.0, 6.0)])
def test_a_share_expected_covers_the_truth(bias: float, sd: float) -> None:
    rng, held, n = np.random.default_rng(5), 0, 15
    truth = stats.norm.cdf(10, bias, sd) - stats.norm.cdf(-10, bias, sd)
    for _ in range(400):
        d = rng.normal(bias, sd, n)
        mean, spread = float(d.mean()), float(d.std(ddof=1))
        one = share_within_pivots((mean, spread / n**0.5), spread, n - 1, 10.0)
        assert one.lower is not None
        assert one.upper is not None
        held += bool(one.lower <= truth <= one.upper)
    assert 0.917 <= held / 400 <= 0.983
