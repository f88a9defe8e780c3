"""People who measure many animals, animals measured by many people: crossed random effects.

    y = X β + animal + operator + session      session variance: sv² + what is known of each

REML by its analytic slopes and average information, animals swept out one by one: an evaluation
costs operators³ and a few passes over the sessions.
"""

from __future__ import annotations

from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_solve
from scipy.optimize import brentq
from scipy.sparse import csr_array
from scipy.special import gammainc, gammaincc, lambertw, ndtri

from bpvet.errors import FitError
from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import estimated
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

#: Logs of variances stay between these, on values scaled to a variance of one.
_BOUNDS = (-20.0, 6.0)
_ZERO = 1e-6
PROFILE = "approximate (profile likelihood)"
#: The ends of a profile's interval are found to this, in the log of a variance: 0.1 % of the SD.
_CLOSE = 2e-3
#: The longest step of a search in the log of a variance, and how many there are.
_LONGEST, _MOST_STEPS = 2.0, 200


@dataclass(frozen=True, eq=False)
class Crossed:
    """A fit.

    Parameters
    ----------
    effect, variance : (q,) float
        Each operator's effect, drawn towards zero, and its error variance.
    animal_sd, operator_sd, session_sd : float
        SDs of the terms, in the unit; 0 at the boundary.
    p : float
        One-sided p of operators differing at all: half the chi-square tail of the likelihood
        ratio (Self & Liang 1987).
    log_likelihood : float
        Restricted log-likelihood, with the columns of X as given.
    between : Estimate
        `operator_sd` with its interval: the values that the restricted likelihood, profiled over
        the other two, does not refuse (`variance_ratio`). From 0 where no difference at all is
        not refused.
    """

    effect: Array
    variance: Array
    animal_sd: float
    operator_sd: float
    session_sd: float
    p: float
    log_likelihood: float
    between: Estimate


class _Data:
    """Sessions, and by which animal and operator they belong together: worked out once.

    Parameters
    ----------
    y, known : (n,) float
    x : (n, p) float
    animal, operator : (n,) int
    """

    def __init__(self, y: Array, known: Array, x: Array, animal: Codes, operator: Codes) -> None:
        self.y, self.known, self.x = y, known, x
        self.animal, self.operator = animal, operator
        self.animals, self.operators = int(animal.max()) + 1, int(operator.max()) + 1
        n = y.size
        each, rows = np.ones(n), np.arange(n)
        self.by_animal: Any = csr_array((each, (animal, rows)), shape=(self.animals, n))
        self.by_operator: Any = csr_array((each, (operator, rows)), shape=(self.operators, n))
        # A session is of one animal and one operator: what they share is sparse.
        key, self.pair = np.unique(animal * self.operators + operator, return_inverse=True)
        self.pair_animal, self.pair_operator = np.divmod(key, self.operators)
        self._start = np.searchsorted(key, np.arange(self.animals + 1) * self.operators)

    def shared(self, values: Array) -> csr_array:
        """Return Σ values (n,) over what an animal and an operator share, (animals, operators)."""
        summed = np.bincount(self.pair, values, minlength=self.pair_animal.size)
        return csr_array(
            (summed, self.pair_operator, self._start), shape=(self.animals, self.operators)
        )


