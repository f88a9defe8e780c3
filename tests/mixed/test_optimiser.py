"""The optimiser against a slow twin: many starts of a general minimiser on plain factors."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from bpvet.errors import FitError
from bpvet.mixed.contributions import Variances
from bpvet.mixed.optimiser import minimise, usual_starts
from bpvet.mixed.parametrisation import full_parametrisation, with_block, with_entry, with_sd
from tests.mixed import dense_cohort as dense


def slow_twin(c, correlated, starts=6, seed=0):
    """Return the lowest criterion found by quasi-Newton from many starts, boundary allowed."""
    q, rng = c.random, np.random.default_rng(seed)
    rows, columns = np.tril_indices(q) if correlated else (np.arange(q), np.arange(q))
    rest = int(c.grouped) + c.visits + c.residuals

    def value(theta):
        factor = np.zeros((q, q))
        factor[rows, columns] = theta[: len(rows)]
        squares = theta[len(rows) :] ** 2
        group = squares[0] if c.grouped else 0.0
        squares = squares[int(c.grouped) :]
        residual = np.maximum(squares[c.visits :], 1e-12)
        try:
            return c.value(Variances(factor, group, squares[: c.visits], residual)).criterion
        except FitError:
            return 1e10

    best = np.inf
    for _ in range(starts):
        theta = rng.normal(size=len(rows) + rest) * rng.choice([0.1, 0.5, 1.5], len(rows) + rest)
        theta[-c.residuals :] = rng.uniform(0.3, 1.5, c.residuals)
        found = minimize(value, theta, method="BFGS", options={"gtol": 1e-7})
        found = minimize(
            value,
            found.x,
            method="Nelder-Mead",
            options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 2000},
        )
        best = min(best, found.fun)
    return best


def fit(c, correlated=True):
    residual = np.full(c.residuals, 0.4)
    return minimise(c, usual_starts(c, correlated, residual, many=True))


@pytest.mark.parametrize(
    ("seed", "shape", "correlated"),
    [
        (1, {"slopes": 0}, True),
        (2, {"slopes": 1, "animals": 12}, True),
        (3, {"slopes": 1, "animals": 12}, False),
        (4, {"slopes": 2, "animals": 20}, True),
        (5, {"slopes": 1, "animals": 15, "groups": 4}, True),
        (6, {"slopes": 1, "animals": 14, "classes": 2}, False),
    ],
)
def test_reaches_the_twin(seed, shape, correlated):
    c = dense.criterion_of(dense.invented(seed, **shape), True)
    point, outcome = fit(c, correlated)
    assert outcome.criterion <= slow_twin(c, correlated, starts=3) + 1e-6
    assert outcome.promise < 1e-8
    assert point.value.criterion == outcome.criterion


@pytest.mark.parametrize("parts", [1, 3])
def test_an_analysis_of_variance_begins_near_the_optimum(parts):
    """Large data have one start: it lies lower than the usual one and ends in the same place."""
    c = dense.criterion_of(dense.invented(11, slopes=0, animals=60, classes=2), True, parts=parts)
    four = fit(c)[0]
    near = usual_starts(c, True, np.full(c.residuals, 0.4), many=False)
    assert len(near) == 1
    point, outcome = minimise(c, near)
    assert outcome.criterion == pytest.approx(four.value.criterion, abs=1e-9)
    np.testing.assert_allclose(c.natural(point.variances), c.natural(four.variances), rtol=1e-3)
    started = c.value(near[0][0].variances(near[0][1])).criterion
    usual = usual_starts(c, True, np.full(c.residuals, 0.4), many=True)[0]
    assert started < c.value(usual[0].variances(usual[1])).criterion


def test_boundary_is_an_answer_and_says_so():
    readings = dense.invented(2, animals=10)
    rng = np.random.default_rng(0)
    flat = readings.x @ np.array([1.0, 2.0, 3.0]) + rng.normal(size=len(readings.y))
    readings = dense.Readings(**(vars(readings) | {"y": flat}))
    c = dense.criterion_of(readings, True)
    point, outcome = fit(c)
    assert outcome.boundary
    assert outcome.criterion <= slow_twin(c, True, starts=4) + 1e-6
    zero = point.variances.visit[0] == 0.0
    assert zero or np.linalg.matrix_rank(point.variances.factor, tol=1e-9) < 2


def test_no_scatter_is_an_error():
    readings = dense.invented(2, animals=10)
    exact = readings.x @ np.array([1.0, 2.0, 3.0]) + readings.animal
    readings = dense.Readings(**(vars(readings) | {"y": exact.astype(float)}))
    with pytest.raises(FitError, match="do not scatter"):
        fit(dense.criterion_of(readings, True))


@pytest.mark.parametrize("rank", [1, 2, 3])
def test_charts_agree_with_differences(rank):
    chart = full_parametrisation(3, True, 4, True, 1)
    rng = np.random.default_rng(rank)
    psi = rng.normal(size=10) * 0.4
    chart, psi = with_block(chart, psi, rng.normal(size=(3, rank)))
    chart, psi = with_sd(chart, psi, 1, 0.0)
    chart, psi = with_entry(chart, psi, np.eye(3)[[0, 1, 2]] * 0.3, 0.7)

    def natural(at):
        v = chart.variances(at)
        g = (v.factor @ v.factor.T)[np.tril_indices(3)]
        return np.concatenate([g, [v.group], v.visit, v.residual])

    step = 1e-5
    jacobian = chart.jacobian(psi)
    weight = rng.normal(size=len(jacobian))
    bend = chart.bend(psi, weight)
    for j, e in enumerate(np.eye(len(psi)) * step):
        slope = (natural(psi + e) - natural(psi - e)) / (2 * step)
        np.testing.assert_allclose(jacobian[:, j], slope, atol=1e-8)
        change = (chart.jacobian(psi + e) - chart.jacobian(psi - e)) / (2 * step)
        np.testing.assert_allclose(bend[:, j], weight @ change, atol=1e-8)


@pytest.mark.parametrize("seed", [4, 42])
def test_columns_of_the_block_that_were_lost_are_found_again(seed):
    # Of three effects the third has no variance: what is lost is one column and no second one.
    c = dense.criterion_of(dense.invented(seed, slopes=2, animals=24), True)
    full = fit(c)[1].criterion
    for chart, psi in usual_starts(c, True, np.full(c.residuals, 0.4), many=True)[:2]:
        thin = with_block(chart, psi, np.array([[0.0], [0.0], [0.1]]))
        thin = with_block(*thin, np.array([[0.5], [0.1], [0.0]]))
        assert minimise(c, [thin])[1].criterion == pytest.approx(full, abs=1e-6)


def test_a_search_that_begins_at_the_optimum_takes_no_step():
    c = dense.criterion_of(dense.invented(2, slopes=1, animals=24), True)
    point, outcome = fit(c)
    assert not outcome.boundary
    assert outcome.steps > 0
    again = minimise(c, [(point.parametrisation, point.psi)])[1]
    assert (again.steps, again.criterion) == (0, pytest.approx(outcome.criterion, abs=1e-9))
