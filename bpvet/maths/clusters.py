"""Means and slopes of repeated measurements, with standard errors that keep animals together."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, polygamma, psi

from bpvet.maths.agreement.comparison import about, estimated, share_interval, student
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason

Codes = NDArray[np.int64]

CLUSTERED = reason("how.clustered")
BY_ANIMAL = reason("how.effective")
_AS_APART = reason("how.one_animal")
SHRUNKEN = reason("how.shrunken")
_FEW = reason("clusters.few_animals")


def clustered_slope(x: ArrayLike, y: ArrayLike, animal: ArrayLike, level: float = 0.95) -> Estimate:
    """Return the slope of y on x through the origin, with a standard error by animal.

    Both are meant to be centred within sessions or animals beforehand; x of 1 gives a mean. The
    variance is the sandwich over animals times G/(G − 1), the interval Student's t with G − 1.

    Parameters
    ----------
    x, y : (n,) float
    animal : (n,) int
        The animal of each.
    level : float
        Probability of the interval.
    """
    a, b = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    size = float(a @ a)
    if size == 0:
        return estimated(None, reason=reason("clusters.nothing"))
    slope = float(a @ b / size)
    # Animals without any spread of x say nothing, and lend no degrees of freedom.
    tells = np.abs(a) > 1e-9 * np.abs(a).max()
    a, b = a[tells], b[tells]
    _, code = np.unique(np.asarray(animal)[tells], return_inverse=True)
    groups = int(code.max()) + 1
    if groups < 2:
        return estimated(slope, reason=_FEW)
    push = np.bincount(code, a * (b - slope * a))
    se = float(np.sqrt(push @ push * groups / (groups - 1)) / size)
    return about(slope, se, groups - 1, level, CLUSTERED)


def clustered_share(hit: ArrayLike, animal: ArrayLike, level: float = 0.95) -> Estimate:
    """Return a share with an interval that keeps the animals' own together.

    Clopper and Pearson's interval on the effective count p(1 − p)/variance, the variance by animal
    as in `clustered_slope`, less what its few degrees of freedom cost (Korn & Graubard 1998); never
    more than the count itself. Where all or none are so, that variance is not known and the animals
    are counted instead. One of each animal: the exact interval.

    Parameters
    ----------
    hit : (n,) bool
        Whether each is so.
    animal : (n,)
        The animal of each.
    level : float
        Probability of the interval.
    """
    so = np.asarray(hit, dtype=bool)
    n, count = so.size, int(so.sum())
    _, code = np.unique(np.asarray(animal), return_inverse=True)
    groups = int(code.max(initial=-1)) + 1
    exact = share_interval(count, n, level)
    if groups == n:
        return exact
    if groups < 2:
        return estimated(exact.estimate, exact.lower, exact.upper, _AS_APART)
    p = count / n
    effective = float(groups)
    if 0 < count < n:
        push = np.bincount(code, so - p)
        variance = float(push @ push) * groups / (groups - 1) / n**2
        cost = (student(n - 1, level) / student(groups - 1, level)) ** 2
        effective = min(float(n), cost * p * (1 - p) / variance if variance > 0 else float(n))
    x, tail = p * effective, (1 - level) / 2
    low = float(betaincinv(x, effective - x + 1, tail)) if count else 0.0
    high = float(betaincinv(x + 1, effective - x, 1 - tail)) if count < n else 1.0
    return estimated(p, low, high, BY_ANIMAL)


def centred(values: ArrayLike, group: ArrayLike) -> NDArray[np.float64]:
    """Return values less the mean of their group."""
    y = np.asarray(values, dtype=float)
    _, code = np.unique(np.asarray(group), return_inverse=True)
    if not y.size:
        return y
    return y - (np.bincount(code, y) / np.bincount(code))[code]


def shrunken_sds(ss: ArrayLike, df: ArrayLike, level: float = 0.95) -> tuple[list[Estimate], float]:
    """Return SDs drawn towards a common one by how little is known of each, and how they differ.

    Log variances are taken as normal about a common mean: each known with variance
    trigamma(df/2), differing between groups by τ² (DerSimonian & Laird's moment estimate).

    Parameters
    ----------
    ss, df : (n,) float
        Sum of squares and degrees of freedom of each group; df above zero.
    level : float
        Probability of the intervals.

    Returns
    -------
    sds : list of Estimate
        In the unit of the values.
    tau : float
        SD between groups of the log SD; 0: no more difference than chance gives.
    """
    s, d = np.asarray(ss, dtype=float), np.asarray(df, dtype=float)
    known = np.asarray(polygamma(1, d / 2), dtype=float)
    # The least scatter that is told apart from none keeps the logarithm finite.
    log = np.log(np.maximum(s / d, 1e-6)) - (psi(d / 2) - np.log(d / 2))
    weight = 1 / known
    mean = float(weight @ log / weight.sum())
    uneven = float(weight @ (log - mean) ** 2) - (log.size - 1)
    scale = float(weight.sum() - weight @ weight / weight.sum())
    between = max(0.0, uneven / scale) if scale > 0 else 0.0
    weight = 1 / (known + between)
    mean = float(weight @ log / weight.sum())
    pull = between / (known + between)
    centre = mean + pull * (log - mean)
    spread = np.sqrt(known * pull + (1 - pull) ** 2 / weight.sum())
    reach = student(np.inf, level) * spread
    ends = np.exp(np.stack([centre, centre - reach, centre + reach], axis=1) / 2)
    sds = [estimated(float(e), float(low), float(high), SHRUNKEN) for e, low, high in ends]
    return sds, float(np.sqrt(between)) / 2
