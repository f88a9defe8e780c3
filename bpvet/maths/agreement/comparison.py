"""Pieces of a comparison of two methods: limits of agreement, shares, concordance, proportion.

Differences are the second method minus the first. Limits are bias ± 1.96 SD of a difference
between single readings (Bland & Altman 1986, 1999). Which intervals are exact under normal
differences and which approximate is said in `Estimate.how`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, gammaincinv, nctdtrit, ndtr, ndtri, stdtr, stdtrit

from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason

Array = NDArray[np.float64]

#: Normal point of the limits of agreement, as in the papers.
LIMIT = 1.96
EXACT = "exact"
BLAND_ALTMAN = reason("how.bland_altman")
MOVER = reason("how.mover")
SATTERTHWAITE = reason("how.satterthwaite")
FISHER = reason("how.fisher")


def estimated(
    value: float | None,
    lower: float | None = None,
    upper: float | None = None,
    how: str = "",
    reason: str | None = None,
) -> Estimate:
    """Return an estimate of which it is told how its interval was made; blank without one."""
    return Estimate(value, lower, upper, how=how, reason=reason)


@dataclass(frozen=True)
class Line:
    """A straight line of the second method on the first, both with error.

    Parameters
    ----------
    slope, intercept : Estimate
        Second = intercept + slope · first.
    n : int
        Points.
    words : str
        What line it is.
    """

    slope: Estimate
    intercept: Estimate
    n: int
    words: str


@dataclass(frozen=True)
class Proportion:
    """How differences go with the size of what is measured.

    Parameters
    ----------
    slope, intercept : Estimate
        Least squares of difference on mean of the two methods, one point an animal.
    p : float or None
        Two-sided p of the slope.
    residual_sd : float or None
        SD about that line, divisor n − 2.
    spread_slope, spread_intercept : float or None
        Least squares of the absolute residuals on the mean: whether the scatter grows.
    n : int
        Points.
    """

    slope: Estimate
    intercept: Estimate
    p: float | None
    residual_sd: float | None
    spread_slope: float | None
    spread_intercept: float | None
    n: int


def student(df: float, level: float) -> float:
    """Return the point of Student's t that holds `level` between its minus and plus."""
    upper = (1 + level) / 2
    return float(stdtrit(df, upper)) if np.isfinite(df) else float(ndtri(upper))


def about(estimate: float, se: float, df: float, level: float, how: str) -> Estimate:
    """Return an estimate with its interval by Student's t (normal if `df` is infinite)."""
    reach = float(student(df, level) * se)
    return estimated(estimate, estimate - reach, estimate + reach, how)


def single_limits(
    difference: ArrayLike, level: float = 0.95, how: str = BLAND_ALTMAN
) -> tuple[Estimate, Estimate]:
    """Return the limits of agreement of one difference an animal.

    Parameters
    ----------
    difference : (n,) float
        Second method minus first; n ≥ 2.
    level : float
        Probability of the intervals.
    how : str
        `BLAND_ALTMAN` (1999: SE of a limit √(1/n + 1.96²/2(n−1))·SD, Student's t with n − 1) or
        `EXACT` (noncentral t: Carkeet 2015).
    """
    d = np.asarray(difference, dtype=float)
    n, mean, sd = d.size, float(d.mean()), float(d.std(ddof=1))
    ends = (mean - LIMIT * sd, mean + LIMIT * sd)
    if how == BLAND_ALTMAN:
        se = sd * np.sqrt(1 / n + LIMIT**2 / (2 * (n - 1)))
        return about(ends[0], se, n - 1, level, how), about(ends[1], se, n - 1, level, how)
    tails = (1 - level) / 2, (1 + level) / 2
    inner, outer = (float(nctdtrit(n - 1, LIMIT * np.sqrt(n), p)) * sd / np.sqrt(n) for p in tails)
    return (
        estimated(ends[0], mean - outer, mean - inner, EXACT),
        estimated(ends[1], mean + inner, mean + outer, EXACT),
    )


