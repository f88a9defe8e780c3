"""One table's cells as text, each with its place: what every reader gives and every check takes.

A type in a file is a claim and not a fact. So a workbook's date, a Parquet file's float and a
database's null become the text that a CSV file would hold, and one road of checks serves all.
"""

from __future__ import annotations

import datetime
import decimal
import hashlib
from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.frozen import dataclass, field, replace
from bpvet.records.findings import Finding
from bpvet.records.parsing.arrow import arrow_of, numpy_of

TEXT = pa.large_string()


@dataclass(frozen=True, eq=False)
class RawSheet:
    """One file's cells as text, each with its place.

    Parameters
    ----------
    file, table : str
        Name of the file without its folder, with the sheet where it holds several; the table it
        belongs to.
    header : tuple of str
        Headings as they stand.
    columns : tuple of pyarrow arrays of text (n,)
        Cells as they stand, a column each.
    lines : array of int (n,)
        Line in the file where each row starts; the row's place where a file has no lines.
    broken : dict of int to (str, str)
        Rows that cannot be told apart into cells: the line's text and what is wrong with it.
    separator, encoding : str
        What was understood of a text file; "" where there is none.
    header_line : int or None
        Line of the header; None where a file has no lines.
    distinguishing : pyarrow array of text (n,) or None
        What tells rows apart that are equal in every cell, where the file says so.
    """

    file: str
    table: str
    header: tuple[str, ...]
    columns: tuple[pa.Array, ...]
    lines: NDArray[np.integer]
    broken: dict[int, tuple[str, str]] = field(default_factory=dict)
    separator: str = "comma"
    encoding: str = "UTF-8"
    header_line: int | None = 1
    distinguishing: pa.Array | None = None

    def rows(self, kept: NDArray[np.int64]) -> RawSheet:
        """Return the sheet with some of its rows (k,) only, in their order."""
        index = arrow_of(kept)
        new_row = dict(zip(kept.tolist(), range(len(kept)), strict=True)) if self.broken else {}
        return replace(
            self,
            columns=tuple(column.take(index) for column in self.columns),
            lines=self.lines[kept],
            broken={new_row[row]: why for row, why in self.broken.items() if row in new_row},
            distinguishing=None if self.distinguishing is None else self.distinguishing.take(index),
        )


@dataclass(frozen=True, eq=False)
class Loaded:
    """What a path held: sheets in reading order, findings about whole files, the digest."""

    source: str
    sheets: tuple[RawSheet, ...]
    findings: tuple[Finding, ...]
    digest: str


def cells_digest(sheets: Sequence[RawSheet]) -> str:
    """Return a digest (sha256) of the tables' names, headers and cells."""
    digest = hashlib.sha256()
    for sheet in sheets:
        for text in (sheet.table, str(len(sheet.header)), *sheet.header):
            digest.update(f"{len(text)} {text} ".encode("utf-8", "replace"))
        for cells in sheet.columns:
            lengths = numpy_of(pc.binary_length(cells))
            digest.update(lengths.astype("<i8").tobytes())
            digest.update("".join(cells.to_pylist()).encode())
    return digest.hexdigest()


def falsehood(heading: str) -> str:
    """Return what False is written as: a reading that is not excluded has no reason."""
    return "" if heading.strip().casefold() == "excluded" else "no"


def cell_text(value: object, false: str = "no") -> str:
    """Return one value as the text that would stand in a CSV file; None is blank.

    Parameters
    ----------
    value : object
        A text, number, date or truth value, as Python or NumPy has it.
    false : str
        What False is written as.

    Examples
    --------
    >>> cell_text(152.0), cell_text(True), cell_text(datetime.datetime(2026, 3, 1))
    ('152', 'yes', '2026-03-01')
    """
    if value is None:
        return ""
    if isinstance(value, str):
        # Lone surrogates cannot be written to any file.
        return value if value.isascii() else value.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, bool | np.bool_):
        return "yes" if value else false
    if isinstance(value, float | np.floating) and np.isfinite(value):
        return np.format_float_positional(value, trim="-")
    if isinstance(value, datetime.datetime):
        return without_midnight(value.replace(tzinfo=None).isoformat())
    if isinstance(value, np.datetime64):
        return without_midnight(str(np.datetime_as_string(value)))
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, decimal.Decimal) and value.is_finite():
        return format(value, "f")
    return str(value)


def without_midnight(text: str) -> str:
    """Return an ISO date-time without what says nothing: midnight, and zeros at the end."""
    day, _, time = text.partition("T")
    if not time.strip("0:."):
        return day
    return f"{day}T{time.rstrip('0').rstrip('.') if '.' in time else time}"


@dataclass(frozen=True)
class SomeLines:
    """The first of some lines of a file, and how many there are.

    Parameters
    ----------
    first : tuple of int
        The first few, in order.
    many : int
        How many there are.
    """

    first: tuple[int, ...]
    many: int


def some_of(lines: Sequence[int], most: int = 5) -> SomeLines:
    """Return the first of some lines, for a finding."""
    return SomeLines(tuple(int(line) for line in lines[:most]), len(lines))