def crossed(
    y: ArrayLike,
    known: ArrayLike,
    x: ArrayLike,
    animal: ArrayLike,
    operator: ArrayLike,
    level: float = 0.95,
) -> Crossed:
    """Fit the effects of operators.

    Parameters
    ----------
    y : (n,) float
        Session means.
    known : (n,) float
        Known part of each one's variance (reading variance over count).
    x : (n, p) float
        Fixed columns, of full rank.
    animal, operator : (n,) int
        Codes from 0 without gaps.
    level : float
        Probability of the interval.

    Raises
    ------
    FitError
        When there are too few sessions, or the optimiser fails.
    """
    values = np.asarray(y, dtype=float)
    columns = np.asarray(x, dtype=float)
    if values.size < columns.shape[1] + 3:
        raise FitError("Operators' effects need more sessions.")
    scale = float(values.std()) or 1.0
    data = _Data(
        (values - values.mean()) / scale,
        np.asarray(known, dtype=float) / scale**2,
        columns,
        np.asarray(animal, dtype=np.int64),
        np.asarray(operator, dtype=np.int64),
    )
    full, alone = _fitted(data, True), _fitted(data, False)
    best = min(full, alone, key=lambda point: point.value)
    ratio = 2 * (alone.value - best.value)
    variance, p = np.exp(best.logs), columns.shape[1]
    system = _system(data, variance)
    effect = _effects(system, *_sums(data, system.weight * data.y))[0][p:]
    error = np.diag(system.inverse)[p:]
    sds = np.where(variance < _ZERO, 0.0, np.sqrt(variance)) * scale
    ends = _profiled(data, best, alone.value, level)
    return Crossed(
        effect=effect * scale if sds[1] > 0 else 0 * effect,
        variance=error * scale**2 if sds[1] > 0 else 0 * effect,
        animal_sd=float(sds[0]),
        operator_sd=float(sds[1]),
        session_sd=float(sds[2]),
        p=float(gammaincc(0.5, ratio / 2)) / 2,
        log_likelihood=-best.value - (values.size - p) * float(np.log(scale)),
        between=_between(float(sds[1]), ends, scale),
    )


def _between(sd: float, ends: tuple[float, float | None], scale: float) -> Estimate:
    if ends[1] is None:
        return estimated(sd, reason=reason("crossed.no_upper_end"))
    return estimated(sd, ends[0] * scale, ends[1] * scale, PROFILE)


def _profiled(
    data: _Data, best: _Point, without: float, level: float
) -> tuple[float, float | None]:
    """Return the ends of the operators' SD, scaled; the upper one None where there is none.

    `without` is minus the log-likelihood without operators.
    """
    allowed = variance_ratio(data.operators - 1, level) / 2
    at = best

    @cache
    def over(log: float) -> float:
        nonlocal at
        # The other variances hardly move from one value to the next: the search begins there.
        at = _descended(data, np.array([at.logs[0], log, at.logs[2]]), [0, 2], _CLOSE**3)
        return at.value - best.value - allowed

    top, (lowest, highest) = float(best.logs[1]), _BOUNDS
    lower, upper = 0.0, None
    if over(top) >= 0:  # A likelihood without a top: nothing can be said.
        return lower, upper
    if without - best.value > allowed and over(lowest) > 0:
        lower = float(np.exp(brentq(over, lowest, top, xtol=_CLOSE) / 2))
    if over(highest) > 0:
        upper = float(np.exp(brentq(over, top, highest, xtol=_CLOSE) / 2))
    return lower, upper


def variance_ratio(df: int, level: float) -> float:
    """Return how far twice the log-likelihood of a variance may fall within its interval.

    The likelihood ratio of a chi-square variance of `df` is t − df − df·log(t/df) with t a
    chi-square: at few operators it exceeds the usual chi-square of one by far. This is its exact
    quantile, which comes down to the usual one as `df` grows.

    Parameters
    ----------
    df : int
        Operators less one; 1 or more.
    level : float
        Probability of the interval.
    """

    def over(fall: float) -> float:
        # Both t of one fall are branches of Lambert's function.
        at = -np.exp(-1 - fall / df)
        low, high = (-df * float(lambertw(at, branch).real) for branch in (0, -1))
        return float(gammainc(df / 2, high / 2) - gammainc(df / 2, low / 2)) - level

    usual = float(ndtri((1 + level) / 2)) ** 2
    return float(brentq(over, usual / 2, 4 * usual))


def _fitted(data: _Data, operators: bool) -> _Point:
    """Return the best variances of animal, (operator) and session, from two starts."""
    free = [0, 1, 2] if operators else [0, 2]
    starts = np.array([[-0.7, -3.0, -1.5], [-2.0, -1.5, -0.5]])
    if not operators:
        starts[:, 1] = _BOUNDS[0]
    return min((_descended(data, start, free) for start in starts), key=lambda point: point.value)


class _Point(NamedTuple):
    """Log variances (3,), minus the restricted log-likelihood there, its slopes and curvature."""

    logs: Array
    value: float
    slopes: Array
    information: Array


