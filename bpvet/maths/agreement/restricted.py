"""The restricted likelihood of two methods' readings, animal by animal in small dense blocks.

Readings that share animal, visit and method are exchangeable, so they enter as their mean and
sum of squares, which loses nothing. Value, gradient and both information matrices are exact
(Patterson & Thompson 1971; average information: Gilmour, Thompson & Cullis 1995).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import dataclass

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

#: The methods in the names of terms.
WHICH = ("first", "second")

_LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True, eq=False)
class Cells:
    """Readings that share animal, visit and method (and, if linked, their pair), summed up.

    Parameters
    ----------
    mean : (n,) float
        Mean of the cell's readings, in their unit.
    count : (n,) float
        How many they are.
    ss : (n,) float
        Their sum of squares about the mean; 0 for one reading; NaN where it is not known.
    animal, method, visit, pair : (n,) int
        Codes; `method` is 0 or 1; visits and pairs are coded across animals, without overlap.
    """

    mean: Array
    count: Array
    ss: Array
    animal: Codes
    method: Codes
    visit: Codes
    pair: Codes

    @property
    def df(self) -> Array:
        """Degrees of freedom of each sum of squares, (n,); 0 where it is not known."""
        return np.where(np.isnan(self.ss), 0.0, self.count - 1)


@dataclass(frozen=True, eq=False)
class Block:
    """Animals with as many cells: data (g, m, 3), columns of X and y; terms (k, g, m, m)."""

    data: Array
    terms: Array


@dataclass(frozen=True, eq=False)
class Criterion:
    """The restricted log-likelihood at given variances, with all that follows from it.

    Parameters
    ----------
    value : float
        Restricted log-likelihood.
    score : (k,) float
        Its gradient in the variances.
    expected, average : (k, k) float
        Expected and average information; the observed is twice the average less the expected.
    beta, beta_covariance, beta_slopes
        As in `Components`.
    """

    value: float
    score: Array
    expected: Array
    average: Array
    beta: Array
    beta_covariance: Array
    beta_slopes: Array


def criterion(
    blocks: tuple[Block, ...], within: tuple[Array, Array, float], variance: Array
) -> Criterion:
    """Return the restricted log-likelihood and its derivatives.

    Parameters
    ----------
    blocks : tuple
        The animals, those with as many cells together.
    within : (df, ss, constant)
        Sums of squares inside cells, by term.
    variance : (k,) float
        The variances.
    """
    k, n = variance.size, 0
    log_det, trace, traces = 0.0, np.zeros(k), np.zeros((k, k))
    zeroth, first, second = np.zeros((3, 3)), np.zeros((k, 3, 3)), np.zeros((k, k, 3, 3))
    for block in blocks:
        v = np.tensordot(variance, block.terms, axes=1)
        log_det += float(np.linalg.slogdet(v)[1].sum())
        inverse = np.linalg.inv(v)
        weighted = inverse @ block.data
        spread = inverse @ block.terms
        pushed = block.terms @ weighted
        trace += np.trace(spread, axis1=2, axis2=3).sum(axis=1)
        traces += spread.reshape(k, -1) @ np.swapaxes(spread, 2, 3).reshape(k, -1).T
        zeroth += np.tensordot(block.data, weighted, axes=([0, 1], [0, 1]))
        first += _summed(weighted[None], pushed)
        second += np.stack([_summed(column[None], inverse @ pushed) for column in pushed])
        n += block.data.shape[0] * block.data.shape[1]
    c: Any = np.linalg.inv(zeroth[:2, :2])
    beta = c @ zeroth[:2, 2]
    r = np.array([-beta[0], -beta[1], 1.0])
    df, ss, constant = within
    value = -(n - 2) * _LOG_2PI - log_det + np.linalg.slogdet(c)[1] - r @ zeroth @ r
    inside = np.where(df > 0, variance, 1.0)
    value -= float(np.sum(df * (_LOG_2PI + np.log(inside)) + ss / inside))
    x = first[:, :2, :2]
    score = -trace + np.trace(c @ x, axis1=1, axis2=2) + (first @ r) @ r
    cx = c @ x
    expected = traces - 2 * np.trace(c @ second[:, :, :2, :2], axis1=2, axis2=3)
    expected += np.tensordot(cx, np.swapaxes(cx, 1, 2), axes=([1, 2], [1, 2]))
    xr = (first @ r)[:, :2]
    average = (second @ r) @ r - xr @ c @ xr.T
    score += ss / inside**2 - df / inside
    expected += np.diag(df / inside**2)
    # The observed information of the inner part is ss/θ³ − df/2θ²; the average, half of it more.
    average += np.diag(ss / inside**3)
    return Criterion(
        float(value) / 2 + constant, score / 2, expected / 2, average / 2, beta, c, c @ x @ c
    )


def _summed(left: Array, right: Array) -> Array:
    """Return Σ over animals of leftᵀ right, (k, 3, 3)."""
    return (np.swapaxes(left, 2, 3) @ right).sum(axis=1)


def blocks_of(cells: Cells, terms: tuple[str, ...]) -> tuple[Block, ...]:
    """Return the animals as blocks, those with as many cells together."""
    _, animal = np.unique(cells.animal, return_inverse=True)
    order = np.argsort(animal, kind="stable")
    size = np.bincount(animal)
    start = np.cumsum(size) - size
    blocks = []
    for m in np.unique(size):
        rows = order[start[size == m][:, None] + np.arange(m)]
        blocks.append(_block_of(cells, rows, terms))
    return tuple(blocks)


def _block_of(cells: Cells, rows: Codes, terms: tuple[str, ...]) -> Block:
    method = cells.method[rows]
    both = [method == 0, method == 1]
    data = np.stack([both[0], both[1], cells.mean[rows]], axis=-1).astype(float)
    one_visit = cells.visit[rows][:, :, None] == cells.visit[rows][:, None, :]
    one_pair = cells.pair[rows][:, :, None] == cells.pair[rows][:, None, :]
    single = np.eye(rows.shape[1]) / cells.count[rows][:, :, None]
    parts = {"animal": np.ones_like(single), "visit": one_visit, "pair": one_pair}
    for m, name in enumerate(WHICH):
        same = both[m][:, :, None] & both[m][:, None, :]
        parts[f"animal × {name}"] = same
        parts[f"visit × {name}"] = same & one_visit
        parts[f"reading by {name}"] = same * single
    return Block(data, np.stack([parts[term] for term in terms]).astype(float))


def within_of(cells: Cells, terms: tuple[str, ...]) -> tuple[Array, Array, float]:
    """Return df and sum of squares inside cells by term (k,), and the constant Σ −log(k)/2."""
    df, ss = np.zeros(len(terms)), np.zeros(len(terms))
    for m, name in enumerate(WHICH):
        here, at = cells.method == m, terms.index(f"reading by {name}")
        df[at], ss[at] = cells.df[here].sum(), np.nansum(cells.ss[here])
    known = ~np.isnan(cells.ss)
    return df, ss, -float(np.log(cells.count[known]).sum()) / 2
