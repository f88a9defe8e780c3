"""How far an animal's sessions lie from one another: spread without a model of time.

Every statistic of this file is a plain sum over session means. The intervals suppose that
the sessions of one animal scatter independently and normally, all with the same SD σ, about
one steady value (about a straight line for `residual_sd`). A slow drift of the pressure
breaks that: it widens `sd` and leaves the successive statistics nearly as they were, which is
why both kinds are given.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate
from bpvet.maths.estimates import (
    Array,
    checked,
    chi_like,
    chi_square_tails,
    pair,
    squared_mean_of_chi,
    vector,
)
from bpvet.maths.special import ndtri, stdtrit
from bpvet.reasons import reason

NO_SCATTER = reason("spread.equal")
NO_PERIOD = reason("spread.one_day")


def mean(values: ArrayLike, level: float = 0.95) -> Estimate:
    """Return the mean of `values` (n,) with Student's interval on n − 1 degrees of freedom."""
    y = vector(values)
    if y.size < 2:
        return Estimate(float(y[0]) if y.size else None, reason=_need(y.size, 2))
    half = float(stdtrit(y.size - 1, (1 + checked(level)) / 2)) * _sd(y) / math.sqrt(y.size)
    if half == 0:
        return Estimate(float(y.mean()), reason=NO_SCATTER)
    return Estimate(float(y.mean()), float(y.mean()) - half, float(y.mean()) + half)


def sd(values: ArrayLike, level: float = 0.95) -> Estimate:
    """Return the standard deviation, divisor n − 1, with its chi-square interval.

    Parameters
    ----------
    values : (n,) float
        Session means, in any unit.
    level : float
        Probability that the interval is to hold.

    Returns
    -------
    Estimate
        In the unit of `values`; (n − 1)·SD²/σ² is chi-square with n − 1 degrees of freedom.

    Examples
    --------
    >>> round(sd([180, 140, 170]).estimate, 3)
    20.817
    """
    y = vector(values)
    if y.size < 2:
        return _too_few(y, 2)
    return _chi_square(_sd(y), y.size - 1, level)


def coefficient_of_variation(values: ArrayLike, level: float = 0.95) -> Estimate:
    """Return the SD as a share of the mean (a fraction, not per cent).

    The interval is McKay's approximation as modified by Vangel (Am Stat 1996;50:21–26,
    equation 16), good while the true value is under one third. Where its upper end would be
    infinite it is None, with the reason.
    """
    y = vector(values)
    if y.size < 2:
        return _too_few(y, 2)
    if not y.mean() > 0:
        return Estimate(None, reason=reason("spread.no_share"))
    k, df = float(_sd(y) / y.mean()), y.size - 1
    if k == 0:
        return Estimate(0.0, reason=NO_SCATTER)
    high, low = chi_square_tails(df, level)
    lower = _vangel(k, high, df)
    upper = _vangel(k, low, df)
    if upper is None:
        return Estimate(k, lower, reason=reason("spread.no_upper_end"))
    return Estimate(k, lower, upper)


def average_real_variability(
    values: ArrayLike, gaps: ArrayLike | None = None, level: float = 0.95
) -> Estimate:
    """Return the mean absolute difference of consecutive sessions.

    Parameters
    ----------
    values : (n,) float
        Session means in order of time.
    gaps : (n − 1,) float, optional
        Days between consecutive sessions: the differences are then weighted by them
        (Mena et al., J Hypertens 2005;23:505–511). Without it every difference counts alike.
    level : float
        Probability that the interval is to hold.

    Returns
    -------
    Estimate
        In the unit of `values`. Under independent normal sessions its expectation is 2σ/√π
        whatever the weights, and its variance follows from the correlation −1/2 of
        neighbouring differences; the interval gives a scaled chi that mean and variance
        (Patnaik, Biometrika 1950;37:78–87, who does so for mean ranges).

    Examples
    --------
    >>> average_real_variability([180, 140, 170]).estimate
    35.0
    >>> average_real_variability([180, 140, 170], gaps=[20, 30]).estimate
    34.0
    """
    y = vector(values)
    if y.size < 2:
        return _too_few(y, 2)
    weight = np.ones(y.size - 1) if gaps is None else vector(gaps)
    if weight.size != y.size - 1 or np.any(weight < 0):
        raise CallError(f"{y.size} sessions need {y.size - 1} gaps of 0 days or more.")
    if weight.sum() == 0:
        return Estimate(None, reason=NO_PERIOD)
    weight = weight / weight.sum()
    estimate = float(weight @ np.abs(np.diff(y)))
    if estimate == 0:
        return Estimate(0.0, reason=NO_SCATTER)
    # The variance of the weighted mean absolute difference over its squared mean.
    # For normals of correlation ρ, E|X||Y| = (2/π)(√(1 − ρ²) + ρ·arcsin ρ); here ρ = −1/2.
    rho = -0.5
    variance_factor = math.pi / 2 - 1
    neighbours = math.sqrt(1 - rho * rho) + rho * math.asin(rho) - 1
    df = chi_like(
        float(variance_factor * weight @ weight + 2 * neighbours * weight[:-1] @ weight[1:])
    )
    high, low = chi_square_tails(df, level)
    centre = math.sqrt(squared_mean_of_chi(df) * df)
    return Estimate(estimate, estimate * centre / high**0.5, estimate * centre / low**0.5)


