"""Rows by whose they are: what stands in each group, by codes and without a loop over rows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[np.integer]
Days = NDArray[np.datetime64]


def newest_days(code: Codes, day: Days, many: int) -> Days:
    """Return the newest day of each code from 0 to `many` − 1, NaT where there is none.

    Examples
    --------
    >>> days = np.array(["2026-03-01", "2026-03-05", "NaT"], dtype="datetime64[D]")
    >>> newest_days(np.array([1, 1, 0]), days, 2).astype(str).tolist()
    ['NaT', '2026-03-05']
    """
    # NaT is the least of all whole numbers.
    newest = np.full(many, np.iinfo(np.int64).min)
    np.maximum.at(newest, code, day.astype("datetime64[D]").astype(np.int64))
    return newest.astype("datetime64[D]")


def first_rows(code: Codes) -> NDArray[np.int64]:
    """Return the first row of each code, in the order of the rows.

    Examples
    --------
    >>> first_rows(np.array([7, 2, 7, 5])).tolist()
    [0, 1, 3]
    """
    return np.sort(np.unique(code, return_index=True)[1]).astype(np.int64)


def starts(code: Codes) -> NDArray[np.int64]:
    """Return where each run of equal codes, none of them below 0, begins.

    Examples
    --------
    >>> starts(np.array([4, 4, 1, 4])).tolist()
    [0, 2, 3]
    """
    return np.flatnonzero(np.diff(code, prepend=-1))


def ranks(texts: Sequence[str]) -> NDArray[np.int64]:
    """Return the place of each text when they are in order.

    Examples
    --------
    >>> ranks(["b", "c", "a"]).tolist()
    [1, 2, 0]
    """
    found = np.empty(len(texts), dtype=np.int64)
    found[sorted(range(len(texts)), key=texts.__getitem__)] = np.arange(len(texts))
    return found
