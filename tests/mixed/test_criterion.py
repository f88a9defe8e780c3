"""The criterion, its gradient and its curvature against one dense matrix over all readings."""

from __future__ import annotations

import numpy as np
import pytest

from tests.mixed import dense_cohort as dense

SHAPES = {
    "intercept": {"slopes": 0},
    "slope": {"slopes": 1},
    "two slopes": {"slopes": 2, "animals": 9},
    "groups": {"slopes": 1, "groups": 3, "animals": 11},
    "classes": {"slopes": 1, "classes": 2},
    "within": {"slopes": 1, "within": True, "classes": 2},
    "all": {"slopes": 1, "within": True, "classes": 2, "groups": 3, "animals": 11},
}


def some_phi(c, seed=5):
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(c.random, c.random))
    g = a @ a.T + 0.3 * np.eye(c.random)
    rest = rng.uniform(0.3, 2.0, int(c.grouped) + c.visits + c.residuals)
    return np.concatenate([g[np.tril_indices(c.random)], rest])


@pytest.fixture(params=SHAPES, ids=lambda name: name.replace(" ", "_"))
def readings(request):
    return dense.invented(3, **SHAPES[request.param])


@pytest.mark.parametrize("reml", [True, False])
@pytest.mark.parametrize("parts", [1, 3])
def test_value_and_derivatives(readings, reml, parts):
    c = dense.criterion_of(readings, reml, parts=parts)
    phi = some_phi(c)
    variances = dense.variances_of(phi, c)
    criterion, beta, cov, inverse, p = dense.dense_projection(readings, c, phi)
    value = c.value(variances)
    assert value.criterion == pytest.approx(criterion, abs=1e-9)
    np.testing.assert_allclose(value.coefficients, beta, rtol=1e-9)
    np.testing.assert_allclose(value.root @ value.root.T, cov, rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(c.natural(variances), phi, rtol=1e-12)

    parts_of_v = dense.parts_of_v(readings, c)
    py = p @ readings.y
    weigh = p if reml else inverse
    gradient = [np.sum(weigh * va) - py @ va @ py for va in parts_of_v]
    average = [[py @ va @ p @ vb @ py for vb in parts_of_v] for va in parts_of_v]
    trace = [[np.trace(inverse @ va @ inverse @ vb) for vb in parts_of_v] for va in parts_of_v]
    derivatives = c.derivatives(variances, value)
    np.testing.assert_allclose(derivatives.gradient, gradient, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(derivatives.information, average, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(c.traces(variances, value), trace, rtol=1e-8, atol=1e-9)


def test_products_of_several_vectors(readings):
    c = dense.criterion_of(readings, True)
    phi = some_phi(c)
    variances = dense.variances_of(phi, c)
    inverse = dense.dense_projection(readings, c, phi)[3]
    u = np.column_stack([readings.x, readings.y])
    vectors = np.random.default_rng(2).normal(size=(u.shape[1], 3))
    got = c.products(variances, c.value(variances), vectors)
    parts_of_v = dense.parts_of_v(readings, c)
    for a, va in enumerate(parts_of_v):
        first = u.T @ inverse @ va @ inverse @ u @ vectors
        np.testing.assert_allclose(got.first[a], first, rtol=1e-8, atol=1e-9)
        for b, vb in enumerate(parts_of_v):
            left = inverse @ u @ vectors
            second = np.einsum("nk,nm,mk->k", left, va @ inverse @ vb, left)
            np.testing.assert_allclose(got.second[a, b], second, rtol=1e-8, atol=1e-9)


def test_no_visit_effect():
    readings = dense.invented(8)
    c = dense.criterion_of(readings, True, visit=False)
    phi = some_phi(c)
    value = c.value(dense.variances_of(phi, c))
    expected = dense.dense_projection(readings, c, phi)[0]
    assert value.criterion == pytest.approx(expected, abs=1e-9)