def successive_variation(values: ArrayLike, level: float = 0.95) -> Estimate:
    """Return the root of the mean squared difference of consecutive sessions.

    Parameters
    ----------
    values : (n,) float
        Session means in order of time.
    level : float
        Probability that the interval is to hold.

    Returns
    -------
    Estimate
        In the unit of `values`; an estimate of √2·σ. Its square is a sum of chi-squares with
        the weights 2 − 2·cos(πk/n), k = 1 … n − 1 (von Neumann et al., Ann Math Stat
        1941;12:153–162); the interval replaces them by one chi-square of the same mean and
        variance, with 2(n − 1)²/(3n − 4) degrees of freedom (Satterthwaite, Biometrics
        1946;2:110–114).
    """
    y = vector(values)
    if y.size < 2:
        return _too_few(y, 2)
    estimate = math.sqrt(float(np.mean(np.diff(y) ** 2)))
    return _chi_square(estimate, 2 * (y.size - 1) ** 2 / (3 * y.size - 4), level)


def residual_sd(days: ArrayLike, values: ArrayLike, level: float = 0.95) -> Estimate:
    """Return the SD about the least-squares line, divisor n − 2, with its chi-square interval.

    Parameters
    ----------
    days, values : (n,) float
        Days in any order and from any origin, and session means.
    level : float
        Probability that the interval is to hold.
    """
    t, y = pair(days, values)
    if y.size < 3:
        return _too_few(y, 3)
    t = t - t.mean()
    if not t @ t > 0:
        return Estimate(None, reason=NO_PERIOD)
    r = y - y.mean()
    r = r - t * float(t @ r) / float(t @ t)
    rss = float(r @ r)
    # Points on a line leave only rounding behind, of the order of ε²·Σy².
    if rss <= 1e-26 * float(y @ y):
        return Estimate(0.0, reason=reason("spread.on_a_line"))
    return _chi_square(math.sqrt(rss / (y.size - 2)), y.size - 2, level)


def reference_change(cv_within: float, cv_analytical: float = 0.0, level: float = 0.95) -> float:
    """Return the change between two single results that scatter alone exceeds in 1 − `level`.

    Parameters
    ----------
    cv_within, cv_analytical : float
        Coefficients of variation within the animal and of the measurement, both in per cent
        or both as fractions; for session means that hold both, the second is 0.
    level : float
        Two-sided probability of staying within the value.

    Returns
    -------
    float
        z·√2·√(cv_analytical² + cv_within²), in the unit of the arguments (Harris & Yasaka,
        Clin Chem 1983;29:25–30).

    Examples
    --------
    >>> round(reference_change(4, 3), 3)
    13.859
    """
    z = float(ndtri((1 + checked(level)) / 2))
    return z * math.sqrt(2) * math.hypot(cv_within, cv_analytical)


@dataclass(frozen=True)
class MeanRelation:
    """How the SD of animals goes with their mean: SD ∝ mean^`beta`, about the mean `centre`.

    `beta` is None, with the `reason`, where the animals do not tell.
    """

    beta: float | None
    centre: float
    reason: str | None = None