def component_limits(
    bias: tuple[float, float, float],
    variance: tuple[float, float],
    level: float = 0.95,
    how: str = BLAND_ALTMAN,
) -> tuple[Estimate, Estimate]:
    """Return limits of agreement from a bias and a variance that were estimated apart.

    Parameters
    ----------
    bias : (estimate, standard error, df)
        Mean difference.
    variance : (estimate, its variance)
        Variance of a single difference, unit squared.
    level : float
        Probability of the intervals.
    how : str
        `BLAND_ALTMAN` (1999, section 5: normal, SE² = SE²(bias) + 1.96²·var(SD)) or `MOVER`
        (Zou 2013: intervals of bias and SD recovered; the SD's is chi-square with
        Satterthwaite's df), better with few animals.
    """
    mean, se, df = bias
    sd = float(np.sqrt(variance[0]))
    ends = (mean - LIMIT * sd, mean + LIMIT * sd)
    if how == BLAND_ALTMAN:
        var_sd = variance[1] / (4 * variance[0]) if variance[0] > 0 else 0.0
        se_limit = float(np.sqrt(se**2 + LIMIT**2 * var_sd))
        reach = (LIMIT if level == 0.95 else student(np.inf, level)) * se_limit
        return (
            estimated(ends[0], ends[0] - reach, ends[0] + reach, how),
            estimated(ends[1], ends[1] - reach, ends[1] + reach, how),
        )
    side = student(df, level) * se
    spread = root(variance_interval(*variance, level))
    low, high = spread.lower, spread.upper
    if low is None or high is None:
        return estimated(ends[0], reason=spread.reason), estimated(ends[1], reason=spread.reason)
    below, above = LIMIT * (sd - low), LIMIT * (high - sd)
    far, near = float(np.hypot(side, above)), float(np.hypot(side, below))
    return (
        estimated(ends[0], ends[0] - far, ends[0] + near, how),
        estimated(ends[1], ends[1] - near, ends[1] + far, how),
    )


def variance_interval(
    variance: float, its_variance: float, level: float = 0.95, df: float | None = None
) -> Estimate:
    """Return a variance with its chi-square interval.

    Parameters
    ----------
    variance, its_variance : float
        The estimate and its variance; Satterthwaite's df is 2·variance²/its_variance.
    level : float
        Probability of the interval.
    df : float, optional
        Degrees of freedom where they are known: the interval is then exact.
    """
    how = SATTERTHWAITE if df is None else EXACT
    if df is None:
        if variance <= 0 or its_variance <= 0:
            return estimated(variance, reason=reason("comparison.no_variance"))
        df = 2 * variance**2 / its_variance
    if df < 1:
        return estimated(variance, reason=reason("comparison.few_degrees"))
    low, high = (2 * float(gammaincinv(df / 2, p)) for p in ((1 - level) / 2, (1 + level) / 2))
    return estimated(variance, df * variance / high, df * variance / low, how)


def root(variance: Estimate, factor: float = 1.0) -> Estimate:
    """Return `factor` times the square root of a variance and of its interval's ends."""
    value, lower, upper = (
        None if number is None else factor * float(np.sqrt(max(number, 0.0)))
        for number in (variance.estimate, variance.lower, variance.upper)
    )
    return Estimate(value, lower, upper, how=variance.how, reason=variance.reason)


