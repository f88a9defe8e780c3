"""Each animal's own difference between two methods, or two conditions: best linear predictions."""

from __future__ import annotations

from typing import Any

import numpy as np

from bpvet.maths.agreement.components import Components
from bpvet.maths.agreement.restricted import Array, Cells, Codes, blocks_of


def animal_differences(cells: Cells, fit: Components) -> tuple[Codes, Array, Array]:
    """Return each animal's own difference, second minus first, drawn towards the mean one.

    The best linear unbiased prediction at the estimated variances (Henderson 1975).

    Parameters
    ----------
    cells : Cells
        The data of the fit.
    fit : Components
        The fit.

    Returns
    -------
    animal : (n,) int
        Codes of the animals.
    difference : (n,) float
        Predictions, in the unit.
    variance : (n,) float
        Their error variances, which hold the uncertainty of the mean difference too.
    """
    floor = np.where(fit.variance > 0, fit.variance, 1e-12 * fit.variance.max())
    signs = {"animal × first": -1.0, "animal × second": 1.0}
    found: list[tuple[int, float, float]] = []
    codes, index = np.unique(cells.animal, return_inverse=True)
    contrast = np.array([-1.0, 1.0])
    size = np.bincount(index)
    rows = [np.flatnonzero(size == m) for m in np.unique(size)]
    for block, animals in zip(blocks_of(cells, fit.terms), rows, strict=True):
        inverse: Any = np.linalg.inv(np.tensordot(floor, block.terms, axes=1))
        x, y = block.data[..., :2], block.data[..., 2]
        first, second = (sign * fit.of(term) for term, sign in signs.items())
        link = x[..., 0] * first + x[..., 1] * second
        pulled = np.einsum("gm,gmn->gn", link, inverse)
        residual = y - x @ fit.beta
        prediction = contrast @ fit.beta + np.sum(pulled * residual, axis=1)
        rest = contrast - np.einsum("gn,gnp->gp", pulled, x)
        known = np.sum(pulled * link, axis=1)
        spread = fit.of("animal × first") + fit.of("animal × second") - known
        spread = spread + np.einsum("gp,pq,gq->g", rest, fit.beta_covariance, rest)
        found += list(zip(animals.tolist(), prediction.tolist(), spread.tolist(), strict=True))
    found.sort()
    order, difference, variance = zip(*found, strict=True)
    return codes[list(order)], np.array(difference), np.maximum(np.array(variance), 0.0)
