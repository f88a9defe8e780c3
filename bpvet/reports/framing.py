"""Data frames as a notebook shows them: digits that mean something, and no bare NaN."""

from __future__ import annotations

import datetime
from typing import Any

import numpy as np
import pandas as pd

from bpvet.printing import number
from bpvet.reports.markup import Shown, tabled
from bpvet.wording.en.pages.shapes import NONE, Column, Table
from bpvet.wording.en.phrases import capital, counted

#: Rows that are shown of a long frame, half of them from its end.
MOST_ROWS = 40


def framed(frame: pd.DataFrame, caption: str = "") -> Shown:
    """Return a data frame as a table; the frame itself keeps every digit.

    Parameters
    ----------
    frame : DataFrame
    caption : str
        Above the table; by default how many rows and columns it has.

    Examples
    --------
    >>> framed(pd.DataFrame({"sd": [6.296783, float("nan")]}), "Scatter")
    Scatter
    sd
    6.30
    –
    """
    shown = frame if isinstance(frame.index, pd.RangeIndex) else frame.reset_index()
    columns = [
        Column(str(name), pd.api.types.is_numeric_dtype(shown[name])) for name in shown.columns
    ]
    half, left = MOST_ROWS // 2, max(0, len(shown) - MOST_ROWS)
    rows = pd.concat([shown.iloc[:half], shown.iloc[-half:]]) if left else shown
    cells = [tuple(map(_cell, row)) for row in rows.itertuples(index=False, name=None)]
    if left:
        cells.insert(half, (f"… {left} rows more", *[""] * (len(columns) - 1)))
    size = f"{counted(len(frame), 'row')}, {counted(len(frame.columns), 'column')}"
    title = caption or capital(size)
    heads = "  ".join(column.head for column in columns)
    html = tabled(Table(title, columns, cells)).html
    return Shown(html, "\n".join((title, heads, *("  ".join(row) for row in cells))))


def _cell(value: Any) -> str:
    """Return a value with the digits that it deserves; a missing one as a dash."""
    if value is None or value is pd.NaT:
        return NONE
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, datetime.datetime | np.datetime64):
        return NONE if pd.isna(value) else str(pd.Timestamp(value))[:10]
    if isinstance(value, float | np.floating):
        if not np.isfinite(value):
            return NONE
        size = abs(float(value))
        return number(
            float(value), 0 if size >= 1000 else 1 if size >= 10 else 2 if size >= 1 else 3
        )
    return str(value)
