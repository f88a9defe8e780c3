"""Stacks of very small matrices, and products of tall arrays.

A stack (n, r, c) lies in memory matrix entry by matrix entry, so that every step is one pass over
a long vector; that is many times faster than one small product after another.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Codes = NDArray[np.int64]

# Products of blocks this small stay in one thread of any BLAS, so that the digits do not depend
# on the number of threads.
FLOPS_IN_ONE_THREAD = 200_000


def small_inverse(b: Array) -> tuple[Array, Array]:
    """Return inverses (N, q, q) and log-determinants (N,) of I + positive semidefinite, q ≤ 3."""
    q = b.shape[-1]
    if q == 1:
        return 1.0 / b, np.log(b[:, 0, 0])
    if q == 2:
        determinant = b[:, 0, 0] * b[:, 1, 1] - b[:, 0, 1] * b[:, 1, 0]
        inverse = np.empty((2, 2, len(b))).transpose(2, 0, 1)
        inverse[:, 0, 0] = b[:, 1, 1] / determinant
        inverse[:, 1, 1] = b[:, 0, 0] / determinant
        inverse[:, 0, 1] = inverse[:, 1, 0] = -b[:, 0, 1] / determinant
        return inverse, np.log(determinant)
    inverse = np.linalg.inv(b).astype(float, copy=False)
    logarithm: Array = np.linalg.slogdet(b)[1]
    return inverse, logarithm


def times(a: Array, b: Array) -> Array:
    """Return a @ b for stacks of very small matrices: (n, r, s), (n or 1, s, t) to (n, r, t)."""
    if len(b) == 1 and len(a) > 1:
        rows = [(b[0].T @ a[:, i].T)[None] for i in range(a.shape[1])]
        product = rows[0] if len(rows) == 1 else np.concatenate(rows)
        return product.transpose(2, 0, 1)
    result: Array = a[:, :, :1] * b[:, :1]
    for inner in range(1, a.shape[2]):
        result += a[:, :, inner : inner + 1] * b[:, inner : inner + 1]
    return result


def between(left: Array, middle: Array, right: Array) -> Array:
    """Return left @ middle @ right for one left, many middles and one right, all q × q."""
    q = len(left)
    if q == 1:
        return (left * right) * middle
    pair = np.einsum("ij,kl->iljk", left, right).reshape(q * q, q * q)
    flat: Array = pair @ middle.transpose(1, 2, 0).reshape(q * q, -1)
    return flat.reshape(q, q, -1).transpose(2, 0, 1)


def summed_products(a: Array, b: Array) -> Array:
    """Return aᵀ b for tall arrays, in small blocks of rows added in order.

    Parameters
    ----------
    a : (n, r) float
    b : (n, c) float

    Returns
    -------
    (r, c) float
        The same digits at every number of threads.

    Examples
    --------
    >>> summed_products(np.ones((3, 1)), np.array([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]))
    array([[ 9., 12.]])
    """
    if np.may_share_memory(a, b) and b.shape[1] > 1:
        # BLAS has a function of its own for a matrix with itself: three times slower at this shape.
        half = b.shape[1] // 2
        return np.hstack([_summed_products(a, b[:, :half]), _summed_products(a, b[:, half:])])
    return _summed_products(a, b)


def _summed_products(a: Array, b: Array) -> Array:
    n, r = a.shape
    c = b.shape[1]
    rows = int(max(1, min(4096, FLOPS_IN_ONE_THREAD // (r * c))))
    in_blocks = n // rows * rows
    if a.flags.f_contiguous and b.flags.f_contiguous:
        left = a.T[:, :in_blocks].reshape(r, -1, rows).transpose(1, 0, 2)
        right = b.T[:, :in_blocks].reshape(c, -1, rows).transpose(1, 2, 0)
    else:
        left = a[:in_blocks].reshape(-1, rows, r).transpose(0, 2, 1)
        right = b[:in_blocks].reshape(-1, rows, c)
    result: Array = (left @ right).sum(axis=0)
    if in_blocks < n:
        result = result + a[in_blocks:].T @ b[in_blocks:]
    return result


@lru_cache(maxsize=16)
def lower_triangle(q: int) -> tuple[Codes, Codes]:
    """Return the rows and the columns of a lower triangle's entries, row by row.

    Examples
    --------
    >>> lower_triangle(2)
    (array([0, 1, 1]), array([0, 0, 1]))
    """
    rows, columns = np.tril_indices(q)
    rows.flags.writeable = columns.flags.writeable = False
    return rows, columns
