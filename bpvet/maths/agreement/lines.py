"""Straight lines between two methods that both err: Deming's, and Passing and Bablok's."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from bpvet.errors import CallError
from bpvet.maths.agreement.comparison import Line, estimated
from bpvet.reasons import reason

Array = NDArray[np.float64]

JACKKNIFE = "approximate (jackknife)"
RANKS = "approximate (ranks)"
#: With fewer animals than this, intervals are never narrower than those of independent points.
FEW_ANIMALS = 20
#: More points than this would need more pairs of slopes than memory holds.
MOST_POINTS = 6000
_MINUS_ONE = 1e-12


def deming(
    first: ArrayLike,
    second: ArrayLike,
    ratio: float = 1.0,
    animal: ArrayLike | None = None,
    level: float = 0.95,
) -> Line:
    """Return Deming's line, with a jackknife that leaves out one animal at a time.

    Parameters
    ----------
    first, second : (n,) float
        Points; the line gives the second from the first.
    ratio : float
        Error variance of the second over that of the first.
    animal : (n,) int, optional
        The animal of each point, coded from 0; each point its own by default.
    level : float
        Probability of the intervals: Student's t with (animals − 2) on jackknife standard
        errors (Linnet 1993). Of few animals with several points each, the animals' jackknife is
        so uncertain itself that the points' own is taken where it is wider.

    Raises
    ------
    CallError
        When the ratio is not above zero.
    """
    if not ratio > 0 or not np.isfinite(ratio):
        raise CallError(f"Deming's line needs a ratio of variances above zero, not {ratio}.")
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    words = reason("lines.deming", ratio=ratio)
    code = np.arange(x.size) if animal is None else np.asarray(animal, dtype=np.int64)
    groups = int(code.max(initial=-1)) + 1
    found = _deming(x, y, ratio) if x.size > 1 else None
    if found is None:
        nothing = estimated(None, reason=reason("lines.apart"))
        return Line(nothing, nothing, x.size, words)
    left = [_deming(x[code != omitted], y[code != omitted], ratio) for omitted in range(groups)]
    if groups < 4 or any(line is None for line in left):
        why = reason("lines.few_animals")
        return Line(estimated(found[0], reason=why), estimated(found[1], reason=why), x.size, words)
    reach = _reach(np.array(left, dtype=float), level)
    if groups < min(FEW_ANIMALS, x.size):
        every = np.arange(x.size)
        points = [
            _deming(x[every != omitted], y[every != omitted], ratio) for omitted in range(x.size)
        ]
        if all(line is not None for line in points):
            reach = np.maximum(reach, _reach(np.array(points, dtype=float), level))
    slope, intercept = (
        estimated(found[i], found[i] - float(reach[i]), found[i] + float(reach[i]), JACKKNIFE)
        for i in (0, 1)
    )
    return Line(slope, intercept, x.size, words)


def _reach(parts: Array, level: float) -> Array:
    """Return the half-widths (2,) of intervals from a line's jackknife values (groups, 2)."""
    groups = len(parts)
    se = np.sqrt((groups - 1) / groups * np.sum((parts - parts.mean(axis=0)) ** 2, axis=0))
    return float(stdtrit(groups - 2, (1 + level) / 2)) * se


def _deming(x: Array, y: Array, ratio: float) -> tuple[float, float] | None:
    """Return slope and intercept, or None where the covariance is zero."""
    dx, dy = x - x.mean(), y - y.mean()
    sxx, syy, sxy = float(dx @ dx), float(dy @ dy), float(dx @ dy)
    if sxy == 0:
        return None
    half = syy - ratio * sxx
    slope = (half + np.sqrt(half**2 + 4 * ratio * sxy**2)) / (2 * sxy)
    return float(slope), float(y.mean() - slope * x.mean())


def passing_bablok(first: ArrayLike, second: ArrayLike, level: float = 0.95) -> Line:
    """Return Passing and Bablok's line (1983).

    The shifted median of the slopes between all pairs of points: those of one point are dropped,
    and so are slopes of exactly −1; the shift is the number of slopes below −1. Points of one
    first value have an infinite slope with the sign of the second's difference. The interval is
    by ranks, and supposes independent points.

    Parameters
    ----------
    first, second : (n,) float
        Points, at most `MOST_POINTS`.
    level : float
        Probability of the intervals.

    Raises
    ------
    CallError
        When there are too many points.
    """
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    n, words = x.size, reason("lines.passing_bablok")
    if n > MOST_POINTS:
        raise CallError(f"Passing and Bablok's line takes at most {MOST_POINTS} points, not {n}.")
    slopes = _slopes(x, y)
    shift, many = int(np.sum(slopes < -1)), slopes.size
    at = [(many - 1) // 2 + shift, many // 2 + shift]
    if not many or at[1] >= many or not np.all(np.isfinite(slopes[at])):
        nothing = estimated(None, reason=reason("lines.few_points"))
        return Line(nothing, nothing, n, words)
    slope = float(slopes[at].mean())
    intercept = float(np.median(y - slope * x))
    reach = float(ndtri((1 + level) / 2)) * np.sqrt(n * (n - 1) * (2 * n + 5) / 18)
    low = round((many - reach) / 2)
    ends = (low + shift - 1, many - low + shift)
    if low < 1 or ends[1] >= many or not np.all(np.isfinite(slopes[list(ends)])):
        why = reason("lines.few_for_ranks")
        return Line(estimated(slope, reason=why), estimated(intercept, reason=why), n, words)
    lower, upper = (float(slopes[end]) for end in ends)
    low_end, high_end = (float(np.median(y - end * x)) for end in (upper, lower))
    return Line(
        estimated(slope, lower, upper, RANKS),
        estimated(intercept, low_end, high_end, RANKS),
        n,
        words,
    )


def _slopes(x: Array, y: Array) -> Array:
    """Return the slopes between all pairs of points, in rising order, as the 1983 rule has them."""
    i, j = np.triu_indices(x.size, 1)
    dx, dy = x[i] - x[j], y[i] - y[j]
    differ = (dx != 0) | (dy != 0)
    dx, dy = dx[differ], dy[differ]
    upright = dx == 0
    slope = np.divide(dy, dx, out=np.copysign(np.inf, dy), where=~upright)
    return np.sort(slope[upright | (np.abs(slope + 1) >= _MINUS_ONE)])
