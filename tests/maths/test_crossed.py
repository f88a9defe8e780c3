"""Operators and animals crossed: a dense twin, the boundary, and drawing together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.stats import chi2

from bpvet.errors import FitError
from bpvet.maths.crossed import Crossed, _criterion, _Data, crossed, variance_ratio


def drawn(seed: int, spread: float, n: int = 70) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    animal, operator = rng.integers(0, 12, n), rng.integers(0, 4, n)
    animal[:12], operator[:4] = np.arange(12), np.arange(4)
    known = 60 / rng.integers(1, 7, n)
    y = 150 + rng.normal(0, 15, 12)[animal] + rng.normal(0, spread, 4)[operator]
    y = y + rng.normal(0, np.sqrt(60 + known))
    return y, known, np.ones((n, 1)), animal, operator


def dense(fit: Crossed, data: tuple[np.ndarray, ...]) -> tuple[float, np.ndarray, np.ndarray]:
    """Return log-likelihood, effects and error variances by one n × n matrix."""
    y, known, x, animal, operator = data
    z = (operator[:, None] == np.arange(4)).astype(float)
    v = np.diag(known + fit.session_sd**2) + fit.operator_sd**2 * z @ z.T
    v += fit.animal_sd**2 * (animal[:, None] == animal[None, :])
    w = np.linalg.inv(v)
    a = x.T @ w @ x
    p = w - w @ x @ np.linalg.solve(a, x.T @ w)
    value = -(y @ p @ y + np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1]) / 2
    value -= (y.size - 1) / 2 * np.log(2 * np.pi)
    g = fit.operator_sd**2
    error = g * np.eye(4) - g**2 * z.T @ p @ z
    return float(value), g * z.T @ p @ y, np.diag(error)


def test_like_the_dense_twin() -> None:
    data = drawn(1, 7.0)
    fit = crossed(*data)
    value, effect, error = dense(fit, data)
    assert fit.log_likelihood == pytest.approx(value, abs=1e-6)
    np.testing.assert_allclose(fit.effect, effect, atol=1e-6)
    np.testing.assert_allclose(fit.variance, error, atol=1e-6)
    for name in ("animal_sd", "operator_sd", "session_sd"):
        for factor in (0.97, 1.03):
            held = {n: getattr(fit, n) for n in ("animal_sd", "operator_sd", "session_sd")}
            moved = Crossed(
                fit.effect,
                fit.variance,
                **{**held, name: held[name] * factor},
                p=0.0,
                log_likelihood=0.0,
                between=fit.between,
            )
            assert dense(moved, data)[0] < value


@pytest.mark.parametrize("logs", [(-0.7, -3.0, -1.5), (0.2, -1.0, -0.3), (-20.0, -1.0, 0.5)])
def test_slopes_are_those_of_the_criterion(logs: tuple[float, ...]) -> None:
    y, known, x, animal, operator = drawn(1, 7.0)
    wide = np.column_stack([x, np.random.default_rng(2).normal(size=y.size)])
    data = _Data(y / 15 - 10, known / 225, wide, animal, operator)
    slopes = _criterion(data, np.exp(logs))[1]
    for place, moved in enumerate(1e-3 * np.eye(3)):
        at = [_criterion(data, np.exp(logs + way * moved))[0] for way in (-2, -1, 1, 2)]
        outside = (at[0] - 8 * at[1] + 8 * at[2] - at[3]) / 12e-3
        assert slopes[place] == pytest.approx(outside, abs=1e-9)


def test_the_average_information_is_that_of_whole_matrices() -> None:
    """Gilmour, Thompson & Cullis 1995: ½ yᵀP Va P Vb P y, by one n × n matrix."""
    y, known, x, animal, operator = drawn(2, 7.0)
    wide = np.column_stack([x, np.random.default_rng(2).normal(size=y.size)])
    variance = np.array([150.0, 30.0, 70.0])
    z = (operator[:, None] == np.arange(4)).astype(float)
    parts = [1.0 * (animal[:, None] == animal[None, :]), z @ z.T, np.eye(y.size)]
    w = np.linalg.inv(np.diag(known) + np.tensordot(variance, parts, 1))
    p = w - w @ wide @ np.linalg.solve(wide.T @ w @ wide, wide.T @ w)
    moved = np.column_stack([var * part @ p @ y for var, part in zip(variance, parts, strict=True)])
    found = _criterion(_Data(y, known, wide, animal, operator), variance)[2]
    np.testing.assert_allclose(found, moved.T @ p @ moved / 2, rtol=1e-9)


def test_the_search_ends_where_the_slopes_are_nothing() -> None:
    y, known, x, animal, operator = drawn(1, 7.0)
    fit = crossed(y, known, x, animal, operator)
    at = np.array([fit.animal_sd, fit.operator_sd, fit.session_sd]) ** 2
    slopes = _criterion(_Data(y, known, x, animal, operator), at)[1]
    np.testing.assert_allclose(slopes, 0, atol=1e-7)


def test_no_difference_is_an_answer() -> None:
    zero = [fit for fit in (crossed(*drawn(seed, 0.0)) for seed in range(6)) if not fit.operator_sd]
    assert zero
    # Two searches meet to about 1e-13 in the likelihood; the p moves by its root.
    assert zero[0].p == pytest.approx(0.5, abs=1e-6)
    assert not zero[0].effect.any()


def test_the_interval_ends_where_the_dense_likelihood_refuses() -> None:
    data = drawn(1, 7.0)
    fit = crossed(*data)

    def profiled(sd: float) -> float:
        def value(logs: np.ndarray) -> float:
            animal, session = np.exp(logs)
            return -dense(replace(fit, operator_sd=sd, animal_sd=animal, session_sd=session), data)[
                0
            ]

        found = minimize(value, np.log([15.0, 8.0]), method="Nelder-Mead", options={"xatol": 1e-6})
        return -float(found.fun)

    assert fit.between.estimate == fit.operator_sd
    for end in (fit.between.lower, fit.between.upper):
        assert end is not None
        drop = 2 * (fit.log_likelihood - profiled(end))
        # The end is found to 0.1 % of the SD; the likelihood falls some 2 by its logarithm.
        assert drop == pytest.approx(variance_ratio(3, 0.95), abs=0.004)


@pytest.mark.parametrize("df", [1, 2, 5, 400])
def test_the_likelihood_ratio_of_a_variance_like_drawn_ones(df: int) -> None:
    t = np.random.default_rng(df).chisquare(df, 200_000)
    ratio = t - df - df * np.log(t / df)
    assert variance_ratio(df, 0.95) == pytest.approx(np.quantile(ratio, 0.95), rel=0.02)
    assert chi2.ppf(0.95, 1) < variance_ratio(df, 0.95) < 1.4 * chi2.ppf(0.95, 1)


def test_where_no_difference_is_not_refused_the_interval_begins_at_zero() -> None:
    fits = [crossed(*drawn(seed, 0.0)) for seed in range(6)]
    from_zero = [fit.between for fit in fits if fit.p > 0.05]
    assert from_zero
    assert all(one.lower == 0 for one in from_zero)
    assert all(one.upper is not None and 1 < one.upper < 100 for one in from_zero)


def test_a_shift_and_a_unit_change_nothing_else() -> None:
    y, known, *rest = drawn(3, 7.0)
    here, there = crossed(y, known, *rest), crossed(2 * y + 30, 4 * known, *rest)
    np.testing.assert_allclose(there.effect, 2 * here.effect, atol=1e-3)
    assert there.session_sd == pytest.approx(2 * here.session_sd, rel=1e-4)


def test_too_few_sessions() -> None:
    with pytest.raises(FitError, match="more sessions"):
        crossed([1.0, 2.0], [0, 0], np.ones((2, 1)), [0, 1], [0, 0])