def _point(data: _Data, logs: Array) -> _Point:
    return _Point(logs, *_criterion(data, np.exp(logs)))


def _descended(data: _Data, logs: Array, free: list[int], enough: float = 1e-16) -> _Point:
    """Return the lowest point over the free log variances: damped steps of average information.

    Gilmour, Thompson & Cullis (1995), as the cohort's engine goes (`bpvet.mixed.optimiser`),
    until a step promises less than `enough` of the likelihood.
    """
    point, damping = _point(data, logs), 0.0
    for _ in range(_MOST_STEPS):
        # What lies on a bound and falls beyond it stays there.
        on_bound = np.where(point.slopes > 0, point.logs <= _BOUNDS[0], point.logs >= _BOUNDS[1])
        moving = [term for term in free if not on_bound[term]]
        slopes, curve = point.slopes[moving], point.information[np.ix_(moving, moving)]
        scale = np.sqrt(np.maximum(np.diag(curve), 1e-100))
        sizes, vectors = np.linalg.eigh(curve / np.outer(scale, scale))
        along = vectors.T @ (slopes / scale)
        heights = np.maximum(sizes, 1e-10) + damping
        promise = float((along**2 / heights).sum()) / 2
        if promise < enough:
            return point
        # Each by itself: one that has far to go, near zero, must not hold up the others.
        step = np.clip(-(vectors @ (along / heights)) / scale, -_LONGEST, _LONGEST)
        changed = point.logs.copy()
        changed[moving] = np.clip(changed[moving] + step, *_BOUNDS)
        moved = _point(data, changed)
        # What the rounding of the likelihood hides is nothing to be gained.
        slack = 1e-14 * abs(point.value)
        if moved.value <= point.value + slack:
            point, damping = moved, damping / 10 if damping > 1e-6 else 0.0
        elif promise < slack:
            return point
        else:
            damping = max(1e-3, 10 * damping)
    raise FitError("The effects of operators could not be fitted.", point)


def _criterion(data: _Data, variance: Array) -> tuple[float, Array, Array]:
    """Return minus the restricted log-likelihood, its slopes and average information.

    Both are by each log variance. With C the mixed model's equations, u a term's effects and P of
    the restricted likelihood, half the slope is q − tr(C⁻¹ of the term)/σ² − uᵀu/σ² for animals
    and operators, and σ²·(tr P − |P y|²) for sessions; all follow from the system with the animals
    swept out. The information is half of FᵀP F, the columns of F being V's derivatives times P y.
    """
    system = _system(data, variance)
    p, inverse, weight, pivot = data.x.shape[1], system.inverse, system.weight, system.pivot
    effects, animal_effect = _effects(system, *_sums(data, weight * data.y))
    left = data.y - data.x @ effects[:p] - effects[p:][data.operator] - animal_effect[data.animal]
    moved, operator_effect = weight * left, effects[p:]
    value = system.logs + float(data.y @ moved) + (data.y.size - p) * float(np.log(2 * np.pi))
    # What X and operators share with an animal, times C⁻¹: (animals, p + q), and again by it.
    carried = system.of_animal @ inverse[:p] + system.shared @ inverse[p:]
    pairs = carried[data.pair_animal, p + data.pair_operator]
    square = np.bincount(data.pair_animal, system.shared.data * pairs, minlength=data.animals)
    traces = (square + np.sum(system.of_animal * carried[:, :p], axis=1)) / pivot**2 + 1 / pivot
    terms = (
        (data.animals, float(traces.sum()), animal_effect, variance[0]),
        (data.operators, float(np.trace(inverse[p:, p:])), operator_effect, variance[1]),
    )
    slopes = [size - (trace + effect @ effect) / var for size, trace, effect, var in terms]
    # Σ w² over the sessions' places in C⁻¹: what is lost of tr R⁻¹ in tr P.
    squared = weight**2
    x, by_animal, by_operator = _sums(data, squared[:, None] * data.x)
    lost = float((data.by_animal @ squared) @ traces + np.vdot(x, inverse[:p, :p]))
    lost += float((data.by_operator @ squared) @ np.diag(inverse)[p:])
    lost += 2 * float(np.vdot(by_operator, inverse[p:, :p]))
    crossing = np.bincount(data.pair_animal, np.bincount(data.pair, squared) * pairs)
    lost -= 2 * float((crossing + np.sum(by_animal * carried[:, :p], axis=1)) @ (1 / pivot))
    slopes.append(variance[2] * (float(weight.sum()) - lost - float(moved @ moved)))
    derived = np.column_stack(
        (animal_effect[data.animal], operator_effect[data.operator], variance[2] * moved)
    )
    weighed = weight[:, None] * derived
    x, by_animal, by_operator = _sums(data, weighed)
    effects, of_animals = _effects(system, x, by_animal, by_operator)
    curve = derived.T @ weighed - np.concatenate((x, by_operator)).T @ effects
    return value / 2, np.array(slopes) / 2, (curve - by_animal.T @ of_animals) / 2


