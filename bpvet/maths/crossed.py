"""People who measure many animals, animals measured by many people: crossed random effects.

    y = X β + animal + operator + session      session variance: sv² + what is known of each

REML with its analytic slopes, animals swept out one by one: an evaluation costs operators³ and
one pass over the sessions.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_solve
from scipy.optimize import brentq, minimize
from scipy.sparse import csr_array
from scipy.special import gammainc, gammaincc, lambertw, ndtri

from bpvet.errors import FitError
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
        self.fixed = np.column_stack((x, y))
        each, rows = np.ones(n), np.arange(n)
        self.by_animal: Any = csr_array((each, (animal, rows)), shape=(self.animals, n))
        self.by_operator: Any = csr_array((each, (operator, rows)), shape=(self.operators, n))
        # A session is of one animal and one operator: what they share is sparse.
        key, self.pair = np.unique(animal * self.operators + operator, return_inverse=True)
        self._column = key % self.operators
        self._start = np.searchsorted(key, np.arange(self.animals + 1) * self.operators)

    def shared(self, values: Array) -> csr_array:
        """Return Σ values (n,) over what an animal and an operator share, (animals, operators)."""
        summed = np.bincount(self.pair, values, minlength=len(self._column))
        return csr_array((summed, self._column, self._start), shape=(self.animals, self.operators))


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
    ratio = max(0.0, 2 * (alone.fun - full.fun))
    best = full.x if full.fun <= alone.fun else np.array([alone.x[0], _BOUNDS[0], alone.x[1]])
    variance = np.exp(best)
    effect, error = _effects(data, variance)
    sds = np.where(variance < _ZERO, 0.0, np.sqrt(variance)) * scale
    n = values.size - columns.shape[1]
    ends = _profiled(data, best, min(full.fun, alone.fun), alone.fun, level)
    return Crossed(
        effect=effect * scale if sds[1] > 0 else 0 * effect,
        variance=error * scale**2 if sds[1] > 0 else 0 * effect,
        animal_sd=float(sds[0]),
        operator_sd=float(sds[1]),
        session_sd=float(sds[2]),
        p=float(gammaincc(0.5, ratio / 2)) / 2,
        log_likelihood=-min(full.fun, alone.fun) - n * float(np.log(scale)),
        between=_between(float(sds[1]), ends, scale),
    )


def _between(sd: float, ends: tuple[float, float | None], scale: float) -> Estimate:
    if ends[1] is None:
        return estimated(sd, reason=reason("crossed.no_upper_end"))
    return estimated(sd, ends[0] * scale, ends[1] * scale, PROFILE)


def _profiled(
    data: _Data, best: Array, least: float, without: float, level: float
) -> tuple[float, float | None]:
    """Return the ends of the operators' SD, scaled; the upper one None where there is none.

    `least` and `without` are minus the log-likelihoods at `best` and without operators.
    """
    allowed = variance_ratio(data.operators - 1, level) / 2
    start = best[[0, 2]]

    def over(log: float) -> float:
        def value(logs: Array) -> tuple[float, Array]:
            height, slope = _criterion(data, np.exp([logs[0], log, logs[1]]))
            return height, slope[[0, 2]]

        found = minimize(value, start, jac=True, method="L-BFGS-B", bounds=[_BOUNDS] * 2, tol=1e-8)
        return float(found.fun) - least - allowed

    lower, upper, (bottom, top) = 0.0, None, _BOUNDS
    if over(float(best[1])) >= 0:  # A likelihood without a top: nothing can be said.
        return lower, upper
    if without - least > allowed and over(bottom) > 0:
        lower = float(np.exp(brentq(over, bottom, best[1], xtol=_CLOSE) / 2))
    if over(top) > 0:
        upper = float(np.exp(brentq(over, best[1], top, xtol=_CLOSE) / 2))
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


def _fitted(data: _Data, operators: bool) -> Any:
    """Return the optimiser's result over log variances of animal, (operator) and session."""

    free = [0, 1, 2] if operators else [0, 2]

    def value(logs: Array) -> tuple[float, Array]:
        whole = np.full(3, _BOUNDS[0])
        whole[free] = logs
        height, slope = _criterion(data, np.exp(whole))
        return height, slope[free]

    starts = ([-0.7, -3.0, -1.5], [-2.0, -1.5, -0.5]) if operators else ([-0.7, -1.5], [-2.0, -0.5])
    size = len(starts[0])
    found = [
        minimize(value, start, jac=True, method="L-BFGS-B", bounds=[_BOUNDS] * size, tol=1e-12)
        for start in starts
    ]
    best: Any = min(found, key=lambda one: float(one.fun))
    if not np.isfinite(best.fun):
        raise FitError("The effects of operators could not be fitted.", best)
    return best


def _criterion(data: _Data, variance: Array) -> tuple[float, Array]:
    """Return minus the restricted log-likelihood, and its slope by each log variance.

    With C the mixed model's equations, u a term's effects and P of the restricted likelihood, half
    the slope is q − tr(C⁻¹ of the term)/σ² − uᵀu/σ² for animals and operators, and
    σ²·(tr P − |P y|²) for sessions; all follow from the system with the animals swept out.
    """
    system = _system(data, variance)
    factor, solution = system.factor, system.solution
    out = system.logs + 2 * np.log(np.diag(factor)).sum() + system.rest
    out -= float(system.right @ solution)
    value = float(out + (data.y.size - data.x.shape[1]) * np.log(2 * np.pi)) / 2
    p, inverse = data.x.shape[1], system.inverse
    operator_effect = solution[p:]
    animal_effect = system.of_animal @ np.append(-solution[:p], 1.0) / system.pivot
    animal_effect -= system.swept @ operator_effect
    left = data.y - data.x @ solution[:p] - operator_effect[data.operator]
    left -= animal_effect[data.animal]
    spread = _swept_square(system, 1 / system.pivot**2)
    of_animals = float((1 / system.pivot).sum() + np.vdot(inverse, spread))
    terms = (
        (data.animals, of_animals, animal_effect, variance[0]),
        (data.operators, float(np.trace(inverse[p:, p:])), operator_effect, variance[1]),
    )
    slopes = [size - (trace + effect @ effect) / var for size, trace, effect, var in terms]
    weight = system.weight
    moved = weight * left
    trace = float(weight.sum()) - _leverage(data, system)
    slopes.append(variance[2] * (trace - float(moved @ moved)))
    return value, np.array(slopes) / 2


