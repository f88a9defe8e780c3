"""A table as a file that others go on with: CSV, workbook, Parquet or JSON lines, by its ending.

What the columns mean goes with it: in a table of columns beside CSV and JSON lines, on a second
sheet of a workbook, in the schema of Parquet. Texts are texts in every form, never formulas.
"""

from __future__ import annotations

import datetime
import io
import json
import re
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from bpvet.errors import CallError
from bpvet.files import csv_bytes
from bpvet.frozen import dataclass
from bpvet.records.findings import shown

#: Endings that can be written.
ENDINGS = (".csv", ".xlsx", ".jsonl", ".parquet")
#: Units that are kinds of time.
DATE = "date"
MOMENT = "date and time"
#: What a sheet of a workbook holds.
_MOST_ROWS, _LONGEST_TEXT = 1_048_576, 32_767
#: Letters that no XML holds, and what would be read as the escape of one.
_NOT_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0d\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_LIKE_ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}_)")


@dataclass(frozen=True)
class ColumnWords:
    """What a column means.

    Parameters
    ----------
    column, meaning : str
    unit : str
        Of numbers; `DATE` or `MOMENT` for times; "" where there is none.
    """

    column: str
    meaning: str
    unit: str


def written_names(path: Path) -> tuple[str, ...]:
    """Return the names of the files that a table becomes, the table's own first.

    Raises
    ------
    CallError
        The ending is none of `ENDINGS`.
    """
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        listed = f"{', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}"
        what = f'"{ending}"' if ending else "no ending"
        raise CallError(f"{shown(path.name)} has {what}: the name of a table ends in {listed}.")
    if ending in (".csv", ".jsonl"):
        return path.name, f"{path.stem}-columns.csv"
    return (path.name,)


def table_files(
    path: Path, table: pd.DataFrame, words: Sequence[ColumnWords], plain: bool = False
) -> dict[str, bytes]:
    """Return a table as files, content by name.

    Parameters
    ----------
    place : Path
        Name of the table's file; its ending tells the form.
    table : DataFrame
        Columns of text, whole numbers, numbers, truth values and times.
    words : sequence of ColumnWords
        One for each column, in order.
    plain : bool
        As in `bpvet.files.csv_bytes`.

    Raises
    ------
    CallError
        The ending is not known, or the table does not fit the form.
    """
    names = written_names(path)
    ending = path.suffix.lower()
    if ending == ".xlsx":
        return {names[0]: _workbook(table, words)}
    if ending == ".parquet":
        return {names[0]: _parquet(table, words)}
    columns = [_values(table[column.column], column.unit) for column in words]
    heads = [column.column for column in words]
    rows = zip(*columns, strict=True)
    content = (
        csv_bytes(heads, map(_isoed, rows), plain) if ending == ".csv" else _lines(heads, rows)
    )
    about = [tuple(asdict(column).values()) for column in words]
    return {names[0]: content, names[1]: csv_bytes(("column", "meaning", "unit"), about, plain)}


def _values(column: pd.Series[Any], unit: str) -> list[Any]:
    """Return a column's values as Python has them, None for what is missing."""
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        days = [None if value is pd.NaT else value.to_pydatetime(warn=False) for value in column]
        return days if unit != DATE else [None if day is None else day.date() for day in days]
    if pd.api.types.is_float_dtype(column.dtype):
        return [None if not np.isfinite(value) else float(value) for value in column]
    return [value.item() if hasattr(value, "item") else value for value in column]


def _isoed(row: Sequence[Any]) -> list[Any]:
    return [_iso(value) for value in row]


def _iso(value: Any) -> Any:
    if isinstance(value, datetime.datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%S")
    return value.isoformat() if isinstance(value, datetime.date) else value


def _lines(heads: Sequence[str], rows: Any) -> bytes:
    texts = (
        json.dumps(dict(zip(heads, _isoed(row), strict=True)), ensure_ascii=False, allow_nan=False)
        for row in rows
    )
    return "".join(f"{text}\n" for text in texts).encode("utf-8", "replace")


def _parquet(table: pd.DataFrame, words: Sequence[ColumnWords]) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    fields, columns = [], []
    for column_words in words:
        column = table[column_words.column]
        kind = _arrow_kind(column, column_words.unit)
        values = _values(column, column_words.unit)
        if kind == pa.string():
            values = [None if v is None else _without_surrogates(str(v)) for v in values]
        about = {"meaning": column_words.meaning, "unit": column_words.unit}
        fields.append(pa.field(_without_surrogates(column_words.column), kind, metadata=about))
        columns.append(pa.array(values, kind))
    listed = json.dumps([asdict(described) for described in words])
    schema = pa.schema(fields, metadata={"bpvet_columns": listed})
    out = io.BytesIO()
    pq.write_table(pa.Table.from_arrays(columns, schema=schema), out, compression="zstd")
    return out.getvalue()


def _arrow_kind(column: pd.Series[Any], unit: str) -> Any:
    import pyarrow as pa

    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        return pa.date32() if unit == DATE else pa.timestamp("ms")
    if pd.api.types.is_bool_dtype(column.dtype):
        return pa.bool_()
    if pd.api.types.is_integer_dtype(column.dtype):
        return pa.int64()
    return pa.float64() if pd.api.types.is_float_dtype(column.dtype) else pa.string()


def _without_surrogates(text: str) -> str:
    return text.encode("utf-8", "replace").decode("utf-8")


def _workbook(table: pd.DataFrame, words: Sequence[ColumnWords]) -> bytes:
    import openpyxl

    if len(table) >= _MOST_ROWS:
        raise CallError(
            f"A sheet of a workbook holds {_MOST_ROWS - 1:,} rows, and these are {len(table):,}: "
            "write .csv or .parquet."
        )
    columns = [_values(table[column_words.column], column_words.unit) for column_words in words]
    # Before anything is begun that would have to be ended.
    for column in columns:
        for cell in column:
            if isinstance(cell, str) and len(_escaped(cell)) > _LONGEST_TEXT:
                raise CallError(
                    f"A cell of a workbook holds {_LONGEST_TEXT:,} letters, and {shown(cell)} is "
                    "longer: write .csv or .parquet."
                )
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("sessions" if "session" in table else "table")
    sheet.append([_cell(sheet, column_words.column) for column_words in words])
    for row in zip(*columns, strict=True):
        sheet.append([_cell(sheet, value) for value in row])
    about = book.create_sheet("columns")
    about.append([_cell(about, head) for head in ("column", "meaning", "unit")])
    for column_words in words:
        about.append([_cell(about, text) for text in asdict(column_words).values()])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _escaped(text: str) -> str:
    """Return a text as a workbook spells it: letters that no XML holds as ``_x0001_``."""
    text = _LIKE_ESCAPE.sub("_x005F_", text)
    return _NOT_IN_XML.sub(lambda match: f"_x{ord(match[0]):04X}_", text)


def _cell(sheet: Any, value: Any) -> Any:
    """Return a value as a cell whose kind is that of the value, whatever a text looks like."""
    from openpyxl.cell import WriteOnlyCell

    if not isinstance(value, str):
        made = WriteOnlyCell(sheet, value)
        if isinstance(value, datetime.date):
            timed = isinstance(value, datetime.datetime)
            made.number_format = "yyyy-mm-dd hh:mm:ss" if timed else "yyyy-mm-dd"
        return made
    made = WriteOnlyCell(sheet, _escaped(value))
    made.data_type = "s"
    # Also where somebody opens the cell and leaves it again.
    made.quotePrefix = True
    return made
