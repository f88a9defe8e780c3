"""People who measure many animals, animals measured by many people: crossed random effects.

    y = X β + animal + operator + session      session variance: sv² + what is known of each

REML, with animals swept out one by one, so that an evaluation costs operators³.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import cho_solve, solve_triangular
from scipy.optimize import brentq, minimize
from scipy.sparse import csr_array
from scipy.special import gammainc, gammaincc, lambertw, ndtri

from bpvet.errors import FitError
from bpvet.maths.agreement.comparison import Estimated

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
    between : Estimated
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
    between: Estimated


@dataclass(frozen=True, eq=False)
class _Data:
    y: Array
    known: Array
    x: Array
    animal: Codes
    operator: Codes


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


def _between(sd: float, ends: tuple[float, float | None], scale: float) -> Estimated:
    if ends[1] is None:
        return Estimated(sd, reason="no upper end: too few operators or sessions")
    return Estimated(sd, ends[0] * scale, ends[1] * scale, PROFILE)


def _profiled(
    data: _Data, best: Array, least: float, without: float, level: float
) -> tuple[float, float | None]:
    """Return the ends of the operators' SD, scaled; the upper one None where there is none.

    `least` and `without` are minus the log-likelihoods at `best` and without operators.
    """
    allowed = variance_ratio(int(data.operator.max()), level) / 2
    start = best[[0, 2]]

    def over(log: float) -> float:
        def value(logs: Array) -> float:
            return _criterion(data, np.exp([logs[0], log, logs[1]]))

        found = minimize(value, start, method="L-BFGS-B", bounds=[_BOUNDS] * 2, tol=1e-8)
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

    def value(logs: Array) -> float:
        held = logs if operators else np.array([logs[0], _BOUNDS[0], logs[1]])
        return _criterion(data, np.exp(held))

    starts = ([-0.7, -3.0, -1.5], [-2.0, -1.5, -0.5]) if operators else ([-0.7, -1.5], [-2.0, -0.5])
    size = len(starts[0])
    found = [
        minimize(value, start, method="L-BFGS-B", bounds=[_BOUNDS] * size, tol=1e-12)
        for start in starts
    ]
    best: Any = min(found, key=lambda one: float(one.fun))
    if not np.isfinite(best.fun):
        raise FitError("The effects of operators could not be fitted.", best)
    return best


def _criterion(data: _Data, variance: Array) -> float:
    """Return minus the restricted log-likelihood."""
    factor, right, rest, logs = _system(data, variance)
    # Two triangular systems: operators may be hundreds, and this is asked hundreds of times.
    half = solve_triangular(factor, right, lower=True, check_finite=False)
    out = logs + 2 * np.log(np.diag(factor)).sum() + rest - half @ half
    return float(out + (data.y.size - data.x.shape[1]) * np.log(2 * np.pi)) / 2


def _effects(data: _Data, variance: Array) -> tuple[Array, Array]:
    """Return the operators' effects (q,) and their error variances (q,)."""
    factor, right, _, _ = _system(data, variance)
    p = data.x.shape[1]
    solution = cho_solve((factor, True), right)
    inverse = cho_solve((factor, True), np.eye(right.size))
    return solution[p:], np.diag(inverse)[p:].copy()


def _system(data: _Data, variance: Array) -> tuple[Array, Array, float, float]:
    """Return the mixed model's equations with animals swept out.

    Returns
    -------
    factor : (p + q, p + q) float
        Lower Cholesky factor of the left side: X, then operators.
    right : (p + q,) float
    rest, logs : float
        The weighted square of y that is left, and the logarithms of the variances.
    """
    animal_var, operator_var, session_var = variance
    weight = 1 / (data.known + session_var)
    p, q = data.x.shape[1], int(data.operator.max()) + 1
    animals = int(data.animal.max()) + 1
    held = np.bincount(data.animal, weight, minlength=animals) + 1 / animal_var
    fixed = np.column_stack((data.x, data.y))
    # A session is of one animal and one operator: what they share is sparse.
    shared = csr_array((weight, (data.animal, data.operator)), shape=(animals, q))
    of_animal = csr_array((weight, (data.animal, np.arange(weight.size)))) @ fixed
    of_operator = csr_array((weight, (data.operator, np.arange(weight.size)))) @ fixed
    swept = shared.multiply(1 / held[:, None]).tocsr()
    whole = np.empty((p + q, p + q))
    square = fixed.T @ (weight[:, None] * fixed) - of_animal.T @ (of_animal / held[:, None])
    cross = of_operator - swept.T @ of_animal
    whole[:p, :p] = square[:p, :p]
    whole[p:, :p], whole[:p, p:] = cross[:, :p], cross[:, :p].T
    whole[p:, p:] = -(shared.T @ swept).toarray()
    at = np.arange(p, p + q)
    whole[at, at] += np.bincount(data.operator, weight, minlength=q) + 1 / operator_var
    right = np.concatenate((square[:p, p], cross[:, p]))
    logs = -np.log(weight).sum() + animals * np.log(animal_var) + np.log(held).sum()
    logs += q * np.log(operator_var)
    try:
        factor: Array = np.linalg.cholesky(whole)
    except np.linalg.LinAlgError:
        raise FitError("The effects of operators could not be fitted.") from None
    return factor, right, float(square[p, p]), float(logs)
