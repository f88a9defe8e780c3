"""Data frames to cells as text, and values to the data frames that records hand out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from bpvet.errors import CallError
from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.cells import TEXT, RawSheet, cell_text, falsehood, without_midnight
from bpvet.records.checked_table import CheckedTable
from bpvet.records.parsing.columns import uncoded
from bpvet.records.parsing.values import Values
from bpvet.records.table_columns import TableColumns, table_columns
from bpvet.records.tables import ADDED, column_names

if TYPE_CHECKING:
    import pandas as pd

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
    import pandas as pd

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


def columns_of(checked: CheckedTable, values: Values) -> TableColumns:
    """Return a table's values by column, one for each row of the input."""
    if checked.table == "readings":
        return table_columns(checked, values, [*READINGS_FRAME, *checked.unknown])
    names = column_names(checked.table)
    return table_columns(checked, values, [*names, *checked.unknown, *ADDED[checked.table]])


def frame_of(columns: TableColumns) -> pd.DataFrame:
    """Return the same as a data frame."""
    table = pa.table({name: _arrow(columns.cells(name)) for name in columns.names})
    return table.to_pandas()


def _arrow(column: object) -> pa.Array:
    if isinstance(column, np.ndarray):
        return pa.array(column, TEXT) if column.dtype == object else pa.array(column)
    return uncoded(column)


def _text_of(column: pd.Series, false: str) -> pa.Array:
    """Return one column as text; `false` is what False is written as."""
    import pandas as pd

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
