"""Data frames to cells as text, and values to the data frames that records hand out."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.cells import TEXT, RawSheet, cell_text, falsehood, without_midnight
from bpvet.records.checked_table import CheckedTable
from bpvet.records.parsing.columns import uncoded
from bpvet.records.parsing.numbers import BOUND_WORDS
from bpvet.records.parsing.values import Values
from bpvet.records.tables import ADDED, column_names

#: Order of the readings frame: place, key, numbers and their bounds, circumstances, fate.
READINGS_FRAME = (
    *("file", "line", "animal", "taken_at", "timed", "date", "method"),
    *READING_QUANTITIES,
    "counted_pulse",
    *(f"{quantity}_bound" for quantity in READING_QUANTITIES),
    *("summary_n", "summary_sd", "session", "reading", "excluded", "setting", "state"),
    *("condition", "site", "side", "posture", "demeanour", "operator", "instrument", "note"),
    "entry",
    *("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm"),
    *("set_aside", "duplicate", "future"),
)

#: Rows that are compared as Python's texts.
_FEW = 1000


def sheet_of(table: str, frame: object) -> RawSheet:
    """Return a data frame's cells as text, as if it had been a file named like its table.

    Midnight in a column of date-times is a date without a time of day. Missing is blank.

    Parameters
    ----------
    table : str
        Name of the table.
    frame : DataFrame
        It is not altered; its index is not used.

    Raises
    ------
    CallError
        It is not a data frame, or its columns have several levels.
    """
    if not isinstance(frame, pd.DataFrame):
        raise CallError(f"{table} is a data frame, not {type(frame).__name__}.")
    if frame.columns.nlevels > 1:
        raise CallError(f"The columns of {table} have several levels; flatten them first.")
    header = tuple(str(name) for name in frame.columns)
    columns = tuple(
        _text_of(frame.iloc[:, i], false=falsehood(header[i])) for i in range(len(header))
    )
    lines = np.arange(1, len(frame) + 1)
    return RawSheet(
        table, table, header, columns, lines, separator="none", encoding="none", header_line=None
    )


def frame_of(checked: CheckedTable, values: Values) -> pd.DataFrame:
    """Return a table's values as a data frame, one row for each row of the input."""
    files = pa.array(checked.files, TEXT)
    columns: dict[str, Any] = {
        "file": files.take(pa.array(checked.file)),
        "line": checked.line.astype(np.int64),
        **values,
        **{name: checked.cells(name) for name in checked.unknown},
        "set_aside": checked.reasons(),
    }
    if checked.table == "readings":
        order = [*READINGS_FRAME, *checked.unknown]
    else:
        order = [
            *column_names(checked.table),
            *checked.unknown,
            *ADDED[checked.table],
        ]
    for name in [name for name in columns if name.endswith("_bound")]:
        columns[name] = pa.array(BOUND_WORDS, TEXT).take(pa.array(columns[name]))
    table = pa.table({name: _arrow(columns[name]) for name in order})
    return table.to_pandas()


def cells_are(frame: pd.DataFrame, name: str, text: str) -> NDArray[np.bool_]:
    """Return of which rows (n,) of a frame a column of texts holds a text."""
    column = frame[name]
    if len(column) <= _FEW:
        # Of one animal's rows the comparison costs a tenth so.
        return np.asarray(column.to_numpy(dtype=object) == text, dtype=bool)
    return (column == text).to_numpy(dtype=bool)


def _arrow(column: object) -> pa.Array:
    if isinstance(column, np.ndarray):
        return pa.array(column, TEXT) if column.dtype == object else pa.array(column)
    return uncoded(column)


def _text_of(column: pd.Series, false: str) -> pa.Array:
    """Return one column as text; `false` is what False is written as."""
    missing = column.isna().to_numpy(dtype=bool)
    dtype = column.dtype
    if isinstance(dtype, pd.DatetimeTZDtype) or dtype.kind == "M":
        # The wall clock of the zone that the column is in is the local time.
        local = np.datetime_as_string(pd.DatetimeIndex(column).tz_localize(None).to_numpy())
        cells = [without_midnight(text) for text in local.tolist()]
    elif isinstance(dtype, np.dtype) and dtype.kind in "if":
        code, values = pd.factorize(column)
        texts = [cell_text(value, false) for value in values.tolist()]
        cells = [texts[i] if i >= 0 else "" for i in code.tolist()]
    else:
        cells = [
            "" if gone else cell_text(value, false)
            for value, gone in zip(column.tolist(), missing, strict=True)
        ]
    whole = ["" if gone else cell for cell, gone in zip(cells, missing, strict=True)]
    return pa.array(whole, TEXT)
