"""One table's cells from all of its files, and what the checks found in them.

Every check writes here, so that a cell is either used as it stands or has a finding, and a row
that is set aside carries the reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.checks.row_findings import OfRow, RowFindings
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Outcome, finding_of
from bpvet.records.headings.headers import Sheet
from bpvet.records.parsing.arrow import arrow_of, text_column
from bpvet.records.parsing.columns import (
    blanks,
    coded,
    constant,
    end_to_end,
    is_text,
    trimmed,
    uncoded,
    which,
)
from bpvet.records.parsing.packed import PackedTexts, PackedTimes, Values, packed_texts

_Kind = TypeVar("_Kind", bound=np.generic)
Rows = NDArray[np.int64] | NDArray[np.bool_]


class CheckedTable:
    """A table's cells as text with their places, and what has been found in them so far.

    Parameters
    ----------
    table : str
        Name of the table.
    sheets : sequence of Sheet
        Its files, in order.

    Attributes
    ----------
    n : int
        Rows of all files together.
    file : array of int (n,)
        Index into `files`.
    line, reading_in_line, heading_index : arrays of int (n,)
        Line in the file, which of the readings side by side (0 for none), and `Sheet.places`.
    several, summary : arrays of bool (n,)
        As in `Sheet`.
    first : array of bool (n,)
        Whether a row is the first of its line.
    usable : array of bool (n,)
        Whether a row is not set aside.
    broken : array of bool (n,)
        Rows whose fields do not fit the header; their cells are all blank.
    findings : list of Finding and RowFindings
        What has been found: at a place, or of many rows at once.
    decimal_commas : list of str
        "file: column" for each column whose decimal mark was taken to be a comma.
    unknown : tuple of str
        Names of the columns that are not ours.
    whole : pyarrow array of text (n,)
        As in `Sheet`; "" where there is none.
    dates, units : tuple of str
        As `Sheet.dates` and `Sheet.unit`, one for each of `files`.
    """

    def __init__(self, table: str, sheets: Sequence[Sheet]) -> None:
        self.table = table
        self.files = tuple(sheet.file for sheet in sheets)
        self.dates = tuple(sheet.dates for sheet in sheets)
        self.units = tuple(sheet.unit for sheet in sheets)
        sizes = np.array([len(sheet.lines) for sheet in sheets], dtype=np.int64)
        self.n = int(sizes.sum())
        self.file = self._of_files(np.arange(len(sheets), dtype=np.int32), sizes)
        self.line = _joined([sheet.lines for sheet in sheets], np.int64)
        self.reading_in_line = _joined([sheet.parts for sheet in sheets], np.int64)
        self.heading_index = _joined([sheet.places for sheet in sheets], np.int64)
        self.several = _joined([sheet.several for sheet in sheets], np.bool_)
        self.summary = _joined([sheet.summary for sheet in sheets], np.bool_)
        self.broken = np.zeros(self.n, dtype=bool)
        self.first = np.ones(self.n, dtype=bool)
        self.first[1:] = self.line[1:] != self.line[:-1]
        if len(sheets) > 1:
            self.first[1:] |= self.file[1:] != self.file[:-1]
        self.findings: list[Finding | RowFindings] = []
        self.decimal_commas: list[str] = []
        self.unknown = tuple(dict.fromkeys(name for sheet in sheets for name in sheet.unknown))
        # Why each row is set aside: 0 where it is not, else an index into what was said.
        self._aside = np.zeros(self.n, dtype=np.int32)
        self._why: list[str | Finding | RowFindings] = [""]
        self._headings = [sheet.headings for sheet in sheets]
        self._nothing = blanks(self.n)
        names = dict.fromkeys(name for sheet in sheets for name in sheet.columns)
        self._raw = {name: _column(name, sheets) for name in names}
        self._trimmed = {name: trimmed(cells) for name, cells in self._raw.items()}
        self.whole = self._nothing
        if any(sheet.whole is not None for sheet in sheets):
            self.whole = end_to_end([_or_blank(sheet.whole, len(sheet.lines)) for sheet in sheets])
        self._start(sheets)

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Which rows (n,) are not set aside."""
        return self._aside == 0

    def reasons(self) -> pa.Array:
        """Return why each row (n,) is set aside, as text; "" where it is not."""
        texts: dict[str, int] = {"": 0}
        code = np.zeros(self.n, dtype=np.int32)
        for i in np.unique(self._aside).tolist():
            why, rows = self._why[i], np.flatnonzero(self._aside == i)
            if isinstance(why, Finding):
                why = why.reason.rstrip(".")
            if isinstance(why, str):
                code[rows] = texts.setdefault(why, len(texts))
            else:
                each = why.set_aside(rows)
                code[rows] = [texts.setdefault(text, len(texts)) for text in each]
        return pa.DictionaryArray.from_arrays(arrow_of(code), text_column(list(texts)))

    def take_back(self, rows: NDArray[np.int64]) -> None:
        """Let rows that were set aside be usable again, for another reason to be given."""
        self._aside[rows] = 0

    @cached_property
    def no_numbers(self) -> NDArray[np.float64]:
        """NaN throughout (n,): the numbers of all columns that no file has, not to be altered."""
        return constant(np.nan, self.n, np.float64)

    @cached_property
    def no_bounds(self) -> NDArray[np.int8]:
        """Bounds of such numbers (n,), not to be altered."""
        return constant(0, self.n, np.int8)

    def given(self, column: str) -> bool:
        """Return whether any file has this column."""
        return column in self._raw

    def cells(self, column: str) -> pa.Array:
        """Return a column's cells as text (n,), without white space around them."""
        return self._whole(self._trimmed.get(column, self._nothing))

    def blank(self, column: str) -> NDArray[np.bool_]:
        """Return which cells of a column are blank (n,)."""
        if column not in self._trimmed:
            return np.ones(self.n, dtype=bool)
        return is_text(self.cells(column), "")

    def raw(self, column: str) -> pa.Array:
        """Return a column's cells (n,) as they stand."""
        return self._whole(self._raw.get(column, self._nothing))

    @staticmethod
    def _whole(cells: pa.Array | PackedTexts) -> pa.Array:
        return cells.whole() if isinstance(cells, PackedTexts) else cells

    def raw_at(self, column: str, rows: NDArray[np.integer]) -> list[str]:
        """Return the cells of some rows (k,) as they stand."""
        cells = self._raw.get(column, self._nothing)
        if isinstance(cells, PackedTexts):
            found: list[str] = cells.at(rows).to_pylist()
            return found
        found = uncoded(cells.take(arrow_of(rows))).to_pylist()
        return found

    def cell(self, column: str, row: int) -> str:
        """Return a cell as it stands."""
        return self.raw_at(column, np.array([row]))[0]

    def pack(self, values: Values) -> dict[int, PackedTexts]:
        """Hold texts of dates, which are long and mostly differ, by the times read of them.

        Returns
        -------
        dict of int to PackedTexts
            By the identity of the texts that they replace.
        """
        packed: dict[int, PackedTexts] = {}
        for name, raw in self._raw.items():
            times = values.packed(name) if name in values else None
            # What was trimmed is not what stands there.
            if isinstance(times, PackedTimes) and raw is self._trimmed[name]:
                texts = packed_texts(raw, times)
                if texts is not None:
                    self._raw[name] = self._trimmed[name] = texts
                    packed[id(raw)] = texts
        return packed

    def has(self, column: str) -> NDArray[np.bool_]:
        """Return which rows (n,) come from a file that has this column."""
        return self._of_files(np.array([column in headings for headings in self._headings], bool))

    def date_orders(self) -> NDArray[np.object_]:
        """Return the order of dates (n,) that was said of each row's file."""
        return self._of_files(np.array(self.dates, dtype=object))

    def in_kilopascal(self) -> NDArray[np.bool_]:
        """Return which rows (n,) come from a file whose pressures were said to be in kPa."""
        return self._of_files(np.array([unit == "kPa" for unit in self.units], bool))

    def _of_files(
        self, each: NDArray[_Kind], sizes: NDArray[np.int64] | None = None
    ) -> NDArray[_Kind]:
        """Return what is so of each file for its rows (n,), not to be altered."""
        if len(each) == 1:
            return constant(each[0], self.n, each.dtype)
        return each[self.file] if sizes is None else np.repeat(each, sizes)

    def own_headings(self, column: str) -> bool:
        """Return whether a column is headed once for each of the readings side by side."""
        return any(len(headings.get(column, ())) > 1 for headings in self._headings)

    def heading(self, column: str, row: int) -> str:
        """Return how a row's column is headed in its file."""
        names: tuple[str, ...] = self._headings[self.file[row]].get(column, (column,))
        at = int(self.reading_in_line[row]) or int(self.heading_index[row])
        return names[at if at < len(names) else 0]

    def headings(self, column: str, rows: NDArray[np.integer]) -> list[str]:
        """Return how a column is headed in the file of each row."""
        if self.own_headings(column):
            return [self.heading(column, row) for row in rows.tolist()]
        names = [headings.get(column, (column,))[0] for headings in self._headings]
        return [names[file] for file in self.file[rows].tolist()]

    def report(
        self,
        rows: Rows,
        column: str,
        code: Code,
        outcome: Outcome = Outcome.KEPT,
        *,
        value: OfRow | None = None,
        **values: Any,
    ) -> None:
        """Add a finding for each of the rows, and set rows aside if that is the outcome.

        Parameters
        ----------
        rows : array of int, or of bool (n,)
            Rows in question.
        column : str
            Our name of the column, or "" for the whole row.
        code : Code
            What was found.
        outcome : Outcome
            What is done about it.
        value : OfRow, optional
            What stands there, where that is not the cell.
        **values
            What the findings are worded from: the same for all, `OfCell` or `OfRow`.
        """
        index = _index(rows)
        if len(index) == 0:
            return
        # A cell that stands once on a line of readings side by side is reported once.
        shared = bool(column) and not self.own_headings(column)
        reported = index[self.first[index]] if shared else index
        found = RowFindings(self, reported, column, code, outcome, value, values)
        if outcome is Outcome.ROW:
            self._set_aside(index, found)
        if len(reported):
            self.findings.append(found)

    def _set_aside(self, index: NDArray[np.int64], why: str | Finding | RowFindings) -> None:
        self._why.append(why)
        self._aside[index[self._aside[index] == 0]] = len(self._why) - 1

    def put_aside(self, rows: Rows, why: Finding) -> None:
        """Set rows aside for a reason that a finding about the whole file gives."""
        self._set_aside(_index(rows), why)

    def report_file(
        self,
        file: int,
        column: str,
        code: Code,
        row: int | None = None,
        *,
        stops: bool = False,
        **values: Any,
    ) -> None:
        """Add a finding about a whole file, or about a whole column of it.

        Parameters
        ----------
        file : int
            Index into `files`.
        column : str
            Our name of the column, or "".
        code : Code
            What was found.
        row : int, optional
            A row that shows it.
        stops : bool
            Whether it stops the work.
        **values
            What it is worded from.
        """
        names = self._headings[file].get(column, (column,))
        heading = names[0] if row is None else self.heading(column, row)
        line = None if row is None else int(self.line[row])
        cell = "" if row is None or not column else self.cell(column, row)
        self.findings.append(
            finding_of(code, self.files[file], line, heading, cell, stops=stops, **values)
        )

    def _start(self, sheets: Sequence[Sheet]) -> None:
        """Report rows that are broken and cells that were trimmed; set refused files aside."""
        offset = 0
        for sheet in sheets:
            self._report_broken(sheet, offset)
            if sheet.refused:
                self.put_aside(np.arange(offset, offset + len(sheet.lines)), sheet.refused)
            offset += len(sheet.lines)
        for name, raw in self._raw.items():
            if self._trimmed[name] is raw:
                continue
            spaced = which(raw, lambda cells: pc.not_equal(cells, pc.utf8_trim_whitespace(cells)))
            spaced &= ~self.blank(name)
            for file in np.unique(self.file[spaced]).tolist():
                rows = np.flatnonzero(spaced & (self.file == file))
                self.report_file(file, name, Code.WHITE_SPACE, int(rows[0]), cells=len(rows))

    def _report_broken(self, sheet: Sheet, offset: int) -> None:
        """Report the rows of a file that cannot be told apart into cells."""
        broken = sheet.broken
        rows = np.array(sorted(broken), dtype=np.int64) + offset
        self.broken[rows] = True
        self.report(
            rows,
            "",
            Code.BROKEN_LINE,
            Outcome.ROW,
            value=OfRow(lambda row: broken[row - offset][0]),
            text=OfRow(lambda row: broken[row - offset][0]),
            why=OfRow(lambda row: broken[row - offset][1]),
        )


def _index(rows: Rows) -> NDArray[np.int64]:
    return np.flatnonzero(rows) if rows.dtype == bool else rows.astype(np.int64)


def _joined(parts: list[NDArray], dtype: type) -> NDArray:  # type: ignore[type-arg]
    return parts[0] if len(parts) == 1 else np.concatenate([np.zeros(0, dtype), *parts])


def _or_blank(cells: pa.Array | None, n: int) -> pa.Array:
    return blanks(n) if cells is None else cells


def _column(name: str, sheets: Sequence[Sheet]) -> pa.Array:
    """Return a column over all files, "" where a file does not have it."""
    if len(sheets) == 1:
        # Coded already.
        return sheets[0].columns[name]
    parts = [_or_blank(sheet.columns.get(name), len(sheet.lines)) for sheet in sheets]
    return coded(end_to_end(parts))
