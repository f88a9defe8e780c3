"""Operators and animals crossed: a dense twin, the boundary, and drawing together."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.errors import FitError
from bpvet.maths.crossed import Crossed, crossed


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
            )
            assert dense(moved, data)[0] < value


def test_no_difference_is_an_answer() -> None:
    zero = [fit for fit in (crossed(*drawn(seed, 0.0)) for seed in range(6)) if not fit.operator_sd]
    assert zero
    # Two optimisers meet to about 1e-13 in the likelihood; the p moves by its root.
    assert zero[0].p == pytest.approx(0.5, abs=1e-5)
    assert not zero[0].effect.any()


def test_a_shift_and_a_unit_change_nothing_else() -> None:
    y, known, *rest = drawn(3, 7.0)
    here, there = crossed(y, known, *rest), crossed(2 * y + 30, 4 * known, *rest)
    np.testing.assert_allclose(there.effect, 2 * here.effect, atol=1e-3)
    assert there.session_sd == pytest.approx(2 * here.session_sd, rel=1e-4)


def test_too_few_sessions() -> None:
    with pytest.raises(FitError, match="more sessions"):
        crossed([1.0, 2.0], [0, 0], np.ones((2, 1)), [0, 1], [0, 0])
