"""One table's cells from all of its files, and the ledger of what is said about them.

Every check writes here, so that a cell is either used as it stands or has a finding, and a row
that is set aside carries the reason.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.findings import Finding, shown
from bpvet.records.headers import Sheet
from bpvet.records.rows import TEXT, blanks

#: Words for findings: the same for all, made from the cell's text, or one for each row.
Words = str | Callable[[str], str] | list[str]
Rows = NDArray[np.int64] | NDArray[np.bool_]

#: What was done about a cell, as the sentence that ends the reason.
OUTCOMES = {
    "row": "The row is set aside.",
    "cell": "This value is set aside, the rest of the row is kept.",
    "kept": "",
}


class Ledger:
    """A table's cells as text with their places, and what has been said about them so far.

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
    line, part : arrays of int (n,)
        Line in the file, and place among readings side by side (0 for none).
    several, summary : arrays of bool (n,)
        As in `Sheet`.
    first : array of bool (n,)
        Whether a row is the first of its line.
    set_aside : array of str (n,)
        Why a row is set aside; "" where it is not.
    broken : array of bool (n,)
        Rows whose fields do not fit the header; their cells are all blank.
    findings : list of Finding
        What has been said.
    decimal_commas : list of str
        "file: column" for each column whose decimal mark was taken to be a comma.
    unknown : tuple of str
        Names of the columns that are not ours.
    whole : pyarrow array of text (n,)
        As in `Sheet`; "" where there is none.
    """

    def __init__(self, table: str, sheets: Sequence[Sheet]) -> None:
        self.table = table
        self.files = tuple(sheet.file for sheet in sheets)
        sizes = np.array([len(sheet.lines) for sheet in sheets], dtype=np.int64)
        self.n = int(sizes.sum())
        self.file = np.repeat(np.arange(len(sheets)), sizes)
        self.line = _joined([sheet.lines for sheet in sheets], np.int64)
        self.part = _joined([sheet.parts for sheet in sheets], np.int64)
        self.several = _joined([sheet.several for sheet in sheets], np.bool_)
        self.summary = _joined([sheet.summary for sheet in sheets], np.bool_)
        self.set_aside = np.full(self.n, "", dtype=object)
        self.broken = np.zeros(self.n, dtype=bool)
        self.first = (np.diff(self.line, prepend=-1) != 0) | (np.diff(self.file, prepend=-1) != 0)
        self.findings: list[Finding] = []
        self.decimal_commas: list[str] = []
        self.unknown = tuple(dict.fromkeys(name for sheet in sheets for name in sheet.unknown))
        self._headings = [sheet.headings for sheet in sheets]
        self._nothing = blanks(self.n)
        names = dict.fromkeys(name for sheet in sheets for name in sheet.columns)
        self._raw = {name: _column(name, sheets) for name in names}
        self._trimmed = {name: pc.utf8_trim_whitespace(cells) for name, cells in self._raw.items()}
        self.whole = pa.concat_arrays(
            [pa.array([], TEXT), *(_or_blank(sheet.whole, len(sheet.lines)) for sheet in sheets)]
        )
        self._start(sheets)

    def cells(self, column: str) -> pa.Array:
        """Return a column's cells as text (n,), without white space around them."""
        return self._trimmed.get(column, self._nothing)

    def blank(self, column: str) -> NDArray[np.bool_]:
        """Return which cells of a column are blank (n,)."""
        if column not in self._trimmed:
            return np.ones(self.n, dtype=bool)
        blank: NDArray[np.bool_] = pc.equal(self.cells(column), "").to_numpy(zero_copy_only=False)
        return blank

    def has(self, column: str) -> NDArray[np.bool_]:
        """Return which rows (n,) come from a file that has this column."""
        return np.array([column in headings for headings in self._headings], bool)[self.file]

    def own_headings(self, column: str) -> bool:
        """Return whether a column is headed once for each of the readings side by side."""
        return any(len(headings.get(column, ())) > 1 for headings in self._headings)

    def heading(self, column: str, row: int) -> str:
        """Return how a row's column is headed in its file."""
        names: tuple[str, ...] = self._headings[self.file[row]].get(column, (column,))
        part = int(self.part[row])
        return names[part if part < len(names) else 0]

    def say(
        self,
        rows: Rows,
        column: str,
        reason: Words,
        mend: Words,
        kind: str,
        outcome: str = "kept",
    ) -> None:
        """Add a finding for each of the rows, and set rows aside if that is the outcome.

        Parameters
        ----------
        rows : array of int, or of bool (n,)
            Rows in question.
        column : str
            Our name of the column, or "" for the whole row.
        reason, mend : str, function of the cell's text, or list of str
            What was found, without its outcome; what the reader can do.
        kind : str
            As in `Finding`.
        outcome : str
            A key of `OUTCOMES`.
        """
        index = _index(rows)
        if len(index) == 0:
            return
        values = self._as_it_stands(column, index)
        reasons, mends = _spoken(reason, values), _spoken(mend, values)
        ending = OUTCOMES[outcome]
        # A cell that stands once on a line of readings side by side is told once.
        shared = bool(column) and not self.own_headings(column)
        plain = len(self.files) == 1 and not self.own_headings(column)
        only = self.heading(column, int(index[0])) if column else ""
        for row, value, why, what in zip(index.tolist(), values, reasons, mends, strict=True):
            heading = only if plain or not column else self.heading(column, row)
            if outcome == "row" and not self.set_aside[row]:
                self.set_aside[row] = f"{heading}: {why}" if heading else why
            if shared and not self.first[row]:
                continue
            self.findings.append(
                Finding(
                    file=self.files[self.file[row]],
                    line=int(self.line[row]),
                    column=heading,
                    value=value[:80],
                    reason=f"{why} {ending}".rstrip(),
                    mend=what,
                    kind=kind,
                )
            )

    def put_aside(self, rows: Rows, reason: str) -> None:
        """Set rows aside for a reason that a finding about the whole file gives."""
        index = _index(rows)
        free = self.set_aside[index] == ""
        self.set_aside[index[free]] = reason

    def say_of_file(
        self,
        file: int,
        column: str,
        reason: str,
        mend: str,
        kind: str,
        stops: bool = False,
        row: int | None = None,
    ) -> None:
        """Add a finding about a whole file, or about a whole column of it.

        Parameters
        ----------
        file : int
            Index into `files`.
        column, reason, mend, kind, stops
            As in `Finding`, `column` by our name.
        row : int, optional
            A row that shows it.
        """
        names = self._headings[file].get(column, (column,))
        heading = names[0] if row is None else self.heading(column, row)
        line = None if row is None else int(self.line[row])
        value = "" if row is None else self._as_it_stands(column, np.array([row]))[0][:80]
        self.findings.append(
            Finding(self.files[file], line, heading, value, reason, mend, stops=stops, kind=kind)
        )

    def _as_it_stands(self, column: str, index: NDArray[np.int64]) -> list[str]:
        if not column:
            return [""] * len(index)
        return list(self._raw.get(column, self._nothing).take(pa.array(index)).to_pylist())

    def _start(self, sheets: Sequence[Sheet]) -> None:
        """Say which rows are broken, which files are refused, which cells were trimmed."""
        offset = 0
        for sheet in sheets:
            for row, (text, why) in sorted(sheet.broken.items()):
                reason = f"The line {why}."
                self.set_aside[offset + row] = reason
                self.broken[offset + row] = True
                self.findings.append(
                    Finding(
                        sheet.file,
                        int(sheet.lines[row]),
                        "",
                        text[:80],
                        f"{reason} {OUTCOMES['row']}",
                        f"Correct the line {shown(text)}: a cell with a separator or a line "
                        "break in it needs quotation marks.",
                        kind="broken line",
                    )
                )
            if sheet.refused:
                self.put_aside(np.arange(offset, offset + len(sheet.lines)), sheet.refused)
            offset += len(sheet.lines)
        for name, raw in self._raw.items():
            changed = pc.not_equal(raw, self._trimmed[name]).to_numpy(zero_copy_only=False)
            changed &= ~self.blank(name)
            for file in np.unique(self.file[changed]).tolist():
                rows = np.flatnonzero(changed & (self.file == file))
                reason = f"White space around {len(rows)} of the cells is left off."
                self.say_of_file(file, name, reason, "Nothing to do.", "white space", row=rows[0])


def _index(rows: Rows) -> NDArray[np.int64]:
    return np.flatnonzero(rows) if rows.dtype == bool else rows.astype(np.int64)


def _spoken(words: Words, values: list[str]) -> list[str]:
    """Return the words for each cell; equal cells get equal words, made once."""
    if isinstance(words, str):
        return [words] * len(values)
    if isinstance(words, list):
        return words
    made = {value: words(value) for value in dict.fromkeys(values)}
    return [made[value] for value in values]


def _joined(parts: list[NDArray], dtype: type) -> NDArray:  # type: ignore[type-arg]
    return np.concatenate([np.zeros(0, dtype), *parts])


def _or_blank(cells: pa.Array | None, n: int) -> pa.Array:
    return blanks(n) if cells is None else cells


def _column(name: str, sheets: Sequence[Sheet]) -> pa.Array:
    """Return a column over all files, "" where a file does not have it."""
    parts = [_or_blank(sheet.columns.get(name), len(sheet.lines)) for sheet in sheets]
    return pa.concat_arrays([pa.array([], TEXT), *parts])