def proportion(difference: ArrayLike, mean: ArrayLike, level: float = 0.95) -> Proportion:
    """Return how differences go with the mean of both methods (Bland & Altman 1999, section 3).

    Parameters
    ----------
    difference, mean : (n,) float
        One point an animal.
    level : float
        Probability of the intervals, exact under normal residuals of one spread.
    """
    d, a = np.asarray(difference, dtype=float), np.asarray(mean, dtype=float)
    n = d.size
    sxx = float(np.sum((a - a.mean()) ** 2))
    if n < 3 or sxx == 0:
        nothing = estimated(None, reason=reason("comparison.few_levels"))
        return Proportion(nothing, nothing, None, None, None, None, n)
    slope, intercept = _least_squares(a, d)
    residual = d - intercept - slope * a
    sd = float(np.sqrt(residual @ residual / (n - 2)))
    se = sd / np.sqrt(sxx)
    se_intercept = sd * np.sqrt(1 / n + a.mean() ** 2 / sxx)
    grows = _least_squares(a, np.abs(residual))
    return Proportion(
        about(slope, se, n - 2, level, EXACT),
        about(intercept, se_intercept, n - 2, level, EXACT),
        2 * float(stdtr(n - 2, -abs(slope) / se)) if se > 0 else None,
        sd,
        *grows,
        n,
    )


def _least_squares(x: Array, y: Array) -> tuple[float, float]:
    about_mean = x - x.mean()
    slope = float(about_mean @ y / (about_mean @ about_mean))
    return slope, float(y.mean() - slope * x.mean())


def concordance(first: ArrayLike, second: ArrayLike, level: float = 0.95) -> Estimate:
    """Return Lin's concordance correlation of one pair an animal.

    2·s₁₂/(s₁² + s₂² + (x̄₂ − x̄₁)²) with divisor n, and the interval by Fisher's z with Lin's
    variance (1989, as corrected in 2000).

    Parameters
    ----------
    first, second : (n,) float
        One pair an animal.
    level : float
        Probability of the interval.
    """
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    n = x.size
    if n < 3 or x.var() == 0 or y.var() == 0:
        return estimated(None, reason=reason("comparison.few_different"))
    cover = float(np.mean((x - x.mean()) * (y - y.mean())))
    gap = float(y.mean() - x.mean())
    value = 2 * cover / (x.var() + y.var() + gap**2)
    r = cover / float(np.sqrt(x.var() * y.var()))
    if r == 0 or abs(r) >= 1:
        return estimated(float(value), reason=reason("comparison.correlation_at_end"))
    u2 = gap**2 / float(np.sqrt(x.var() * y.var()))
    c2, r2 = value**2, r**2
    spread = (1 - r2) * c2 / ((1 - c2) * r2)
    spread += 2 * value**3 * (1 - value) * u2 / (r * (1 - c2) ** 2)
    spread -= value**4 * u2**2 / (2 * r2 * (1 - c2) ** 2)
    return fisher(float(value), float(np.sqrt(max(spread, 0.0) / (n - 2))), level)


def fisher(value: float, se_z: float, level: float) -> Estimate:
    """Return a correlation with its interval from the standard error of its Fisher's z."""
    z, reach = np.arctanh(value), float(ndtri((1 + level) / 2)) * se_z
    return estimated(value, float(np.tanh(z - reach)), float(np.tanh(z + reach)), FISHER)


def correlation(first: ArrayLike, second: ArrayLike) -> float | None:
    """Return the product-moment correlation; None where a method does not vary."""
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if x.size < 2 or np.ptp(x) == 0 or np.ptp(y) == 0:
        return None
    return float(np.corrcoef(x, y)[0, 1])


def share_interval(count: int, n: int, level: float = 0.95) -> Estimate:
    """Return a share with its exact interval (Clopper & Pearson 1934)."""
    if n == 0:
        return estimated(None, reason=reason("comparison.nothing"))
    tail = (1 - level) / 2
    low = float(betaincinv(count, n - count + 1, tail)) if count else 0.0
    high = float(betaincinv(count + 1, n - count, 1 - tail)) if count < n else 1.0
    return estimated(count / n, low, high, EXACT)


def share_within(bias: float, sd: float, reach: float) -> float:
    """Return the share of normal differences no larger than `reach` in size."""
    if sd == 0:
        return float(abs(bias) <= reach)
    return float(ndtr((reach - bias) / sd) - ndtr((-reach - bias) / sd))
