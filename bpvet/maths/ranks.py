"""A trend by ranks alone: Theil–Sen slope and Mann–Kendall test, exact in small samples."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate
from bpvet.maths.estimates import Array, checked, pair
from bpvet.maths.orders import group_sizes, orders_by_s
from bpvet.reasons import reason

CONVENTIONS = ("conservative", "interpolated", "rounded")


@dataclass(frozen=True)
class TheilSen:
    """A median slope.

    Parameters
    ----------
    slope : Estimate
        Median of the slopes of all pairs with different x, per unit of x, with Sen's
        interval.
    intercept : float or None
        Median of y − slope·x.
    intercept_through_medians : float or None
        Median of y less slope times the median of x.
    n_slopes : int
        Pairs with different x.
    """

    slope: Estimate
    intercept: float | None
    intercept_through_medians: float | None
    n_slopes: int


@dataclass(frozen=True)
class MannKendall:
    """Mann–Kendall test of no trend (Kendall's, of x against y).

    Parameters
    ----------
    n : int
        Sessions.
    s : int
        Rising pairs less falling pairs.
    var_s : float
        Variance of S when all orders are equally likely, ties in x and y allowed for.
    tau_b : float or None
        Kendall's tau-b; None where all x or all y are equal.
    z : float
        S moved by 1 towards 0, over its SD.
    p : float
        Two-sided: by `method`.
    p_rising : float
        Probability, without a trend, of an S at least as large, by `method`.
    p_normal : float
        Two-sided, from `z`.
    method : str
        ``exact`` or ``normal``.
    reason : str or None
        Why `tau_b` is None.
    """

    n: int
    s: int
    var_s: float
    tau_b: float | None
    z: float
    p: float
    p_rising: float
    p_normal: float
    method: str
    reason: str | None = None


def theil_sen(
    x: ArrayLike, y: ArrayLike, level: float = 0.95, convention: str = "conservative"
) -> TheilSen:
    """Return the Theil–Sen slope of y on x with Sen's rank interval.

    Parameters
    ----------
    x, y : (n,) float
        Days and session means, in any order.
    level : float
        Probability that the interval is to hold.
    convention : str
        What is done with the fractional ranks (N − C)/2 and (N + C)/2 + 1 among the N sorted
        slopes, C = z·√var_s: ``conservative`` (the default) takes the next whole ranks
        outwards, ``interpolated`` goes in proportion between neighbours, ``rounded`` takes
        the nearest ranks as SciPy does.

    Returns
    -------
    TheilSen
        The interval is None, with the reason, where even the span of all slopes would hold
        less than `level`: without ties, 3 sessions reach 67 % and 4 reach 92 %.

    Notes
    -----
    Sen, J Am Stat Assoc 1968;63:1379–1389. Without ties the conservative interval holds at
    least 95 % for 5 to 50 sessions (98 % at 5, then less to spare).

    Examples
    --------
    >>> theil_sen([0, 1, 2, 3, 4], [1, 3, 5, 7, 9]).slope.estimate
    2.0
    """
    if convention not in CONVENTIONS:
        raise CallError(f'convention "{convention}" is not one of {", ".join(CONVENTIONS)}.')
    t, v = pair(x, y)
    checked(level)
    first, second = np.triu_indices(t.size, 1)
    run = t[second] - t[first]
    slopes = np.sort((v[second] - v[first])[run != 0] / run[run != 0])
    if slopes.size == 0:
        return TheilSen(Estimate(None, reason=reason("ranks.one_day")), None, None, 0)
    slope = float(np.median(slopes))
    return TheilSen(
        slope=_sen_interval(slope, slopes, t, v, level, convention),
        intercept=float(np.median(v - slope * t)),
        intercept_through_medians=float(np.median(v) - slope * np.median(t)),
        n_slopes=slopes.size,
    )


def mann_kendall(x: ArrayLike, y: ArrayLike) -> MannKendall:
    """Return Mann–Kendall's S with its variance, tau-b and p values; ties allowed on both sides.

    Parameters
    ----------
    x, y : (n,) float
        Days and session means, in any order.

    Returns
    -------
    MannKendall
        `p` and `p_rising` are exact (all orders of y equally likely) up to 50 sessions;
        beyond, and where ties on both sides make the count too long (never with up to 14
        sessions; see `bpvet.maths.orders`), normal with continuity correction.

    Notes
    -----
    Kendall, Rank Correlation Methods, 4th ed. 1970: variance with ties on both sides, ch. 4.

    Examples
    --------
    >>> test = mann_kendall([0, 10, 30, 60, 120], [150, 152, 149, 158, 161])
    >>> test.s, round(test.p, 4), test.method
    (6, 0.2333, 'exact')
    """
    t, v = pair(x, y)
    rise = np.sign(t[:, None] - t) * np.sign(v[:, None] - v)
    s = int(rise.sum()) // 2
    t_ties, v_ties = group_sizes(t), group_sizes(v)
    var_s = _variance(t.size, t_ties, v_ties)
    z = (s - math.copysign(1, s)) / math.sqrt(var_s) if s else 0.0
    pairs = t.size * (t.size - 1) // 2
    untied = [pairs - int((g * (g - 1)).sum()) // 2 for g in (t_ties, v_ties)]
    untied_both = untied[0] > 0 and untied[1] > 0
    p_normal = 2 * float(ndtr(-abs(z)))
    law = orders_by_s(t, v)
    if law is None:
        p = p_normal
        # S moves in steps of 2: half a step outwards makes the normal tail "at least s".
        rising = float(ndtr((1 - s) / math.sqrt(var_s))) if var_s > 0 else 1.0
    else:
        orders = math.factorial(t.size)
        p = float(Fraction(sum(c for k, c in law.items() if abs(k) >= abs(s)), orders))
        rising = float(Fraction(sum(c for k, c in law.items() if k >= s), orders))
    return MannKendall(
        n=t.size,
        s=s,
        var_s=var_s,
        tau_b=s / math.sqrt(untied[0] * untied[1]) if untied_both else None,
        z=z,
        p=p,
        p_rising=rising,
        p_normal=p_normal,
        method="normal" if law is None else "exact",
        reason=None if untied_both else reason("ranks.equal"),
    )


def _variance(n: int, u: NDArray[np.int64], t: NDArray[np.int64]) -> float:
    """Variance of S over all orders, for tie groups of sizes u in x and t in y."""
    if n < 2:
        return 0.0
    plain = n * (n - 1) * (2 * n + 5) - sum(int((g * (g - 1) * (2 * g + 5)).sum()) for g in (u, t))
    twos = [int((g * (g - 1)).sum()) for g in (u, t)]
    threes = [int((g * (g - 1) * (g - 2)).sum()) for g in (u, t)]
    total = Fraction(plain, 18) + Fraction(twos[0] * twos[1], 2 * n * (n - 1))
    if n > 2:
        total += Fraction(threes[0] * threes[1], 9 * n * (n - 1) * (n - 2))
    return float(total)


def _sen_interval(
    slope: float, slopes: Array, t: Array, v: Array, level: float, convention: str
) -> Estimate:
    # The residuals from the true slope have no ties, whatever the values have.
    orders = Fraction(math.prod(math.factorial(int(u)) for u in group_sizes(t)))
    reached = float(1 - 2 * orders / math.factorial(t.size))
    if reached < level:
        holds = {"level": 100 * level, "reached": 100 * reached}
        return Estimate(slope, reason=reason("ranks.few_sessions", n=t.size, **holds))
    c = float(ndtri((1 + level) / 2)) * math.sqrt(_variance(t.size, group_sizes(t), group_sizes(v)))
    low, high = (slopes.size - c) / 2, (slopes.size + c) / 2 + 1
    if convention == "conservative":
        low, high = math.floor(low), math.ceil(high)
    elif convention == "rounded":
        low, high = round(low), round(high - 1) + 1
    ranks = np.arange(1, slopes.size + 1)
    # np.interp also holds ranks beyond the ends to the outermost slopes.
    lower, upper = np.interp([low, high], ranks, slopes)
    return Estimate(slope, float(lower), float(upper))
