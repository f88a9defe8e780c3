"""Limits of agreement with replicates by Bland and Altman's own sums of squares: a companion."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from bpvet.maths.agreement.comparison import LIMIT
from bpvet.maths.agreement.restricted import Cells


def cell_limits(cells: Cells) -> tuple[float, float, float]:
    """Return bias and limits with replicates by Bland & Altman's own sums (1999, section 5).

    The variance of animals' mean differences, plus (1 − mean of 1/m) of each method's variance
    within animals. It need not stay above what the components allow.

    Parameters
    ----------
    cells : Cells
        One cell by each method of every animal.
    """
    _, animal = np.unique(cells.animal, return_inverse=True)
    means, variance = [], 0.0
    for m in (0, 1):
        here = cells.method == m
        order = np.argsort(animal[here])
        means.append(cells.mean[here][order])
        df = float(cells.df[here].sum())
        if df:
            within = float(np.nansum(cells.ss[here])) / df
            variance += (1 - float(np.mean(1 / cells.count[here]))) * within
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
