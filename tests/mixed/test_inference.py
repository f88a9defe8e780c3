"""Degrees of freedom, Kenward–Roger and predictions against dense matrices over all readings."""

from __future__ import annotations

import numpy as np
import pytest

from bpvet.mixed.inference import (
    kenward_roger,
    likelihood_ratio,
    satterthwaite,
    t_probability,
    t_quantile,
)
from bpvet.mixed.optimiser import minimise, usual_starts
from bpvet.mixed.random_effects import animal_effects, group_effects
from tests.mixed import dense_cohort as dense


def optimum(seed, **shape):
    readings = dense.invented(seed, **shape)
    c = dense.criterion_of(readings, True)
    point, outcome = minimise(c, usual_starts(c, True, np.full(c.residuals, 0.4), True))
    assert not outcome.boundary
    return readings, c, point, c.natural(point.variances)


@pytest.fixture(
    params=[
        (21, {"animals": 14, "slopes": 1}),
        (22, {"animals": 14, "slopes": 1, "classes": 2, "within": True}),
        (24, {"animals": 24, "slopes": 0, "groups": 5}),
    ],
    ids=["slope", "classes", "groups"],
)
def fitted(request):
    seed, shape = request.param
    return optimum(seed, **shape)


def dense_covariance(readings, c, phi):
    return dense.dense_projection(readings, c, phi)[2]


def test_satterthwaite_by_differences(fitted):
    readings, c, point, phi = fitted
    rule = satterthwaite(c, point)
    steps = 1e-4 * np.maximum(np.abs(phi), 0.05)

    def value(at):
        return dense.dense_projection(readings, c, at)[0]

    n = len(phi)
    hessian = np.zeros((n, n))
    for i in range(n):
        for j in range(i + 1):
            a, b = np.eye(n)[i] * steps[i], np.eye(n)[j] * steps[j]
            change = value(phi + a + b) - value(phi + a - b)
            change += value(phi - a - b) - value(phi - a + b)
            hessian[i, j] = hessian[j, i] = change / (4 * steps[i] * steps[j])
    parameters = 2 * np.linalg.inv(hessian)
    for contrast in (np.eye(readings.x.shape[1])[0], np.ones(readings.x.shape[1])):
        variance = contrast @ dense_covariance(readings, c, phi) @ contrast
        slope = np.array(
            [
                contrast
                @ (dense_covariance(readings, c, phi + e) - dense_covariance(readings, c, phi - e))
                @ contrast
                for e in np.diag(steps)
            ]
        ) / (2 * steps)
        expected = 2 * variance**2 / (slope @ parameters @ slope)
        assert rule.degrees(contrast) == pytest.approx(expected, rel=2e-4)


def test_kenward_roger_from_dense_pieces(fitted):
    readings, c, point, phi = fitted
    rule = kenward_roger(c, point, np.ones(len(phi), bool))
    _, _, cov, inverse, p = dense.dense_projection(readings, c, phi)
    parts = dense.parts_of_v(readings, c)
    x = readings.x
    expected = np.array([[np.trace(p @ a @ p @ b) for b in parts] for a in parts])
    w = 2 * np.linalg.inv(expected)
    first = np.array([x.T @ inverse @ a @ inverse @ x for a in parts])
    bend = sum(
        w[i, j] * (x.T @ inverse @ a @ inverse @ b @ inverse @ x - first[i] @ cov @ first[j])
        for i, a in enumerate(parts)
        for j, b in enumerate(parts)
    )
    np.testing.assert_allclose(rule.adjusted, cov + 2 * cov @ bend @ cov, rtol=1e-6, atol=1e-9)
    contrast = np.eye(x.shape[1])[1]
    slope = np.array([contrast @ cov @ f @ cov @ contrast for f in first])
    plain = 2 * (contrast @ cov @ contrast) ** 2 / (slope @ w @ slope)
    assert rule.degrees(contrast) == pytest.approx(plain, rel=1e-6)


def test_predictions_condition_on_every_reading(fitted):
    readings, c, point, phi = fitted
    g = dense.parts_of_v(readings, c)
    v = sum(f * part for f, part in zip(phi, g, strict=True))
    beta = dense.dense_projection(readings, c, phi)[1]
    left = np.linalg.solve(v, readings.y - readings.x @ beta)
    variances = point.variances
    groups = group_effects(point.value, variances, 0)
    effects = animal_effects(c.parts[0], point.value, variances, groups)
    covariance = variances.factor @ variances.factor.T
    z = readings.x[:, list(readings.z)]
    for i in range(readings.animal.max() + 1):
        zi = np.where((readings.animal == i)[:, None], z, 0.0)
        np.testing.assert_allclose(effects.mean[i], covariance @ zi.T @ left, atol=1e-8)
        expected = covariance - covariance @ zi.T @ np.linalg.solve(v, zi @ covariance)
        np.testing.assert_allclose(effects.covariance[i], expected, atol=1e-8)
    if readings.grouped:
        for k in range(readings.group.max() + 1):
            mine = (readings.group[readings.animal] == k).astype(float)
            assert groups.mean[k] == pytest.approx(variances.group * mine @ left, abs=1e-8)
            spread = variances.group - variances.group**2 * mine @ np.linalg.solve(v, mine)
            assert groups.variance[k] == pytest.approx(spread, abs=1e-8)


def test_f_of_one_contrast_is_t_squared(fitted):
    _, c, point, phi = fitted
    beta = point.value.coefficients
    contrast = np.eye(len(beta))[1]
    for rule in (satterthwaite(c, point), kenward_roger(c, point, np.ones(len(phi), bool))):
        test = rule.test(contrast[None], beta)
        cov = getattr(rule, "adjusted", rule.covariance)
        t = beta[1] / np.sqrt(cov[1, 1])
        degrees = rule.degrees(contrast)
        assert test.f == pytest.approx(t**2, rel=1e-8)
        assert test.p == pytest.approx(t_probability(np.array([t]), np.array([degrees]))[0])


def test_quantiles_and_chi_square():
    # Student's t with 10 degrees of freedom, 97.5 %: 2.228; the normal: 1.960 (any table).
    got = t_quantile(np.array([10.0, np.inf]), 0.95)
    np.testing.assert_allclose(got, [2.2281, 1.96], atol=1e-4)
    assert likelihood_ratio(10.0, 10.0 + 1e-9, 1) == (0.0, 1.0)
