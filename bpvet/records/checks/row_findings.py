"""What was found of many rows at once; each row's finding is made when it is looked at.

A file in which a million rows are bad has a million findings, and nobody reads them all. So a
check leaves the rows, a code and values, and no text is made for a row that nobody asks for.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from itertools import repeat
from json.encoder import encode_basestring_ascii as quoted
from typing import Any, Protocol, TypeVar, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.frozen import dataclass, field
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, NamedValues, Outcome, Words, worded
from bpvet.records.headings.near_names import nearest
from bpvet.records.parsing.codes import among

T = TypeVar("T")


@dataclass(frozen=True, eq=False)
class OfRow:
    """A value that is made for a row of the table, by its number."""

    make: Callable[[int], Any]


@dataclass(frozen=True, eq=False)
class OfCell:
    """A value that is made from the cell's text: equal cells have equal ones."""

    make: Callable[[str], Any]


#: The cell without white space around it.
WRITTEN = OfCell(str.strip)
#: The cell as it stands.
AS_IT_STANDS = OfCell(str)


class Places(Protocol):
    """Where the rows of a table stand."""

    files: tuple[str, ...]

    @property
    def file(self) -> NDArray[np.integer]:
        """Index (n,) into `files`."""

    @property
    def line(self) -> NDArray[np.int64]:
        """Line (n,) in the file."""

    def own_headings(self, column: str) -> bool:
        """Return whether a column is headed in other ways in one file."""

    def headings(self, column: str, rows: NDArray[np.integer]) -> list[str]:
        """Return how a column is headed in the file of each row."""

    def raw(self, column: str) -> pa.Array:
        """Return a column (n,) as it stands."""

    def raw_at(self, column: str, rows: NDArray[np.integer]) -> list[str]:
        """Return the cells of some rows (k,) as they stand."""