def _sums(data: _Data, weighed: Array) -> tuple[Array, Array, Array]:
    """Return the sums of what is weighed by columns of X, animals and operators."""
    return data.x.T @ weighed, data.by_animal @ weighed, data.by_operator @ weighed


def _effects(
    system: _System, x: Array, by_animal: Array, by_operator: Array
) -> tuple[Array, Array]:
    """Return effects of X and operators (p + q), and of animals, of what has these sums."""
    swept = (by_animal.T / system.pivot).T
    right = np.concatenate((x - system.of_animal.T @ swept, by_operator - system.shared.T @ swept))
    effects = cho_solve((system.factor, True), right)
    p = len(x)
    shared = system.of_animal @ effects[:p] + system.shared @ effects[p:]
    return effects, ((by_animal - shared).T / system.pivot).T


@dataclass(frozen=True, eq=False)
class _System:
    """The mixed model's equations with animals swept out.

    Parameters
    ----------
    factor, inverse : (p + q, p + q) float
        Lower Cholesky factor and inverse of the left side: X, then operators.
    logs : float
        The logarithms of the determinants of V and XᵀV⁻¹X.
    weight : (n,) float
        1/variance of each session.
    pivot : (animals,) float
        What each animal's own equation holds.
    of_animal : (animals, p) float
        Weighted sums of X.
    shared : (animals, q) sparse
        Weights that animals and operators share.
    """

    factor: Array
    inverse: Array
    logs: float
    weight: Array
    pivot: Array
    of_animal: Array
    shared: csr_array


def _system(data: _Data, variance: Array) -> _System:
    """Return the equations at variances of animals, operators and sessions."""
    animal_var, operator_var, session_var = variance
    weight = 1 / (data.known + session_var)
    p, q = data.x.shape[1], data.operators
    shared = data.shared(weight)
    pivot = data.by_animal @ weight + 1 / animal_var
    weighed = weight[:, None] * data.x
    of_animal = data.by_animal @ weighed
    # A table's rows multiplied.
    by_row = np.repeat(1 / pivot, np.diff(shared.indptr))
    swept = csr_array((shared.data * by_row, shared.indices, shared.indptr), shape=shared.shape)
    whole = np.empty((p + q, p + q))
    whole[:p, :p] = data.x.T @ weighed - of_animal.T @ (of_animal / pivot[:, None])
    whole[p:, :p] = data.by_operator @ weighed - swept.T @ of_animal
    whole[:p, p:] = whole[p:, :p].T
    whole[p:, p:] = -(shared.T @ swept).toarray()
    at = np.arange(p, p + q)
    whole[at, at] += data.by_operator @ weight + 1 / operator_var
    logs = -np.log(weight).sum() + data.animals * np.log(animal_var) + np.log(pivot).sum()
    logs += q * np.log(operator_var)
    try:
        factor: Array = np.linalg.cholesky(whole)
    except np.linalg.LinAlgError:
        raise FitError("The effects of operators could not be fitted.") from None
    logs += 2 * np.log(np.diag(factor)).sum()
    inverse = cho_solve((factor, True), np.eye(p + q))
    return _System(factor, inverse, float(logs), weight, pivot, of_animal, shared)
