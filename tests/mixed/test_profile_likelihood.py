"""Ends of profile intervals: everything else refitted by a plain search, there it has risen so far.

The 95 % quantile of χ² with one degree of freedom is 3.841 (any table).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from bpvet.maths.estimate import Estimate
from bpvet.mixed.cohort import fit_cohort
from bpvet.mixed.contributions import Variances
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.optimiser import Point, minimise, usual_starts
from bpvet.mixed.profile_likelihood import (
    correlation_interval,
    effect_interval,
    scalar_interval,
)
from tests.mixed import dense_cohort as dense

QUANTILE = 3.841458820694124
#: Effects on the scale of the moments are this times the user's.
SCALE = np.array([[1.0, 0.4], [0.0, 2.0]])
#: SDs of intercept and slope, visits and readings: places in what is searched, then ρ.
INTERCEPT, SLOPE, VISIT, READING, CORRELATION = range(5)


def optimum(seed: int, correlated: bool, slopes: int = 1) -> tuple[Criterion, Point]:
    made = dense.invented(seed, animals=24 * slopes, slopes=slopes)
    if slopes == 2:
        # The second slope differs between animals too.
        own = np.random.default_rng(seed).normal(size=48)[made.animal]
        made = replace(made, y=made.y + 1.2 * own * made.x[:, 2])
    c = dense.criterion_of(made, True)
    point, _ = minimise(c, usual_starts(c, correlated, np.full(c.residuals, 0.4), True))
    return c, point


def of_all(c: Criterion, scale: np.ndarray, sds: np.ndarray, correlation: float) -> float:
    between = np.diag(sds[:2] ** 2)
    between[0, 1] = between[1, 0] = correlation * sds[0] * sds[1]
    factor = np.linalg.cholesky(scale @ between @ scale.T + 1e-14 * np.eye(2))
    return c.value(Variances(factor, 0.0, sds[[VISIT]] ** 2, sds[[READING]] ** 2)).criterion


def lowest(
    c: Criterion, scale: np.ndarray, correlated: bool, held: int | None = None, at: float = 0.0
) -> float:
    """Return the least criterion with one parameter held at a value, from several starts."""
    free = [place for place in range(4 + correlated) if place != held]

    def value(found: np.ndarray) -> float:
        every = np.zeros(5)
        every[free] = found
        sds, rho = np.exp(every[:4]), np.tanh(every[CORRELATION])
        if held is not None and held < CORRELATION:
            sds[held] = at
        return of_all(c, scale, sds, at if held == CORRELATION else rho)

    starts = [np.log([1.5, 0.4, 0.8, 0.6]), np.log([0.8, 0.8, 0.4, 0.8])]
    ends = [
        minimize(value, np.r_[start, 0.0][free], method="BFGS", options={"gtol": 1e-7}).fun
        for start in starts
    ]
    return float(min(ends))


def holds(found: Estimate, c: Criterion, scale: np.ndarray, correlated: bool, held: int) -> None:
    best = lowest(c, scale, correlated)
    edges = (-1.0, 1.0) if held == CORRELATION else (0.0, np.inf)
    for end, edge in zip((found.lower, found.upper), edges, strict=True):
        rise = lowest(c, scale, correlated, held, end if end != edge else 0.999 * end) - best
        if end == edge:
            assert rise <= QUANTILE
        else:
            assert rise == pytest.approx(QUANTILE, abs=1e-3)


@pytest.mark.parametrize("effect", [INTERCEPT, SLOPE])
def test_effects_that_are_not_correlated(effect: int) -> None:
    c, point = optimum(31, False)
    scale = np.diag([1.0, 2.0])
    found = effect_interval(c, point, effect, scale, 0.2, 0.95, False)
    holds(found, c, scale, False, effect)


@pytest.mark.parametrize("effect", [INTERCEPT, SLOPE])
def test_effects_that_are_correlated(effect: int) -> None:
    c, point = optimum(32, True)
    found = effect_interval(c, point, effect, SCALE, 0.2, 0.95, True)
    holds(found, c, SCALE, True, effect)


@pytest.mark.parametrize(("scalar", "held"), [(0, VISIT), (1, READING)])
@pytest.mark.parametrize("correlated", [True, False])
def test_sds_that_stand_alone(scalar: int, held: int, correlated: bool) -> None:
    c, point = optimum(33, correlated)
    holds(scalar_interval(c, point, scalar, 0.1, 0.95), c, np.eye(2), correlated, held)


def test_the_correlation() -> None:
    c, point = optimum(34, True)
    holds(correlation_interval(c, point, (0, 1), SCALE, 0.95), c, SCALE, True, CORRELATION)
    turned = correlation_interval(c, point, (1, 0), SCALE, 0.95)
    holds(turned, c, SCALE, True, CORRELATION)


def test_a_wider_level_is_farther_out() -> None:
    c, point = optimum(33, False)
    narrow = scalar_interval(c, point, 0, 0.1, 0.8)
    wide = scalar_interval(c, point, 0, 0.1, 0.95)
    assert wide.lower < narrow.lower < narrow.upper < wide.upper


def test_of_three_effects_two_are_correlated_the_same_whichever_is_named_first() -> None:
    c, point = optimum(35, True, slopes=2)
    g = point.variances.factor @ point.variances.factor.T
    found = correlation_interval(c, point, (0, 1), np.eye(3), 0.95)
    assert found.lower < g[0, 1] / np.sqrt(g[0, 0] * g[1, 1]) < found.upper
    turned = correlation_interval(c, point, (1, 0), np.eye(3), 0.95)
    assert turned.known == pytest.approx(found.known, abs=1e-4)


def test_a_correlation_beside_an_effect_without_variance_of_its_own() -> None:
    """The third effect is all but a mixture of the others; by lme4 1.1-31 (ML) too."""
    made = dense.invented(1, animals=48, slopes=2)
    c = dense.criterion_of(made, False)
    point, outcome = minimise(c, usual_starts(c, True, np.full(c.residuals, 0.4), True))
    assert outcome.boundary
    assert point.value.criterion == pytest.approx(1234.22363072, abs=1e-6)
    found = correlation_interval(c, point, (0, 1), np.eye(3), 0.95)
    assert found.value == pytest.approx(-0.0613, abs=1e-3)
    # Its own ends lie on a spline through the profile.
    assert found.known[1:] == pytest.approx((-0.5090969, 0.4007808), abs=1e-3)
    # Of an effect so small every correlation fits nearly as well.
    assert correlation_interval(c, point, (0, 2), np.eye(3), 0.95).known[1:] == (-1.0, 1.0)


def test_an_end_on_the_flat_tail_where_the_correlation_is_at_its_edge() -> None:
    """By lme4 1.1-31 (reference_checks/mixed/scripts/flat_profile.R, on these rows)."""
    rng = np.random.default_rng(58)
    animal = np.repeat(np.arange(300), rng.integers(3, 9, 300))
    months = rng.uniform(0, 10, len(animal)).round(2)
    level = rng.normal(size=300)
    slope = 0.16 * (0.75 * level + 0.66 * rng.normal(size=300))
    scatter = rng.normal(0, 4, len(animal))
    y = (150 + 18 * level[animal] + slope[animal] * months + scatter).round(2)
    rows = pd.DataFrame({"animal": animal.astype(str), "months": months, "y": y})
    fit = fit_cohort(rows, "y ~ months", slope="months", session=None, reml=False)
    wide = fit.profile(0.95, ["animal: months"]).iloc[0]
    assert wide["lower"] == pytest.approx(0.0015876953, abs=2e-8)
    assert wide["upper"] == pytest.approx(0.3171206, abs=2e-6)
    # At 0 the criterion is 3.9962744 higher (lme4): by χ² at 95.44 %.
    assert fit.profile(0.955, ["animal: months"])["lower"].item() == 0.0
    assert fit.profile(0.954, ["animal: months"])["lower"].item() > 0.0


def test_what_does_not_vary_has_no_correlation() -> None:
    c, point = optimum(34, True)
    factor = point.variances.factor.copy()
    factor[1] = 0.0
    still = point._replace(variances=replace(point.variances, factor=factor))
    for pair in ((0, 1), (1, 0)):
        found = correlation_interval(c, still, pair, np.eye(2), 0.95)
        assert (found.value, found.lower, found.upper) == (None, -1.0, 1.0)


def test_a_refit_that_begins_at_a_saddle_settles() -> None:
    made = dense.invented(3, animals=24, slopes=2)
    c = dense.criterion_of(made, True)
    point, _ = minimise(c, usual_starts(c, True, np.full(c.residuals, 0.4), True))
    scale = np.array([[1.0, 0.4, 0.2], [0.0, 2.0, 0.3], [0.0, 0.0, 0.5]])
    found = correlation_interval(c, point, (0, 1), scale, 0.95)
    turned = correlation_interval(c, point, (1, 0), scale, 0.95)
    value, lower, upper = found.known
    assert -1.0 <= lower < value < upper < 1.0
    assert turned.known == pytest.approx(found.known, abs=1e-3)
