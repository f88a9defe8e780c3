"""Limits of agreement with replicates by Bland and Altman's own sums of squares: a companion."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bpvet.errors import CallError
from bpvet.maths.comparison import LIMIT


def grouped_limits(
    first: ArrayLike, first_animal: ArrayLike, second: ArrayLike, second_animal: ArrayLike
) -> tuple[float, float, float]:
    """Return bias and limits with replicates by Bland & Altman's own sums (1999, section 5).

    The variance of animals' mean differences, plus (1 − mean of 1/m) of each method's variance
    within animals. It need not stay above what the components allow: a companion.

    Parameters
    ----------
    first, second : float
        Readings by each method.
    first_animal, second_animal : int
        The animal of each, coded 0 … n − 1; every animal has readings by both.

    Raises
    ------
    CallError
        When an animal has no reading by one of the methods.
    """
    means, variance = [], 0.0
    for values, codes in ((first, first_animal), (second, second_animal)):
        y, animal = np.asarray(values, dtype=float), np.asarray(codes, dtype=np.int64)
        count = np.bincount(animal)
        if not np.all(count):
            raise CallError("each animal needs a reading by both methods.")
        mean = np.bincount(animal, y) / count
        df = y.size - count.size
        if df:
            within = float(np.sum((y - mean[animal]) ** 2)) / df
            variance += (1 - float(np.mean(1 / count))) * within
        means.append(mean)
    d = means[1] - means[0]
    sd = float(np.sqrt(d.var(ddof=1) + variance))
    return float(d.mean()), float(d.mean()) - LIMIT * sd, float(d.mean()) + LIMIT * sd


def paired_limits(difference: ArrayLike, animal: ArrayLike) -> tuple[float, float, float]:
    """Return bias and limits of pairs whose true value changes (Bland & Altman 2007, section 3).

    One-way analysis of variance of the differences: between-animal variance (never below zero)
    plus that within; the bias is the mean of all pairs.

    Parameters
    ----------
    difference : (n,) float
        Second minus first, one a pair.
    animal : (n,) int
        Animal of each pair, coded from 0.
    """
    d, code = np.asarray(difference, dtype=float), np.asarray(animal, dtype=np.int64)
    count = np.bincount(code)
    mean = np.bincount(code, d) / count
    n, groups = d.size, count.size
    within = float(np.sum((d - mean[code]) ** 2)) / (n - groups) if n > groups else 0.0
    between = float(np.sum(count * (mean - d.mean()) ** 2)) / (groups - 1)
    divisor = (n**2 - float(np.sum(count**2))) / ((groups - 1) * n)
    sd = float(np.sqrt(max((between - within) / divisor, 0.0) + within))
    return float(d.mean()), float(d.mean()) - LIMIT * sd, float(d.mean()) + LIMIT * sd
