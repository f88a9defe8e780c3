"""Profile likelihood intervals: where the criterion, everything else refitted, has risen enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache, partial

import numpy as np
from scipy.optimize import brentq

from bpvet.errors import FitError
from bpvet.frozen import dataclass, field, replace
from bpvet.maths.estimate import Estimate
from bpvet.maths.special import chdtri
from bpvet.mixed.criterion import Criterion
from bpvet.mixed.optimiser import Point, minimise
from bpvet.mixed.parametrisation import (
    Parametrisation,
    block_parametrisation,
    with_held,
    without_smallest,
)
from bpvet.mixed.stacks import Array

Rise = Callable[[float], float]
Start = tuple[Parametrisation, Array]


# Beyond this share of the way between two refits the line through them is no guide.
_FARTHEST_AHEAD = 1.5
# Where more than this share of the others follows from an effect, a search begins without the
# rest: whether that helps is asked at its end, and from a little of it no step leads on.
_AT_EDGE = 0.999


@dataclass(frozen=True, eq=False)
class _Refits:
    """Refits of everything else with one parameter held, at one value after another.

    Parameters
    ----------
    criterion : Criterion
    optimum : Point
        Of all parameters.
    estimate : float
        The parameter's value there.
    ends : dict
        Where refits ended, by the value held: the next one begins on the line through the two
        nearest, from which few steps are left.
    points : dict
        The points themselves, also of those that ended on a smaller chart.
    """

    criterion: Criterion
    optimum: Point
    estimate: float
    ends: dict[float, Array] = field(default_factory=dict)
    points: dict[float, Point] = field(default_factory=dict)

    def rise(
        self,
        value: float,
        starts: Sequence[Start],
        criterion: Criterion | None = None,
    ) -> float:
        """Return how much the criterion is above the optimum's with a parameter held at a value.

        Parameters
        ----------
        value : float
        starts : sequence of (Parametrisation, (f,) float)
            Charts with the parameter held there, and where a search on them begins when no other
            refit is a better guide; the first is where the others are at the optimum.
        criterion : Criterion, optional
            Where the value held is one of the fixed effects: the criterion that holds it.
        """
        criterion = criterion or self.criterion
        parametrisation, psi = starts[0]
        if not len(psi):
            criterion_there = criterion.value(parametrisation.variances(psi)).criterion
            return criterion_there - self.optimum.value.criterion
        self.ends.setdefault(self.estimate, psi)
        guesses = [(parametrisation, guess) for guess in self._guesses(value, len(psi))]
        best = min([*starts, *guesses], key=partial(_value_or_inf, criterion))
        found, outcome = minimise(criterion, [best])
        self.points[value] = found
        if len(found.psi) == len(psi):
            self.ends[value] = found.psi
        return outcome.criterion - self.optimum.value.criterion

    def nearest(self, value: float) -> Point:
        """Return the nearest refit to a value, or the optimum; one at 0 has no covariances."""
        known = {self.estimate: self.optimum} | {at: p for at, p in self.points.items() if at}
        return known[min(known, key=lambda at: abs(at - value))]

    def _guesses(self, value: float, size: int) -> list[Array]:
        """Return what nearby refits say of one at a value; none where there are no two of them."""
        known = [at for at, psi in self.ends.items() if len(psi) == size]
        nearest = sorted(known, key=lambda at: abs(at - value))[:2]
        if len(nearest) < 2:
            return []
        near, far = nearest
        ahead = float(np.clip((value - near) / (far - near), -_FARTHEST_AHEAD, 1.0))
        return [self.ends[near] + ahead * (self.ends[far] - self.ends[near])]


def _value_or_inf(criterion: Criterion, start: Start) -> float:
    """Return the criterion at a start; ∞ where it cannot be had there."""
    parametrisation, psi = start
    try:
        return criterion.value(parametrisation.variances(psi)).criterion
    except FitError:
        return float("inf")


def scalar_interval(
    criterion: Criterion, point: Point, scalar: int, spread: float, level: float
) -> Estimate:
    """Return the interval of one SD that stands alone (group, visit or reading)."""
    sds = point.parametrisation.sds
    free = np.isnan(sds)
    at = len(point.parametrisation.log) + int(free[:scalar].sum())
    estimate = float(np.exp(point.psi[at])) if free[scalar] else 0.0
    rest = np.delete(point.psi, at) if free[scalar] else point.psi

    refits = _Refits(criterion, point, estimate)

    def rise(sd: float) -> float:
        return refits.rise(sd, [(with_held(point.parametrisation, scalar, sd), rest)])

    residual = scalar >= len(sds) - criterion.residuals
    return _sd_interval(rise, estimate, spread, level, residual)


def effect_interval(
    criterion: Criterion,
    point: Point,
    effect: int,
    scale: Array,
    spread: float,
    level: float,
    correlated: bool,
) -> Estimate:
    """Return the interval of the SD of one of an animal's effects, on the user's scale.

    Parameters
    ----------
    criterion : Criterion
    point : Point
    effect : int
        0 is the intercept.
    scale : (q, q) float
        F, with effects on the scale of the moments b* = F b.
    spread : float
        Standard error of the SD, a first step.
    level : float
    correlated : bool
    """
    estimate = float(np.sqrt(max(_user_covariance(point, scale)[effect, effect], 0.0)))
    refits = _Refits(criterion, point, estimate)
    rise = partial(_sd_rise, refits, effect, scale, correlated)
    return _sd_interval(rise, estimate, spread, level, False)


def _user_covariance(point: Point, scale: Array) -> Array:
    back = np.linalg.inv(scale) @ point.variances.factor
    return back @ back.T


def _sd_rise(refits: _Refits, effect: int, scale: Array, correlated: bool, sd: float) -> float:
    q, point = len(scale), refits.optimum
    order = [effect, *(i for i in range(q) if i != effect)]
    columns = scale[:, order]
    fixed = np.outer(columns[:, 0], np.eye(q)[0]) * sd
    turned = _user_covariance(point, scale)[np.ix_(order, order)]
    if not correlated:
        return refits.rise(sd, [_held_alone(fixed, columns, np.sqrt(np.diag(turned)), point)])
    nearest = _user_covariance(refits.nearest(sd), scale)[np.ix_(order, order)]
    starts = []
    # The records tell the covariances, more than the correlations, of an SD that is made smaller.
    for covariance, unit in ((turned, turned[0, 0] ** 0.5), (nearest, sd)):
        slope = covariance[1:, 0] / unit if unit > 0 else np.zeros(q - 1)
        share = float(slope @ np.linalg.pinv(covariance[1:, 1:]) @ slope)
        slope = slope / max(1.0, share**0.5)
        left = covariance[1:, 1:] - np.outer(slope, slope)
        parametrisation, psi = _block(fixed, columns[:, 1:], 1, left, point)
        if sd > 0 and q > 1:
            covarying = np.stack([np.outer(c, np.eye(q)[0]) for c in columns[:, 1:].T])
            parametrisation = replace(
                parametrisation,
                patterns=np.concatenate([covarying, parametrisation.patterns]),
                log=np.concatenate([np.zeros(q - 1, bool), parametrisation.log]),
            )
            psi = np.concatenate([slope, psi])
        start = parametrisation, np.concatenate([psi, _free_sds(point)])
        starts.append(without_smallest(*start) if sd > 0 and share > _AT_EDGE else start)
    return refits.rise(sd, starts)


def _held_alone(
    fixed: Array, columns: Array, sds: Array, point: Point
) -> tuple[Parametrisation, Array]:
    """Return the chart of uncorrelated effects with the first held."""
    q = len(fixed)
    size = np.linalg.norm(columns[:, 1:], axis=0)
    units = (columns[:, 1:] / size).T
    patterns = np.stack([np.outer(u, u) for u in units]) if q > 1 else np.zeros((0, q, q))
    parametrisation = replace(
        point.parametrisation,
        fixed=fixed @ np.outer(np.eye(q)[0], columns[:, 0] / np.linalg.norm(columns[:, 0])),
        patterns=patterns,
        log=np.ones(q - 1, bool),
        candidates=units,
    )
    start = np.log(np.maximum(sds[1:] * size, 1e-3))
    return parametrisation, np.concatenate([start, _free_sds(point)])


def _free_sds(point: Point) -> Array:
    return point.psi[len(point.parametrisation.log) :]


def _block(
    fixed: Array, columns: Array, column: int, covariance: Array, point: Point
) -> tuple[Parametrisation, Array]:
    """Return a block chart and its ψ at a covariance of the user's effects, made regular.

    `columns` carry those effects to the scale of the moments; the block works at unit length.
    """
    old = point.parametrisation
    size = np.linalg.norm(columns, axis=0)
    parametrisation = block_parametrisation(
        fixed, columns / size, column, old.sds, old.grouped, old.visits
    )
    scaled = covariance * np.outer(size, size)
    lower = np.linalg.cholesky(scaled + 1e-6 * np.eye(len(size))) if len(size) else scaled
    values = lower[np.tril_indices(len(size))]
    return parametrisation, np.where(
        parametrisation.log, np.log(np.where(parametrisation.log, values, 1.0)), values
    )


def correlation_interval(
    criterion: Criterion, point: Point, pair: tuple[int, int], scale: Array, level: float
) -> Estimate:
    """Return the correlation of two of an animal's effects with its interval.

    Where one of them does not vary there is none, and its interval is all of −1 to 1.
    """
    g = _user_covariance(point, scale)
    i, j = pair
    if not g[i, i] * g[j, j] > 0:
        # The likelihood is the same at every correlation: the readings cannot tell it.
        return Estimate(None, -1.0, 1.0, level=level)
    middle = float(np.clip(g[i, j] / np.sqrt(g[i, i] * g[j, j]), -1.0, 1.0))
    estimate, edge = float(np.arcsin(middle)), np.pi / 2
    rise = cache(partial(_correlation_rise, _Refits(criterion, point, estimate), pair, scale, g))
    target = float(chdtri(1, 1.0 - level))
    lower = -edge if rise(-edge) <= target else _end(rise, estimate, -edge, target)
    upper = edge if rise(edge) <= target else _end(rise, estimate, edge, target)
    return Estimate(middle, float(np.sin(lower)), float(np.sin(upper)), level=level)


def _correlation_rise(
    refits: _Refits,
    pair: tuple[int, int],
    scale: Array,
    g: Array,
    angle: float,
) -> float:
    q, point = len(g), refits.optimum
    order = [*pair, *(i for i in range(q) if i not in pair)]
    turned, columns = g[np.ix_(order, order)], scale[:, order]
    unit = np.eye(q)
    direction = np.sin(angle) * unit[0] + np.cos(angle) * unit[1]
    patterns = [np.outer(columns[:, 0], unit[0]), np.outer(columns[:, 1], direction)]
    log, values = [True, True], [*np.log(np.sqrt(np.diag(turned)[:2]))]
    lower = np.linalg.cholesky(turned + 1e-9 * np.diag(np.diag(turned)))
    for row in range(2, q):
        patterns += [np.outer(columns[:, row], unit[0]), np.outer(columns[:, row], unit[1])]
        log += [False, False]
        values += [lower[row, 0], lower[row, 1]]
    left = lower[2:, 2:] @ lower[2:, 2:].T
    parametrisation, inner = _block(np.zeros((q, q)), columns[:, 2:], 2, left, point)
    parametrisation = replace(
        parametrisation,
        patterns=np.concatenate([np.array(patterns), parametrisation.patterns]),
        log=np.concatenate([np.array(log), parametrisation.log]),
    )
    start = np.concatenate([values, inner, _free_sds(point)])
    return refits.rise(angle, [(parametrisation, start)])


def coefficient_interval(
    criterion: Criterion,
    point: Point,
    contrast: Array,
    spread: float,
    level: float,
) -> Estimate:
    """Return the interval of one combination of the fixed effects, by maximum likelihood.

    Parameters
    ----------
    criterion : Criterion
        By ML.
    point : Point
        Its optimum.
    contrast : (p,) float
    spread : float
        Standard error of the combination, a first step.
    level : float
    """
    basis = criterion.basis
    length = float(contrast @ contrast)
    along = basis @ contrast / length
    others = basis @ np.linalg.svd(contrast[None], full_matrices=True)[2][1:].T
    estimate = float(contrast @ point.value.coefficients)

    refits = _Refits(criterion, point, estimate)

    @cache
    def rise(value: float) -> float:
        at_value = replace(criterion, basis=others, offset=criterion.offset - along * value)
        return refits.rise(value, [(point.parametrisation, point.psi)], at_value)

    target = float(chdtri(1, 1.0 - level))
    lower, upper = (_outward(rise, estimate, step, target) for step in (-spread, spread))
    return Estimate(estimate, lower, upper, level=level)


def _sd_interval(
    rise: Rise, estimate: float, spread: float, level: float, positive: bool
) -> Estimate:
    target, rise = float(chdtri(1, 1.0 - level)), cache(rise)
    first = spread if np.isfinite(spread) and spread > 0 else max(estimate, 1e-3)
    upper = _outward(rise, estimate, first, target)
    # No residual SD is 0, and at 0 one that is many standard errors away only costs a long search.
    away = positive or first < 0.1 * estimate
    if estimate == 0.0 or (not away and rise(0.0) <= target):
        return Estimate(estimate, 0.0, upper, level=level)
    far = max(estimate - 2.5 * first, 0.7 * estimate if away else 0.0)
    while rise(far) <= target:
        # The criterion at 0 itself is above the target: the end lies between, however flat.
        far = 0.7 * far if away else 0.0
        if away and far < 1e-9 * estimate:
            raise FitError("A profile did not rise towards zero: the interval has no end.")
    return Estimate(estimate, _end(rise, estimate, far, target), upper, level=level)


def _outward(rise: Rise, estimate: float, step: float, target: float) -> float:
    """Return the end of an open-sided interval, the bracket widened until it holds the end."""
    for _ in range(60):
        if rise(estimate + 2.5 * step) > target:
            return _end(rise, estimate, estimate + 2.5 * step, target)
        step *= 1.6
    raise FitError("A profile did not rise: the interval has no end.")


def _end(rise: Rise, estimate: float, far: float, target: float) -> float:
    """Return where √rise reaches √target between the estimate and a point beyond the end."""

    def excess(at: float) -> float:
        risen = 0.0 if at == estimate else max(rise(at), 0.0)
        return float(np.sqrt(risen) - np.sqrt(target))

    tolerance = 1e-7 * abs(far - estimate)
    return float(brentq(excess, estimate, far, xtol=tolerance, rtol=1e-10))