def mean_relation(means: ArrayLike, sds: ArrayLike) -> MeanRelation:
    """Return the relation that variability independent of the mean takes out.

    Parameters
    ----------
    means, sds : (m,) float
        Mean (above 0) and SD (0 or more) of each of m animals.

    Returns
    -------
    MeanRelation
        `beta`, least-squares slope of log SD on log mean over the animals with some scatter,
        and `centre`, the plain mean of all the animals' means (after Rothwell et al., Lancet
        2010;375:895–905; the convention is as remembered).
    """
    m, s = pair(means, sds)
    if m.size == 0 or np.any(m <= 0) or np.any(s < 0):
        raise CallError("animals' means must be above 0 and their SDs 0 or more.")
    used = s > 0
    x = np.log(m[used])
    x = x - x.mean() if x.size else x
    if x.size < 3 or not x @ x > 0:
        return MeanRelation(None, float(m.mean()), reason("spread.few_animals"))
    return MeanRelation(float(x @ np.log(s[used]) / (x @ x)), float(m.mean()))


def independent_of_mean(
    values: ArrayLike, relation: MeanRelation | None, level: float = 0.95
) -> Estimate:
    """Return one animal's variability independent of the mean, SD·(centre/mean)^beta.

    The interval is that of the SD, carried over: it takes beta, centre and the animal's mean
    as known (the mean's share of the uncertainty is beta²·CV²/n beside 1/(2n − 2)).
    Without a `relation` there is no estimate: one animal cannot tell how SD goes with mean.
    """
    y = vector(values)
    if relation is None:
        return Estimate(
            None,
            reason=reason("spread.alone"),
        )
    if relation.beta is None:
        return Estimate(None, reason=relation.reason)
    if y.size < 2:
        return _too_few(y, 2)
    if not y.mean() > 0:
        return Estimate(None, reason=reason("spread.no_power"))
    return sd(y, level).times(float((relation.centre / y.mean()) ** relation.beta))


def share_interpolated(
    days: ArrayLike,
    values: ArrayLike,
    at_or_below: float = math.inf,
    at_or_above: float = -math.inf,
    longest_gap: float = math.inf,
) -> Estimate:
    """Return the share of the period in range, along straight lines from session to session.

    Parameters
    ----------
    days, values : (n,) float
        Days in order of time, and session means.
    at_or_below, at_or_above : float
        The ends of the range, both included; either may be left out.
    longest_gap : float
        Stretches of more days than this are left out of the period.

    Returns
    -------
    Estimate
        Days in range by days counted, between 0 and 1 (Rosendaal et al., Thromb Haemost
        1993;69:236–239). No interval: the lines are taken as drawn, and what happened
        between the sessions is not in them.

    Examples
    --------
    >>> share_interpolated([0, 20, 50], [180, 140, 170], 160).estimate
    0.6
    """
    t, y = pair(days, values)
    gap = np.diff(t)
    if np.any(gap < 0):
        raise CallError("sessions must be in order of time.")
    if not at_or_above <= at_or_below or not longest_gap > 0:
        raise CallError("the range must not be empty and the longest gap must be above 0 days.")
    if y.size < 2:
        return _too_few(y, 2)
    counted = gap <= longest_gap
    period = float(gap[counted].sum())
    if period == 0:
        left_out = reason("spread.long_gaps")
        return Estimate(None, reason=NO_PERIOD if np.all(gap == 0) else left_out)
    low, high = np.minimum(y[:-1], y[1:]), np.maximum(y[:-1], y[1:])
    flat = high == low
    inside = np.minimum(high, at_or_below) - np.maximum(low, at_or_above)
    # A level stretch has no rise to share out: it is in range as a whole or not at all.
    share_inside = np.where(
        flat, inside >= 0, np.maximum(inside, 0) / np.where(flat, 1, high - low)
    )
    share = float((gap * share_inside)[counted].sum()) / period
    return Estimate(share, reason=reason("spread.as_drawn"))


def _need(n: int, least: int) -> str:
    return reason(
        "spread.one_session" if n == 1 else "spread.few_sessions" if n else "spread.no_session",
        least=least,
        n=n,
    )


def _too_few(y: Array, least: int) -> Estimate:
    return Estimate(None, reason=_need(y.size, least))


def _sd(y: Array) -> float:
    return float(y.std(ddof=1)) if np.ptp(y) > 0 else 0.0


def _chi_square(estimate: float, df: float, level: float) -> Estimate:
    """An SD-like estimate with df·estimate²/truth² taken as chi-square."""
    high, low = chi_square_tails(df, level)
    if estimate == 0:
        return Estimate(0.0, reason=NO_SCATTER)
    return Estimate(estimate, estimate * math.sqrt(df / high), estimate * math.sqrt(df / low))


def _vangel(k: float, point: float, df: int) -> float | None:
    below = ((point + 2) / (df + 1) - 1) * k * k + point / df
    return k / math.sqrt(below) if below > 0 else None
