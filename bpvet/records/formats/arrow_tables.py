"""Parquet and Arrow files to cells: every type becomes the text that a CSV file would hold."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import chain

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bpvet.reasons import reason
from bpvet.records.cells import TEXT, RawSheet, cell_text, falsehood
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable, shown
from bpvet.records.formats.arrow_sizes import unpacked_bytes
from bpvet.records.formats.gathered_columns import GatheredColumn
from bpvet.records.parsing.columns import uncoded

#: Rows, cells and bytes of text that a file of any size may unpack to, and how many more for each
#: of its bytes. A real table of four million readings takes three bytes a row.
MOST_ROWS, ROWS_A_BYTE = 1_000_000, 0.5
MOST_CELLS, CELLS_A_BYTE = 20_000_000, 8
MOST_BYTES, BYTES_A_BYTE = 512 << 20, 40
#: Rows that are made into text at a time.
_BATCH = 1 << 19


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
        schema, batches = _parquet(data) if form == "parquet" else _arrow(data, form)
        return _sheet(file, table, schema, batches, len(data), findings)
    except _TooLarge as error:
        findings.append(finding_of(Code.UNPACKS_TOO_LARGE, file, stops=True, why=str(error)))
    except (pa.ArrowException, OSError, ValueError, KeyError, UnicodeDecodeError):
        # What the library raises for bytes that are not what they claim to be.
        findings.append(finding_of(Code.DAMAGED, file, stops=True))
    return None


class _TooLarge(Exception):
    """A file unpacks to more than is read."""


def _parquet(data: bytes) -> tuple[pa.Schema, Iterator[pa.RecordBatch]]:
    import pyarrow.parquet as pq

    about = pq.ParquetFile(pa.BufferReader(data))
    metadata = about.metadata
    _refuse_large(metadata.num_rows, metadata.num_columns, len(data))
    unpacked = sum(metadata.row_group(i).total_byte_size for i in range(metadata.num_row_groups))
    _refuse_unpacked(unpacked, len(data))
    names = [column.name for column in about.schema_arrow if _is_text(column.type)]
    # As a dictionary a text that stands a million times takes room once.
    opened = pq.ParquetFile(pa.BufferReader(data), read_dictionary=names)
    return opened.schema_arrow, opened.iter_batches(batch_size=_BATCH, use_threads=False)


def _arrow(data: bytes, form: str) -> tuple[pa.Schema, Iterator[pa.RecordBatch]]:
    unpacked, found = unpacked_bytes(data, 8 if form == "arrow" else 0)
    _refuse_unpacked(unpacked, len(data))
    source = pa.BufferReader(data)
    reader = pa.ipc.open_file(source) if form == "arrow" else pa.ipc.open_stream(source)
    many = range(reader.num_record_batches) if form == "arrow" else None
    if many is not None and len(many) > found:
        raise ValueError("batches that the messages of the file do not tell of")

    def batches() -> Iterator[pa.RecordBatch]:
        rows = 0
        for batch in map(reader.get_batch, many) if many is not None else reader:
            rows += batch.num_rows
            _refuse_large(rows, batch.num_columns, len(data))
            # Lengths and places in the file are claims too.
            batch.validate(full=True)
            yield batch

    return reader.schema, batches()


def _refuse_unpacked(unpacked: int, size: int) -> None:
    most = max(MOST_BYTES, BYTES_A_BYTE * size)
    if unpacked > most:
        raise _TooLarge(
            reason("arrow.unpacks", megabytes=unpacked >> 20, size=_bytes(size), most=most >> 20)
        )


def _refuse_large(rows: int, columns: int, size: int) -> None:
    most_rows = max(MOST_ROWS, int(ROWS_A_BYTE * size))
    most_cells = max(MOST_CELLS, CELLS_A_BYTE * size)
    if rows > most_rows or rows * columns > most_cells:
        raise _TooLarge(
            reason(
                "arrow.holds",
                rows=rows,
                columns=columns,
                size=_bytes(size),
                most_rows=most_rows,
                most_cells=most_cells,
            )
        )


def _bytes(size: int) -> str:
    return f"{size:,} bytes" if size < 1 << 20 else f"{size / (1 << 20):.1f} MB"


def _sheet(
    file: str,
    table: str,
    schema: pa.Schema,
    batches: Iterator[pa.RecordBatch],
    size: int,
    findings: list[Finding],
) -> RawSheet:
    """Return a table's cells as text; columns of lists or objects are refused by name.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it belongs to.
    schema, batches
        Columns of any types, and their rows a part at a time.
    size : int
        Bytes of the file.
    findings : list of Finding
        What is to be said of the columns is added here.
    """
    names = [printable(name) for name in schema.names]
    parts, filled, rows = _gathered(names, schema, batches, size)
    header, columns = [], []
    for i, (name, cells_of) in enumerate(zip(names, parts, strict=True)):
        kind = schema.field(i).type
        if cells_of is None:
            code, holds = Code.COLUMN_NOT_READ, _kind(kind)
            findings.append(finding_of(code, file, None, name, name=name, holds=holds))
            continue
        header.append(name)
        cells = cells_of.taken()
        is_coded = pa.types.is_dictionary(cells.type)
        # Codes are for texts that repeat.
        columns.append(
            uncoded(cells) if is_coded and 2 * len(cells.dictionary) > len(cells) else cells
        )
        parts[i] = None
        if filled[i]:
            # Times told by the clock of a zone may not be the clinic's.
            kind = kind.value_type if pa.types.is_dictionary(kind) else kind
            if pa.types.is_timestamp(kind) and kind.tz:
                zone = printable(kind.tz)
                foreign = re.fullmatch(r"(?i)utc|gmt|z|etc/utc|[+-]00:?00", zone) is not None
                of_zone = Code.ZONE_OF_TIMES
                findings.append(finding_of(of_zone, file, None, name, zone=zone, foreign=foreign))
    return RawSheet(
        file,
        table,
        tuple(header),
        tuple(columns),
        np.arange(1, rows + 1) if columns else np.zeros(0, np.int64),
        separator="",
        encoding="",
        header_line=None,
    )


def _gathered(
    names: list[str], schema: pa.Schema, batches: Iterator[pa.RecordBatch], size: int
) -> tuple[list[GatheredColumn | None], list[int], int]:
    """Return the cells of each column, how many are not missing, and the rows.

    A column that holds no text, and nothing that can be made text, is None.

    Raises
    ------
    _TooLarge
        There is more text than a file of this size may hold.
    """
    parts: list[GatheredColumn | None] = [GatheredColumn() for _ in names]
    coded: list[bool | None] = [None] * len(names)
    filled = [0] * len(names)
    rows, left = 0, max(MOST_BYTES, BYTES_A_BYTE * size)
    nothing = pa.RecordBatch.from_arrays([pa.nulls(0, field.type) for field in schema], names=names)
    for batch in chain([nothing], batches):
        rows += batch.num_rows
        for i, column in enumerate(batch.columns):
            some = parts[i]
            cells = None if some is None else _text_of(column, names[i])
            if some is None or cells is None:
                parts[i] = None
                continue
            length = pc.binary_length(cells.dictionary).take(cells.indices)
            left -= pc.sum(length).as_py() or 0
            if left < 0:
                raise _TooLarge(
                    reason(
                        "arrow.columns_unpack",
                        most=max(MOST_BYTES, BYTES_A_BYTE * size) >> 20,
                        name=shown(names[i]),
                        size=_bytes(size),
                    )
                )
            if len(cells):
                # What hardly repeats at the top is kept as text: to number it would take long.
                if coded[i] is None:
                    coded[i] = 2 * len(cells.dictionary) <= len(cells)
                some.add(cells if coded[i] else uncoded(cells))
            filled[i] += len(column) - column.null_count
    return parts, filled, rows


def _kind(kind: pa.DataType) -> str:
    if pa.types.is_list(kind) or pa.types.is_large_list(kind) or pa.types.is_fixed_size_list(kind):
        return "lists"
    return "objects" if pa.types.is_nested(kind) else reason("arrow.bytes")


def _is_text(kind: pa.DataType) -> bool:
    return pa.types.is_string(kind) or pa.types.is_large_string(kind)


def _text_of(column: pa.Array, name: str) -> pa.Array | None:
    """Return some cells of a column as codes into text, "" for missing; None for no text.

    Parameters
    ----------
    column : pyarrow array (n,)
        Values of a plain type, a dictionary of them, or lengths of runs of them.
    name : str
        Its heading.
    """
    kind = column.type
    if isinstance(kind, pa.BaseExtensionType):
        return _text_of(column.storage, name)
    if pa.types.is_run_end_encoded(kind):
        return _text_of(pc.run_end_decode(column), name)
    if pa.types.is_nested(kind):
        return None
    if pa.types.is_null(kind):
        column = pa.nulls(len(column), TEXT)
    if not pa.types.is_dictionary(column.type):
        column = (column if _can_be_encoded(kind) else column.cast(TEXT)).dictionary_encode()
    texts = _texts(column.dictionary, falsehood(name))
    if texts is None:
        return None
    # What is missing is a text of its own, and equal texts are one.
    again = pa.concat_arrays([pc.coalesce(texts, ""), pa.array([""], TEXT)]).dictionary_encode()
    codes = pc.coalesce(column.indices.cast(pa.int64()), len(texts))
    return pa.DictionaryArray.from_arrays(again.indices.take(codes), again.dictionary)


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
    try:
        # Most are whole seconds, whose texts have no zeros at the end to look for.
        whole = pc.replace_substring(values.cast(pa.timestamp("s")).cast(TEXT), " ", "T")
        return pc.replace_substring(whole, "T00:00:00", "")
    except pa.ArrowInvalid:
        pass
    texts = pc.replace_substring(values.cast(TEXT), " ", "T")
    texts = pc.replace_substring_regex(texts, r"(\.[0-9]*?)0+$", r"\1")
    return pc.replace_substring_regex(texts, r"(T00:00:00)?\.?$", "")
