"""Placed readings, session by session in order of taking, each column made when it is asked for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.records.parsing.columns import each


class Part:
    """Some rows of a frame in another order, without a copy of all of its columns.

    Parameters
    ----------
    frame : DataFrame
        Readings with their `fate`.
    row : (m,) array of int
        Positions in it.
    """

    def __init__(self, frame: pd.DataFrame, row: NDArray[np.int64]) -> None:
        self._frame, self._row = frame, row
        self._kept: dict[str, pd.Series[Any]] = {}
        self._as_they_stand = len(row) == len(frame) and bool((np.diff(row) == 1).all())

    def __len__(self) -> int:
        return len(self._row)

    def __getitem__(self, name: str) -> pd.Series[Any]:
        """Return one column (m,), counted from 0."""
        if name in self._kept:
            return self._kept[name]
        column: pd.Series[Any] = self._frame[name]
        if self._as_they_stand or _all_alike(column):
            part = column.iloc[: len(self._row)]
        else:
            part = pd.Series(column.array.take(self._row), copy=False)
        # Most are asked for again.
        self._kept[name] = part
        return part


def bears(column: pd.Series[Any], *words: str) -> NDArray[np.bool_]:
    """Return which rows (n,) of a column of categories bear one of some words."""
    found = np.zeros(len(column.cat.categories), dtype=bool)
    for word in words:
        found |= np.asarray(column.cat.categories == word, dtype=bool)
    if not found.any():
        return np.zeros(len(column), dtype=bool)
    return each(found, column.cat.codes.to_numpy())


def _all_alike(column: pd.Series[Any]) -> bool:
    """Whether a column holds one value throughout, as one that no file has: in any order."""
    array = column.array
    values = array.codes if isinstance(array, pd.Categorical) else column.to_numpy()
    if not len(values) or values.dtype.kind not in "fiub":
        return False
    return bool(np.isnan(values).all() if values[0] != values[0] else (values == values[0]).all())
