"""Two variances behind one sum of squares, with intervals for whatever depends on both.

Differences d of neighbouring means hold visit noise v and the readings' part r·(1/n + 1/n'); the
scatter within sessions holds r alone and is independent of the means. Generalised pivots
(Weerahandi 1993, on mean squares) turn both sums into a joint distribution of (v, r): the mean of
d² over a chi-square of its effective degrees of freedom (Satterthwaite), the scatter within
over one of its own. Their quantiles are laid on a grid, so that nothing is drawn by chance. Held by
simulation to the stated probability (`reference_checks/audit`); where there is no visit noise at
all, the interval of the whole is somewhat too narrow.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaincinv, ndtr, ndtri

from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import estimated
from bpvet.maths.estimate import Estimate

PIVOT = "approximate (generalised pivots)"
#: Quantiles of each chi-square: enough for a 95 % interval to 1 % of its width.
_GRID = 200


@dataclass(frozen=True, eq=False)
class TwoVariances:
    """Visit noise and reading noise, and what is known of both together.

    Parameters
    ----------
    visit, reading : float
        The estimates, unit squared; `visit` is never below zero.
    visit_nodes, reading_nodes : (g, 1) and (1, g) float
        Equally likely values, to be combined by broadcasting: `visit_nodes` is (g, g) where
        readings were repeated.
    """

    visit: float
    reading: float
    visit_nodes: NDArray[np.float64]
    reading_nodes: NDArray[np.float64]


def two_variances(
    difference: ArrayLike, per_reading_share: ArrayLike, shared: ArrayLike, ss: float, df: float
) -> TwoVariances:
    """Return visit and reading variance from differences of neighbouring means and from scatter.

    Parameters
    ----------
    difference : (m,) float
        Later mean minus earlier mean, in order; one or more.
    per_reading_share : (m,) float
        1/n + 1/n' of each: how much of the reading variance it holds.
    shared : (m − 1,) float
        1/n of the session that a difference shares with the next one, 0 where they share none.
    ss, df : float
        Sum of squares within sessions and its degrees of freedom. Without any (`df` 0) the
        reading variance cannot be told apart and is taken as part of the visits'.
    """
    d, c, next_ = (
        np.asarray(values, dtype=float) for values in (difference, per_reading_share, shared)
    )
    reading = ss / df if df else 0.0
    square, per_reading = float(np.mean(d**2)), float(np.mean(c))
    visit = max(0.0, (square - per_reading * reading) / 2)
    # Consecutive differences share a session with opposite signs: the squares are not independent.
    variances = 2 * visit + reading * c
    with_next = np.where(next_ > 0, visit + reading * next_, 0.0)
    whole = float(variances @ variances + 2 * with_next @ with_next)
    freedom = float(variances.sum()) ** 2 / whole if whole > 0 else float(d.size)
    reading_nodes = reading * _over_chi_square(df)[None, :] if df else np.zeros((1, 1))
    squares = square * _over_chi_square(freedom)[:, None]
    visits = np.maximum(0.0, (squares - per_reading * reading_nodes) / 2)
    return TwoVariances(visit, reading, visits, reading_nodes)


def _over_chi_square(df: float) -> NDArray[np.float64]:
    """Return df over equally likely quantiles of a chi-square: (g,)."""
    p = (np.arange(_GRID) + 0.5) / _GRID
    return df / (2 * np.asarray(gammaincinv(df / 2, p), dtype=float))


def share_within_pivots(
    bias: tuple[float, float], sd: float, df: float, reach: float, level: float = 0.95
) -> Estimate:
    """Return the share of normal differences no larger than `reach`, with its interval.

    Parameters
    ----------
    bias : (estimate, standard error)
        Mean difference.
    sd, df : float
        SD of a difference, above zero, and the degrees of freedom of its square.
    reach : float
        In the same unit.
    level : float
        Probability of the interval.
    """
    p = (np.arange(_GRID) + 0.5) / _GRID
    sds = sd * np.sqrt(_over_chi_square(df))[:, None]
    # An error of the mean is as uncertain as the SD that it comes from.
    means = bias[0] + bias[1] * sds / sd * np.asarray(ndtri(p), dtype=float)[None, :]
    nodes = ndtr((reach - means) / sds) - ndtr((-reach - means) / sds)
    estimate = float(ndtr((reach - bias[0]) / sd) - ndtr((-reach - bias[0]) / sd))
    return from_nodes(estimate, nodes, level)


def from_nodes(estimate: float, nodes: NDArray[np.float64], level: float) -> Estimate:
    """Return an estimate with the central interval of its equally likely values."""
    # Each node stands for the middle of its share of the probability.
    low, high = np.quantile(nodes, [(1 - level) / 2, (1 + level) / 2], method="hazen")
    return estimated(estimate, float(low), float(high), PIVOT)
