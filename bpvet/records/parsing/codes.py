"""Rows told apart by several columns at once: one whole number each, and which stand there twice.

Sorting numbers is several times faster than hashing them when there are millions, so columns are
packed into one number wherever their spans allow.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.int64]

#: Rows that are looked at at once, so that they stay in the processor's cache.
_ROWS = 1 << 15

_MOST = 2**62
#: So few codes that a look at the last digits of others tells nearly all of these from them.
_FEW, _DIGITS = 4096, 2**16 - 1
#: A span from which it is worth looking for a common step, such as the minute.
_WIDE = 2**32


def as_one(keys: Iterable[NDArray[np.integer]], n: int) -> Codes:
    """Return one code for each combination of keys, in the order of the keys.

    Parameters
    ----------
    keys : arrays of int (n,)
        The first counts most in the order; each is asked for when its turn comes.
    n : int
        Rows.

    Returns
    -------
    array of int (n,)
        Equal where all keys are equal; not without gaps.

    Examples
    --------
    >>> as_one([np.array([7, 7, 5]), np.array([1, 0, 9])], 3).argsort().tolist()
    [2, 1, 0]
    """
    code = np.zeros(n, dtype=np.int64)
    if n == 0:
        return code
    many = 1
    for key in keys:
        low, high = int(key.min()), int(key.max())
        if high == low:
            continue
        if high - low >= _MOST:
            key, low, high = _ranks(key)
        elif high - low >= _WIDE:
            key = key - low
            step = int(np.gcd.reduce(key))
            key, low, high = key // step, 0, (high - low) // step
        size = high - low + 1
        if many * size >= _MOST:
            code, _, last = _ranks(code)
            many = last + 1
        if many * size >= _MOST:
            key, low, high = _ranks(key)
            size = high + 1
        code *= size
        code += key
        code -= low
        many *= size
    return code


def _ranks(key: NDArray[np.integer]) -> tuple[Codes, int, int]:
    """Return each number's place among the different ones in order, and the ends of these."""
    found, position = np.unique(key, return_inverse=True)
    return position.astype(np.int64, copy=False), 0, len(found) - 1


def repeated(code: Codes) -> NDArray[np.bool_]:
    """Return which rows (n,) bear a code that another row bears too.

    Examples
    --------
    >>> repeated(np.array([4, 9, 4])).tolist()
    [True, False, True]
    """
    if not len(code):
        return np.zeros(0, dtype=bool)
    low = int(code.min())
    # Numbers of four bytes are sorted in little more than half the time.
    narrow = int(code.max()) - low < 1 << 32
    ordered = np.sort((code - low).astype(np.uint32) if narrow else code)
    some = ordered[1:][ordered[1:] == ordered[:-1]]
    if not len(some):
        return np.zeros(len(code), dtype=bool)
    return among(code, some.astype(np.int64) + low if narrow else some)


def among(code: Codes, some: Codes) -> NDArray[np.bool_]:
    """Return which codes (n,) are among some others, of which there is at least one, sorted."""
    if len(some) <= _FEW < len(code):
        # Most codes are told from these few by their last digits, without a search.
        likely = np.zeros(_DIGITS + 1, dtype=bool)
        likely[some & _DIGITS] = True
        rows = np.flatnonzero(likely[code & _DIGITS])
        mask = np.zeros(len(code), dtype=bool)
        mask[rows] = (
            some[np.minimum(np.searchsorted(some, code[rows]), len(some) - 1)] == code[rows]
        )
        return mask
    position = np.minimum(np.searchsorted(some, code), len(some) - 1)
    return some[position] == code


def firsts(code: NDArray[np.integer], many: int) -> Codes:
    """Return the first row of each code from 0 to `many` − 1, −1 where there is none.

    Examples
    --------
    >>> firsts(np.array([1, 0, 1, 0]), 3).tolist()
    [1, 0, -1]
    """
    first = np.full(many, -1, dtype=np.int64)
    # Few codes are mostly all among the first rows.
    for rows in (code[:_ROWS], code):
        # Backwards, so that the first row of each code is written last.
        first[rows[::-1]] = np.arange(len(rows) - 1, -1, -1)
        if (first >= 0).all():
            break
    return first


def order_of(place: NDArray[np.integer], many: int) -> Codes:
    """Return the order (k,) of places from 0 to `many` − 1 that all differ, found without sorting.

    Examples
    --------
    >>> order_of(np.array([7, 2, 4]), 9).tolist()
    [1, 2, 0]
    """
    kind: type[np.signedinteger[Any]] = np.int32 if len(place) < 1 << 31 else np.int64
    at = np.full(many, -1, dtype=kind)
    at[place] = np.arange(len(place))
    return at[at >= 0].astype(np.int64)


def met_in_order(code: NDArray[np.integer], many: int) -> bool:
    """Return whether codes from 0 to `many` − 1 are all met, the lower before the higher.

    Examples
    --------
    >>> met_in_order(np.array([0, 0, 1, 0, 2]), 3), met_in_order(np.array([1, 0]), 2)
    (True, False)
    """
    met = 0
    for at in range(0, len(code), _ROWS):
        block = code[at : at + _ROWS]
        new = block[block >= met]
        if len(new):
            found, first = np.unique(new, return_index=True)
            if found[-1] != met + len(found) - 1 or (np.diff(first) < 0).any():
                return False
            met += len(found)
    return met == many


def end_to_end_rows(start: Codes, length: Codes) -> Codes:
    """Return the rows of spans of rows, one span after another.

    Examples
    --------
    >>> end_to_end_rows(np.array([5, 0]), np.array([2, 3])).tolist()
    [5, 6, 0, 1, 2]
    """
    before = np.cumsum(length) - length
    return np.repeat(start - before, length) + np.arange(int(length.sum()))
