"""Parquet and Arrow files to cells: every type becomes the text that a CSV file would hold."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bpvet.records.arrow_sizes import unpacked_bytes
from bpvet.records.cells import TEXT, RawSheet, cell_text, falsehood
from bpvet.records.findings import Finding, printable, shown, whole

#: Rows, cells and bytes of text that a file may unpack to, whatever its size; larger files may
#: hold more in proportion: rows a quarter, and cells four times, of their bytes.
MOST_ROWS = 1_000_000
MOST_CELLS = 20_000_000
MOST_BYTES = 512 << 20

_DAMAGED = "Write it again, or save the table as CSV and read that."
_TOO_LARGE = "Save the table as CSV, or take out what is not needed."


def arrow_sheet(
    file: str, table: str, form: str, data: bytes, findings: list[Finding]
) -> RawSheet | None:
    """Return a Parquet or Arrow file's cells, or None with a stopping finding.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it belongs to.
    form : str
        ``parquet``, ``arrow`` (with its table of contents at the end; Feather is one) or
        ``arrow stream``.
    data : bytes
        The file's content; it is not altered.
    findings : list of Finding
        What is to be said of the file as a whole is added here.
    """
    try:
        held = _parquet(data) if form == "parquet" else _arrow(data, form)
        return sheet_of_arrow(file, table, held, findings)
    except _TooLarge as error:
        findings.append(whole(file, str(error), _TOO_LARGE, "file too large"))
    except (pa.ArrowException, OSError, ValueError, KeyError, UnicodeDecodeError):
        # What the library raises for bytes that are not what they claim to be.
        reason = "The file is damaged: it cannot be read as what its first bytes claim it to be."
        findings.append(whole(file, reason, _DAMAGED, "cannot be read"))
    return None


class _TooLarge(Exception):
    """A file unpacks to more than is read."""


def _parquet(data: bytes) -> pa.Table:
    import pyarrow.parquet as pq

    opened = pq.ParquetFile(pa.BufferReader(data))
    about = opened.metadata
    _refuse_large(about.num_rows, about.num_columns, len(data))
    unpacked = sum(about.row_group(i).total_byte_size for i in range(about.num_row_groups))
    _refuse_unpacked(unpacked, len(data))
    names = [column.name for column in opened.schema_arrow if _is_text(column.type)]
    # As a dictionary a text that stands a million times takes room once.
    return pq.ParquetFile(pa.BufferReader(data), read_dictionary=names).read()


def _arrow(data: bytes, form: str) -> pa.Table:
    unpacked, found = unpacked_bytes(data, 8 if form == "arrow" else 0)
    _refuse_unpacked(unpacked, len(data))
    source = pa.BufferReader(data)
    reader = pa.ipc.open_file(source) if form == "arrow" else pa.ipc.open_stream(source)
    batches, rows = [], 0
    many = range(reader.num_record_batches) if form == "arrow" else None
    if many is not None and len(many) > found:
        raise ValueError("batches that the messages of the file do not tell of")
    for batch in map(reader.get_batch, many) if many is not None else reader:
        rows += batch.num_rows
        _refuse_large(rows, batch.num_columns, len(data))
        batches.append(batch)
    held = pa.Table.from_batches(batches, reader.schema)
    # Lengths and places in the file are claims too.
    held.validate(full=True)
    return held


def _refuse_unpacked(unpacked: int, size: int) -> None:
    if unpacked > max(MOST_BYTES, 20 * size):
        raise _TooLarge(f"The file unpacks to {unpacked >> 20} MB, which is more than is read.")


def _refuse_large(rows: int, columns: int, size: int) -> None:
    if rows > max(MOST_ROWS, size // 4) or rows * columns > max(MOST_CELLS, 4 * size):
        raise _TooLarge(
            f"The file says that it holds {rows:,} rows of {columns} columns in {size:,} bytes, "
            "which is more than can be believed."
        )


def sheet_of_arrow(file: str, table: str, held: pa.Table, findings: list[Finding]) -> RawSheet:
    """Return a table's cells as text; columns of lists or objects are refused by name.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it belongs to.
    held : pyarrow table
        Columns of any types.
    findings : list of Finding
        What is to be said of the columns is added here.
    """
    header: list[str] = []
    columns: list[pa.Array] = []
    left = MOST_BYTES
    for name, column in zip(held.column_names, held.columns, strict=True):
        name = printable(name)
        cells = _text_of(column, name, left)
        if cells is None:
            reason = f"The column {shown(name)} holds {_kind(column.type)}, and is not read."
            mend = "Give it one plain value a row, or leave it out."
            findings.append(Finding(file, None, name, "", reason, mend, kind="column not read"))
            continue
        left -= cells.nbytes
        header.append(name)
        columns.append(cells)
        _say_zone(file, name, column, findings)
    return RawSheet(
        file,
        table,
        tuple(header),
        tuple(columns),
        np.arange(1, held.num_rows + 1) if columns else np.zeros(0, np.int64),
        separator="",
        encoding="",
        header_line=None,
    )


def _kind(kind: pa.DataType) -> str:
    if pa.types.is_list(kind) or pa.types.is_large_list(kind) or pa.types.is_fixed_size_list(kind):
        return "lists"
    return "objects" if pa.types.is_nested(kind) else "bytes that are no text"


def _is_text(kind: pa.DataType) -> bool:
    return pa.types.is_string(kind) or pa.types.is_large_string(kind)


def _text_of(column: pa.ChunkedArray, name: str, most: int) -> pa.Array | None:
    """Return a column as text, "" for missing; None where it holds nothing that is text.

    Parameters
    ----------
    column : pyarrow chunked array (n,)
        Values of a plain type, a dictionary of them, or lengths of runs of them.
    name : str
        Its heading.
    most : int
        Bytes that it may unpack to.
    """
    kind = column.type
    if isinstance(kind, pa.BaseExtensionType):
        return _text_of(_each(column, lambda chunk: chunk.storage), name, most)
    if pa.types.is_run_end_encoded(kind):
        return _text_of(_each(column, pc.run_end_decode), name, most)
    if pa.types.is_nested(kind):
        return None
    one = column.combine_chunks()
    if isinstance(one, pa.ChunkedArray):
        one = pa.concat_arrays(one.chunks) if one.num_chunks else pa.array([], kind)
    if pa.types.is_null(kind):
        return pa.repeat(pa.scalar("", TEXT), len(one))
    if not pa.types.is_dictionary(kind):
        one = (
            one.dictionary_encode() if _can_be_encoded(kind) else one.cast(TEXT).dictionary_encode()
        )
    texts = _texts(one.dictionary, falsehood(name))
    if texts is None:
        return None
    lengths = pc.binary_length(texts)
    size = pc.sum(lengths.take(one.indices)).as_py() or 0
    if size > most:
        raise _TooLarge(f"The column {shown(name)} unpacks to {size >> 20} MB of text.")
    return pc.fill_null(texts.take(one.indices), "")


def _each(column: pa.ChunkedArray, change: object) -> pa.ChunkedArray:
    return pa.chunked_array([change(chunk) for chunk in column.chunks])  # type: ignore[operator]


def _can_be_encoded(kind: pa.DataType) -> bool:
    """Whether equal values of the type can be gathered."""
    views = getattr(pa.types, "is_string_view", None), getattr(pa.types, "is_binary_view", None)
    return not any(view is not None and view(kind) for view in views)


def _texts(values: pa.Array, false: str) -> pa.Array | None:
    """Return different values as the texts that a CSV file would hold; None for no text."""
    kind = values.type
    if pa.types.is_nested(kind):
        return None
    if _is_text(kind) or pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        try:
            # What calls itself text need not be: the second step looks at every letter.
            return values.cast(pa.large_binary()).cast(TEXT)
        except pa.ArrowInvalid:
            return None
    if pa.types.is_fixed_size_binary(kind):
        return None
    if pa.types.is_integer(kind) or pa.types.is_date32(kind):
        return values.cast(TEXT)
    if pa.types.is_timestamp(kind):
        return _moments(values)
    if pa.types.is_floating(kind):
        numbers = values.to_numpy(zero_copy_only=False)
        return pa.array(["" if np.isnan(n) else cell_text(n, false) for n in numbers], TEXT)
    if pa.types.is_date64(kind):
        return values.cast(pa.date32()).cast(TEXT)
    if pa.types.is_boolean(kind) or pa.types.is_decimal(kind):
        return pa.array([cell_text(value, false) for value in values.to_pylist()], TEXT)
    try:
        return values.cast(TEXT)
    except pa.ArrowException:
        return None


def _moments(values: pa.Array) -> pa.Array:
    """Return date-times as ISO text by the clock of their zone; midnight is a date alone."""
    if values.type.tz:
        values = pc.local_timestamp(values)
    texts = pc.replace_substring(values.cast(TEXT), " ", "T")
    texts = pc.replace_substring_regex(texts, r"(\.[0-9]*?)0+$", r"\1")
    return pc.replace_substring_regex(texts, r"(T00:00:00)?\.?$", "")


def _say_zone(file: str, name: str, column: pa.ChunkedArray, findings: list[Finding]) -> None:
    """Say that a column's times are told by the clock of a zone, which may not be the clinic's."""
    kind = column.type.value_type if pa.types.is_dictionary(column.type) else column.type
    if pa.types.is_timestamp(kind) and kind.tz and column.null_count < len(column):
        zone = printable(kind.tz)
        reason = (
            f"The times are kept in the zone {shown(zone, 40)}, and its date and time are used."
        )
        mend = "Nothing to do, if that is the clinic's own time."
        if re.fullmatch(r"(?i)utc|gmt|z|etc/utc|[+-]00:?00", zone):
            mend = "If the clinic's clock showed another time, write local times instead."
        findings.append(Finding(file, None, name, "", reason, mend, kind="zone of times"))