@dataclass(frozen=True, eq=False)
class RowFindings:
    """A check's findings: one for each of its rows, made when it is looked at.

    Parameters
    ----------
    places : Places
        The table.
    rows : array of int (k,)
        Rows that have a finding of their own, in order.
    column : str
        Our name of the column, or "" for the whole row.
    code : Code
        What was found.
    outcome : Outcome
        What was done about it.
    value : OfRow or None
        What stands there, where that is not the cell.
    values : mapping of str to object
        What the findings are worded from, by name: the same for all, `OfCell` or `OfRow`.
    """

    places: Places
    rows: NDArray[np.integer]
    column: str
    code: Code
    outcome: Outcome
    value: OfRow | None
    values: Mapping[str, Any]
    _made: dict[tuple[str, str], tuple[str, Any]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def kind(self) -> str:
        """As in `Finding`."""
        return self.code.kind

    @property
    def by_row(self) -> bool:
        """Whether two rows with the same cell may be worded otherwise."""
        return any(isinstance(value, OfRow) for value in self.values.values())

    @property
    def by_cell(self) -> bool:
        """Whether the words depend on the cell."""
        return any(isinstance(value, OfCell) for value in self.values.values())

    def finding(self, at: int) -> Finding:
        """Return the finding of the row `rows[at]`."""
        return self.many(np.array([at]))[0]

    def many(self, at: NDArray[np.integer]) -> list[Finding]:
        """Return the findings (k,) of the rows `rows[at]`."""
        rows = self.rows[at]
        cells = self._cells(rows)
        parts = zip(*self._where(rows), cells, self._values(rows, cells), strict=True)
        return [
            Finding(file, line, heading, cell[:80], self.code, values, self.outcome)
            for file, line, heading, cell, values in parts
        ]

    def json(self, at: NDArray[np.integer]) -> list[str]:
        """Return the findings (k,) of the rows `rows[at]` as JSON, as `Finding.to_dict` has them.

        The same parts are written once; a million findings are made of few.
        """
        rows = self.rows[at]
        names, lines, headings = self._where(rows)
        cells, kind = self._cells(rows), quoted(self.kind)
        file_of = {file: quoted(file) for file in set(names)}
        heading_of = {heading: quoted(heading) for heading in set(headings)}
        ends: dict[Words, str] = {}
        texts: list[str] = []
        parts = zip(
            names, lines, headings, cells, self._words(rows, cells, self.outcome), strict=True
        )
        for file, line, heading, cell, words in parts:
            end = ends.get(words)
            if end is None:
                end = ends[words] = (
                    f'"reason": {quoted(words.reason)}, "mend": {quoted(words.fix)}, '
                    f'"stops": false, "kind": {kind}}}'
                )
            texts.append(
                f'{{"file": {file_of[file]}, "line": {line}, "column": {heading_of[heading]}, '
                f'"value": {quoted(cell[:80])}, {end}'
            )
        return texts

    def set_aside(self, rows: NDArray[np.integer]) -> list[str]:
        """Return why each of some rows is set aside, as its table says it."""
        headings = self._headings(rows)
        words = self._words(rows, self._cells(rows), Outcome.KEPT)
        return [
            f"{heading}: {why}" if heading else why
            for heading, (why, *_) in zip(headings, words, strict=True)
        ]

    def _where(self, rows: NDArray[np.integer]) -> tuple[list[str], list[int], list[str]]:
        """Return file, line and heading of some rows."""
        files = self.places.files
        names = [files[i] for i in self.places.file[rows].tolist()]
        lines: list[int] = self.places.line[rows].tolist()
        return names, lines, self._headings(rows)

    def _headings(self, rows: NDArray[np.integer]) -> list[str]:
        return self.places.headings(self.column, rows) if self.column else [""] * len(rows)

    def _cells(self, rows: NDArray[np.integer]) -> list[str]:
        if self.value is not None:
            return [self.value.make(row) for row in rows.tolist()]
        if not self.column:
            return [""] * len(rows)
        return self.places.raw_at(self.column, rows)

    def _values(self, rows: NDArray[np.integer], cells: list[str]) -> list[NamedValues]:
        """Return what the finding of each row is worded from, made a name at a time."""
        columns: list[Iterable[tuple[str, Any]]] = []
        for name, value in self.values.items():
            if isinstance(value, OfRow):
                columns.append([(name, value.make(row)) for row in rows.tolist()])
            elif isinstance(value, OfCell):
                columns.append([self._of_cell(name, value, cell) for cell in cells])
            else:
                columns.append(repeat((name, value), len(rows)))
        return list(zip(*columns, strict=True)) if columns else [()] * len(rows)

    def _of_cell(self, name: str, value: OfCell, cell: str) -> tuple[str, Any]:
        """Return a name with what is made from a cell, made once for cells met again."""
        found = self._made.get((name, cell))
        if found is None:
            if len(self._made) > _MOST_MADE:
                self._made.clear()
            found = self._made[name, cell] = (name, value.make(cell))
        return found

    def _words(self, rows: NDArray[np.integer], cells: list[str], outcome: Outcome) -> list[Words]:
        return worded(self.code, self._values(rows, cells), outcome)


#: What is kept of cells met again.
_MOST_MADE = 10_000
#: Findings that are made together: first, for who looks at the first few, and later.
_FEWEST, _MOST = 32, 8192
#: Findings that are printed of many.
_MOST_SHOWN = 30
#: Different cells that names are suggested for, and comparisons of a cell with a known name.
_MOST_SUGGESTED, _MOST_COMPARED = 1000, 200_000


def near_names(known: Collection[str], cells: Callable[[], pa.Array], n: int = 3) -> OfCell:
    """Return the known names that look most like each cell, up to `n`; none for cells after many.

    Each costs a comparison with every known name, and a file may hold a million cells that are
    none of them. Those of the first different cells are made at once, when one is first looked
    at: whoever looks at a later finding first shall read the same.

    Parameters
    ----------
    known : collection of str
    cells : callable
        Gives the cells in question (k,).
    n : int
    """
    most = min(_MOST_SUGGESTED, _MOST_COMPARED // max(len(known), 1) + 1)
    near: dict[str, tuple[str, ...]] = {}

    def near_cell(cell: str) -> tuple[str, ...]:
        if not near:
            few = pc.unique(cells())[:most].to_pylist()
            near.update((text, nearest(text.strip(), known, n)) for text in few)
        return near.get(cell, ())

    return OfCell(near_cell)


def _among_lines(rows: RowFindings, lines: Mapping[str, Collection[int]]) -> NDArray[np.bool_]:
    """Return which of the findings (k,) of a check are about some lines of files."""
    file, line = rows.places.file[rows.rows], rows.places.line[rows.rows]
    found = np.zeros(len(line), dtype=bool)
    for index, name in enumerate(rows.places.files):
        if asked := lines.get(name):
            found |= (file == index) & among(line, np.unique(list(asked)))
    return found


class Findings(Sequence[Finding]):
    """All findings of some records, by file in order of reading, then by line.

    It reads as a tuple of `Finding` and compares as one. What was found of many rows at once is
    made one by one as it is looked at, so that its length and its slices cost next to nothing.

    Parameters
    ----------
    reported : sequence of Finding and RowFindings
        In the order in which they were found.
    files : sequence of str
        Names of the files in order of reading; findings about anything else come first.

    Attributes
    ----------
    reported : tuple of Finding and RowFindings
        As given.
    of, at : arrays of int (n,)
        For each finding: the index into `reported`, and into the rows of it.
    """

    reported: tuple[Finding | RowFindings, ...]
    of: NDArray[np.int32]
    at: NDArray[np.int32]

    def __init__(
        self, reported: Sequence[Finding | RowFindings], files: Sequence[str] = ()
    ) -> None:
        file_index = {file: i for i, file in enumerate(files)}
        where, lines, of, at = [], [], [], []
        for i, block in enumerate(reported):
            if isinstance(block, Finding):
                where.append(np.array([file_index.get(block.file, -1)]))
                lines.append(np.array([block.line or 0]))
            else:
                names = np.array([file_index.get(file, -1) for file in block.places.files])
                where.append(names[block.places.file[block.rows]])
                lines.append(block.places.line[block.rows])
            many = len(where[-1])
            of.append(np.full(many, i, dtype=np.int32))
            at.append(np.arange(many, dtype=np.int32))
        none = np.zeros(0, dtype=np.int32)
        order = np.lexsort((np.concatenate([none, *lines]), np.concatenate([none, *where])))
        of_each, at_each = np.concatenate([none, *of]), np.concatenate([none, *at])
        self._set(tuple(reported), of_each[order], at_each[order])

    def _set(
        self,
        reported: tuple[Finding | RowFindings, ...],
        of: NDArray[np.int32],
        at: NDArray[np.int32],
    ) -> None:
        self.reported, self.of, self.at = reported, of, at

    def __len__(self) -> int:
        return len(self.of)

    @overload
    def __getitem__(self, index: int) -> Finding: ...

    @overload
    def __getitem__(self, index: slice) -> Findings: ...

    def __getitem__(self, index: int | slice) -> Finding | Findings:
        if not isinstance(index, slice):
            block = self.reported[self.of[index]]
            return block if isinstance(block, Finding) else block.finding(int(self.at[index]))
        return self.some(index)

    def some(self, index: slice | NDArray[np.generic]) -> Findings:
        """Return the findings at some places (k,), or of a mask (n,), in that order."""
        some = Findings.__new__(Findings)
        some._set(self.reported, self.of[index], self.at[index])
        return some

    def __iter__(self) -> Iterator[Finding]:
        return self._each(lambda finding: finding, RowFindings.many)

    def json(self) -> Iterator[str]:
        """Yield each finding as a JSON object, as `Finding.to_dict` has it, a few at once."""
        return self._each(
            lambda finding: json.dumps(finding.to_dict(), allow_nan=False), RowFindings.json
        )

    def _each(
        self,
        one_of: Callable[[Finding], T],
        many_of: Callable[[RowFindings, NDArray[np.int32]], list[T]],
    ) -> Iterator[T]:
        """Yield something made of each finding, in order; made together, a few thousand a time."""
        start, many = 0, _FEWEST
        while start < len(self):
            of, at = self.of[start : start + many], self.at[start : start + many]
            order = np.argsort(of, kind="stable")
            made: list[T] = []
            for places in np.split(order, np.flatnonzero(np.diff(of[order])) + 1):
                reported = self.reported[of[places[0]]]
                made += (
                    [one_of(reported)]
                    if isinstance(reported, Finding)
                    else many_of(reported, at[places])
                )
            back = np.argsort(order)
            yield from (made[i] for i in back.tolist())
            start, many = start + many, min(2 * many, _MOST)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Findings | tuple):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __add__(self, other: Sequence[Finding]) -> tuple[Finding, ...]:
        return (*self, *other)

    def __radd__(self, other: Sequence[Finding]) -> tuple[Finding, ...]:
        return (*other, *self)

    def __repr__(self) -> str:
        if len(self) <= _MOST_SHOWN:
            return repr(tuple(self))
        few = "\n".join(str(finding) for finding in self[:_MOST_SHOWN])
        return f"{few}\n… and {len(self) - _MOST_SHOWN} more findings"

    def __reduce__(self) -> tuple[type[Findings], tuple[tuple[Finding, ...], tuple[str, ...]]]:
        each = tuple(self)
        return Findings, (each, tuple(dict.fromkeys(finding.file for finding in each)))

    def by_code(self, *codes: Code) -> Findings:
        """Return the findings of some codes, in the same order."""
        wanted = [block.code in codes for block in self.reported]
        return self.some(np.array([*wanted, False], dtype=bool)[self.of])

    def about(self, lines: Mapping[str, Collection[int]]) -> Findings:
        """Return the findings about some lines of files, and those about no line."""
        masks = [
            np.array([block.line is None or block.line in lines.get(block.file, ())])
            if isinstance(block, Finding)
            else _among_lines(block, lines)
            for block in self.reported
        ]
        start = np.cumsum([0, *map(len, masks)])
        return self.some(np.concatenate([np.zeros(0, bool), *masks])[start[self.of] + self.at])

    def lines(self, places: NDArray[np.integer]) -> NDArray[np.int64]:
        """Return the lines of the findings at some places (k,); 0 for a whole file."""
        of, at = self.of[places], self.at[places]
        lines = np.zeros(len(of), dtype=np.int64)
        for i in np.unique(of).tolist():
            block, here = self.reported[i], of == i
            if isinstance(block, Finding):
                lines[here] = block.line or 0
            else:
                lines[here] = block.places.line[block.rows[at[here]]]
        return lines

    @property
    def stopping(self) -> tuple[Finding, ...]:
        """The findings that stop the work; these are never of many rows at once."""
        stops = [isinstance(block, Finding) and block.stops for block in self.reported]
        return tuple(self.some(np.array([*stops, False], dtype=bool)[self.of]))
