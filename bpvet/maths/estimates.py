"""What intervals are made of, and values looked at before they are used."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bpvet.errors import CallError
from bpvet.maths.special import gammainccinv, gammaincinv, gammaln

Array = NDArray[np.float64]


def vector(values: ArrayLike) -> Array:
    """Return `values` as a vector of finite floats; CallError otherwise."""
    try:
        y = np.asarray(values, dtype=float)
    except (TypeError, ValueError):
        raise CallError("values must be numbers.") from None
    if y.ndim != 1 or not np.all(np.isfinite(y)):
        raise CallError("values must be one row of finite numbers.")
    return y


def pair(x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
    """Return two vectors of finite floats of one length; CallError otherwise."""
    first, second = vector(x), vector(y)
    if first.size != second.size:
        raise CallError(f"there are {first.size} and {second.size} numbers: one each is needed.")
    return first, second


def checked(level: float) -> float:
    """Return `level` if it is a probability strictly between 0 and 1; CallError otherwise."""
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    return level


def chi_square_tails(df: float, level: float) -> tuple[float, float]:
    """Return the upper and lower point of chi-square, each cutting off half of 1 − `level`."""
    tail = (1 - checked(level)) / 2
    return 2 * float(gammainccinv(df / 2, tail)), 2 * float(gammaincinv(df / 2, tail))


def squared_mean_of_chi(df: float) -> float:
    """Return the squared mean of a chi variable of `df` degrees of freedom, over df."""
    return float(np.exp(2 * (gammaln((df + 1) / 2) - gammaln(df / 2)))) * 2 / df


def chi_like(relative_variance: float) -> float:
    """Return the degrees of freedom of the chi variable with this relative variance."""
    return _root(lambda df: 1 / squared_mean_of_chi(df) - 1 - relative_variance, 0.5, 1e7)


def _root(falling: Callable[[float], float], low: float, high: float) -> float:
    """Root of a falling function by halving the logarithm of the bracket."""
    for _ in range(80):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if falling(middle) > 0 else (low, middle)
    return math.sqrt(low * high)
