"""One table written in every form that is read, for tests to compare what comes of it."""

from __future__ import annotations

import io
import json
import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path

import pyarrow as pa
import pyarrow.feather
import pyarrow.parquet as pq
from openpyxl import Workbook

Cells = Sequence[Sequence[object]]


def csv_bytes(header: Sequence[str], rows: Cells, mark: str = ",") -> bytes:
    """Return a table as CSV, every cell in quotation marks; None is an empty cell."""
    lines = [header, *rows]
    quoted = [
        mark.join("" if c is None else '"' + str(c).replace('"', '""') + '"' for c in line)
        for line in lines
    ]
    return "".join(line + "\n" for line in quoted).encode()


def workbook_bytes(sheets: dict[str, tuple[Sequence[str], Cells]]) -> bytes:
    """Return a workbook of the sheets; a text that looks like a formula stays a text."""
    book = Workbook()
    book.remove(book.active)
    for title, (header, rows) in sheets.items():
        sheet = book.create_sheet(title)
        for i, line in enumerate([header, *rows], start=1):
            for j, value in enumerate(line, start=1):
                cell = sheet.cell(i, j, value)
                if isinstance(value, str):
                    cell.data_type = "s"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def arrow_table(header: Sequence[str], rows: Cells) -> pa.Table:
    """Return a table of Arrow, its types as the values show them."""
    columns = [pa.array([row[i] for row in rows]) for i in range(len(header))]
    return pa.table(columns, names=list(header))


def parquet_bytes(header: Sequence[str], rows: Cells) -> bytes:
    """Return a table as Parquet."""
    out = io.BytesIO()
    pq.write_table(arrow_table(header, rows), out)
    return out.getvalue()


def feather_bytes(header: Sequence[str], rows: Cells) -> bytes:
    """Return a table as Arrow IPC with a table of contents (Feather version 2)."""
    out = io.BytesIO()
    pyarrow.feather.write_feather(arrow_table(header, rows), out, compression="uncompressed")
    return out.getvalue()


def stream_bytes(header: Sequence[str], rows: Cells) -> bytes:
    """Return a table as a stream of Arrow IPC."""
    held = arrow_table(header, rows)
    out = io.BytesIO()
    with pa.ipc.new_stream(out, held.schema) as writer:
        writer.write_table(held)
    return out.getvalue()


def json_bytes(header: Sequence[str], rows: Cells) -> bytes:
    """Return a table as JSON lines; other letters than ASCII stay themselves."""
    lines = [dict(zip(header, row, strict=True)) for row in rows]
    return "".join(
        json.dumps(line, ensure_ascii=False, default=str) + "\n" for line in lines
    ).encode()


def database_bytes(header: Sequence[str], rows: Cells, table: str = "readings") -> bytes:
    """Return a SQLite database of one table."""
    connection = sqlite3.connect(":memory:")
    names = ", ".join('"' + name.replace('"', '""') + '"' for name in header)
    connection.execute(f'create table "{table}" ({names})')
    marks = ", ".join("?" * len(header))
    plain = [
        [str(c) if not isinstance(c, int | float | str | None) else c for c in r] for r in rows
    ]
    connection.executemany(f'insert into "{table}" values ({marks})', plain)
    connection.commit()
    data = connection.serialize()
    connection.close()
    return data


#: Each form by the ending of its files.
FORMS: dict[str, Callable[[Sequence[str], Cells], bytes]] = {
    "csv": csv_bytes,
    "xlsx": lambda header, rows: workbook_bytes({"readings": (header, rows)}),
    "parquet": parquet_bytes,
    "feather": feather_bytes,
    "arrows": stream_bytes,
    "jsonl": json_bytes,
    "db": database_bytes,
}


def written(folder: Path, form: str, header: Sequence[str], rows: Cells) -> Path:
    """Write a table of readings in one form and return the file."""
    file = folder / f"readings.{form}"
    file.write_bytes(FORMS[form](header, rows))
    return file