def _swept_square(system: _System, weight: Array) -> Array:
    """Return Bᵀ diag(weight) B for B (animals, p + q): what X and operators share with animals."""
    p = system.of_animal.shape[1] - 1
    x, shared = system.of_animal[:, :p], system.shared
    scaled = _times(shared, weight)
    cross = scaled.T @ x
    return np.block(
        [[x.T @ (weight[:, None] * x), cross.T], [cross, (shared.T @ scaled).toarray()]]
    )


def _leverage(data: _Data, system: _System) -> float:
    """Return Σ w² over the sessions' places in C⁻¹: what is lost of tr R⁻¹ in tr P."""
    p, pivot, square = data.x.shape[1], system.pivot, system.weight**2
    of_animal = data.by_animal @ square
    # Rows (x, operator) less what their animal sweeps out, squared and weighted.
    x_animal = data.by_animal @ (square[:, None] * data.x)
    x_operator = data.by_operator @ (square[:, None] * data.x)
    shared = data.shared(square)
    direct = np.zeros_like(system.inverse)
    direct[:p, :p] = data.x.T @ (square[:, None] * data.x)
    direct[p:, :p], direct[:p, p:] = x_operator, x_operator.T
    at = np.arange(p, p + data.operators)
    direct[at, at] = data.by_operator @ square
    x, swept = system.of_animal[:, :p] / pivot[:, None], system.swept
    between = np.block(
        [
            [x_animal.T @ x, (swept.T @ x_animal).T],
            [shared.T @ x, (shared.T @ swept).toarray()],
        ]
    )
    inner = _swept_square(system, of_animal / pivot**2)
    return float(of_animal @ (1 / pivot)) + float(
        np.vdot(system.inverse, direct - between - between.T + inner)
    )


def _times(table: csr_array, by_row: Array) -> csr_array:
    """Return a sparse table with its rows multiplied."""
    data = table.data * np.repeat(by_row, np.diff(table.indptr))
    return csr_array((data, table.indices, table.indptr), shape=table.shape)


def _effects(data: _Data, variance: Array) -> tuple[Array, Array]:
    """Return the operators' effects (q,) and their error variances (q,)."""
    system, p = _system(data, variance), data.x.shape[1]
    return system.solution[p:], np.diag(system.inverse)[p:].copy()


@dataclass(frozen=True, eq=False)
class _System:
    """The mixed model's equations with animals swept out.

    Parameters
    ----------
    factor : (p + q, p + q) float
        Lower Cholesky factor of the left side: X, then operators.
    right, solution : (p + q,) float
    inverse : (p + q, p + q) float
        Of the left side.
    rest, logs : float
        The weighted square of y that is left, and the logarithms of the variances.
    weight : (n,) float
        1/variance of each session.
    pivot : (animals,) float
        What each animal's own equation holds.
    of_animal : (animals, p + 1) float
        Weighted sums of X and y.
    shared, swept : (animals, q) sparse
        Weights that animals and operators share, and the same over `pivot`.
    """

    factor: Array
    right: Array
    solution: Array
    inverse: Array
    rest: float
    logs: float
    weight: Array
    pivot: Array
    of_animal: Array
    shared: csr_array
    swept: csr_array


def _system(data: _Data, variance: Array) -> _System:
    """Return the equations at variances of animals, operators and sessions."""
    animal_var, operator_var, session_var = variance
    weight = 1 / (data.known + session_var)
    p, q = data.x.shape[1], data.operators
    shared = data.shared(weight)
    pivot = data.by_animal @ weight + 1 / animal_var
    weighed = weight[:, None] * data.fixed
    of_animal, of_operator = data.by_animal @ weighed, data.by_operator @ weighed
    swept = _times(shared, 1 / pivot)
    whole = np.empty((p + q, p + q))
    square = data.fixed.T @ weighed - of_animal.T @ (of_animal / pivot[:, None])
    cross = of_operator - swept.T @ of_animal
    whole[:p, :p] = square[:p, :p]
    whole[p:, :p], whole[:p, p:] = cross[:, :p], cross[:, :p].T
    whole[p:, p:] = -(shared.T @ swept).toarray()
    at = np.arange(p, p + q)
    whole[at, at] += data.by_operator @ weight + 1 / operator_var
    right = np.concatenate((square[:p, p], cross[:, p]))
    logs = -np.log(weight).sum() + data.animals * np.log(animal_var) + np.log(pivot).sum()
    logs += q * np.log(operator_var)
    try:
        factor: Array = np.linalg.cholesky(whole)
    except np.linalg.LinAlgError:
        raise FitError("The effects of operators could not be fitted.") from None
    inverse = cho_solve((factor, True), np.eye(right.size))
    solution = cho_solve((factor, True), right)
    rest = float(square[p, p])
    return _System(
        factor, right, solution, inverse, rest, float(logs), weight, pivot, of_animal, shared, swept
    )
