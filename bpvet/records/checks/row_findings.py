"""What was said of many rows at once; each row's finding is worded when it is looked at.

A file in which a million rows are bad has a million findings, and nobody reads them all. So a
check leaves the rows and how to word them, and no text is made for a row that nobody asks for.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from json.encoder import encode_basestring_ascii as quoted
from typing import Protocol, TypeVar, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.findings import Finding
from bpvet.records.parsing.codes import among
from bpvet.records.parsing.columns import uncoded

T = TypeVar("T")

#: What was done about a cell, as the sentence that ends the reason.
OUTCOMES = {
    "row": "The row is set aside.",
    "cell": "This value is set aside, the rest of the row is kept.",
    "kept": "",
}


@dataclass(frozen=True, eq=False)
class OfRow:
    """Words that are made for a row of the table, by its number."""

    make: Callable[[int], str]


#: Words for findings: the same for all, made from the cell's text, or made for the row.
Words = str | Callable[[str], str] | OfRow


class Places(Protocol):
    """Where the rows of a table stand."""

    files: tuple[str, ...]

    @property
    def file(self) -> NDArray[np.integer]:
        """Index (n,) into `files`."""

    @property
    def line(self) -> NDArray[np.int64]:
        """Line (n,) in the file."""

    def heading(self, column: str, row: int) -> str:
        """Return how a row's column is headed in its file."""

    def own_headings(self, column: str) -> bool:
        """Return whether a column is headed in other ways in one file."""

    def headings(self, column: str, rows: NDArray[np.integer]) -> list[str]:
        """Return how a column is headed in the file of each row."""

    def cell(self, column: str, row: int) -> str:
        """Return a cell as it stands."""

    def raw(self, column: str) -> pa.Array:
        """Return a column (n,) as it stands."""


@dataclass(frozen=True, eq=False)
class Said:
    """A check's findings: one for each of its rows, worded when it is looked at.

    Parameters
    ----------
    places : Places
        The table.
    rows : array of int (k,)
        Rows that have a finding of their own, in order.
    column : str
        Our name of the column, or "" for the whole row.
    reason, mend : Words
        What was found, without its outcome; what the reader can do.
    kind, outcome : str
        As in `Finding`; a key of `OUTCOMES`.
    value : OfRow or None
        What stands there, where that is not the cell.
    """

    places: Places
    rows: NDArray[np.integer]
    column: str
    reason: Words
    mend: Words
    kind: str
    outcome: str
    value: OfRow | None
    _made: dict[str, tuple[str, str]] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.rows)

    def finding(self, at: int) -> Finding:
        """Return the finding of the row `rows[at]`."""
        return self.many(np.array([at]))[0]

    def many(self, at: NDArray[np.integer]) -> list[Finding]:
        """Return the findings (k,) of the rows `rows[at]`."""
        names, lines, headings, cells, words = self._parts(at)
        end = OUTCOMES[self.outcome]
        return [
            Finding(file, line, heading, cell[:80], f"{why} {end}".rstrip(), mend, kind=self.kind)
            for file, line, heading, cell, (why, mend) in zip(
                names, lines, headings, cells, words, strict=True
            )
        ]

    def json(self, at: NDArray[np.integer]) -> list[str]:
        """Return the findings (k,) of the rows `rows[at]` as JSON, as `Finding.to_dict` has them.

        The same parts are written once; a million findings are made of few.
        """
        names, lines, headings, cells, words = self._parts(at)
        end, kind = OUTCOMES[self.outcome], quoted(self.kind)
        file_of = {file: quoted(file) for file in set(names)}
        heading_of = {heading: quoted(heading) for heading in set(headings)}
        ends: dict[tuple[str, str], str] = {}
        texts: list[str] = []
        for file, line, heading, cell, both in zip(
            names, lines, headings, cells, words, strict=True
        ):
            told = ends.get(both)
            if told is None:
                why = quoted(f"{both[0]} {end}".rstrip())
                told = ends[both] = (
                    f'"reason": {why}, "mend": {quoted(both[1])}, "stops": false, "kind": {kind}}}'
                )
            texts.append(
                f'{{"file": {file_of[file]}, "line": {line}, "column": {heading_of[heading]}, '
                f'"value": {quoted(cell[:80])}, {told}'
            )
        return texts

    def set_aside(self, rows: NDArray[np.integer]) -> list[str]:
        """Return why each of some rows is set aside, as its table says it."""
        headings = self._headings(rows)
        words = self._words(rows, self._cells(rows))
        return [
            f"{heading}: {why}" if heading else why
            for heading, (why, _) in zip(headings, words, strict=True)
        ]

    def _parts(
        self, at: NDArray[np.integer]
    ) -> tuple[list[str], list[int], list[str], list[str], list[tuple[str, str]]]:
        """Return file, line, heading and cell, and reason and mend, of the rows `rows[at]`."""
        rows = self.rows[at]
        files = self.places.files
        names = [files[i] for i in self.places.file[rows].tolist()]
        cells = self._cells(rows)
        lines: list[int] = self.places.line[rows].tolist()
        return names, lines, self._headings(rows), cells, self._words(rows, cells)

    def _headings(self, rows: NDArray[np.integer]) -> list[str]:
        return self.places.headings(self.column, rows) if self.column else [""] * len(rows)

    def _cells(self, rows: NDArray[np.integer]) -> list[str]:
        if self.value is not None:
            return [self.value.make(row) for row in rows.tolist()]
        if not self.column:
            return [""] * len(rows)
        cells: list[str] = uncoded(self.places.raw(self.column).take(pa.array(rows))).to_pylist()
        return cells

    def _words(self, rows: NDArray[np.integer], cells: list[str]) -> list[tuple[str, str]]:
        """Return reason and mend of each row; equal cells get equal words, made once."""
        reason, mend = self.reason, self.mend
        if isinstance(reason, str) and isinstance(mend, str):
            return [(reason, mend)] * len(rows)
        if isinstance(reason, OfRow) or isinstance(mend, OfRow):
            return [
                (worded(reason, row, cell), worded(mend, row, cell))
                for row, cell in zip(rows.tolist(), cells, strict=True)
            ]
        words = []
        for cell in cells:
            made = self._made.get(cell)
            if made is None:
                if len(self._made) > _MOST_MADE:
                    self._made.clear()
                made = self._made[cell] = worded(reason, -1, cell), worded(mend, -1, cell)
            words.append(made)
        return words


#: Words that are kept for cells met again.
_MOST_MADE = 10_000
#: Findings that are made together: first, for who looks at the first few, and later.
_FEWEST, _MOST = 32, 8192
#: Findings that are printed of many.
_MOST_SHOWN = 30
#: Suggestions are made for no more different cells than this
#: (`bpvet.records.headings.near_names.hints`).
RATION = 1000


def worded(words: Words, row: int, cell: str) -> str:
    """Return the words for one row and its cell."""
    if isinstance(words, str):
        return words
    return words.make(row) if isinstance(words, OfRow) else words(cell)


def in_turn(words: Callable[[str], str], cells: Callable[[], pa.Array]) -> Callable[[str], str]:
    """Return the same words, the first of the different cells being worded in their order.

    For words that are rationed: whoever looks at a later finding first shall read the same.
    """
    first: dict[str, str] = {}

    def made(cell: str) -> str:
        if not first:
            few = pc.unique(cells())[:RATION].to_pylist()
            first.update((text, words(text)) for text in few)
        return first[cell] if cell in first else words(cell)

    return made


def _among_lines(said: Said, lines: Mapping[str, Collection[int]]) -> NDArray[np.bool_]:
    """Return which of the findings (k,) of a check are about some lines of files."""
    file, line = said.places.file[said.rows], said.places.line[said.rows]
    found = np.zeros(len(line), dtype=bool)
    for index, name in enumerate(said.places.files):
        if asked := lines.get(name):
            found |= (file == index) & among(line, np.unique(list(asked)))
    return found


class Findings(Sequence[Finding]):
    """All findings of some records, by file in order of reading, then by line.

    It reads as a tuple of `Finding` and compares as one. What was said of many rows at once is
    worded one by one as it is looked at, so that its length and its slices cost next to nothing.

    Parameters
    ----------
    told : sequence of Finding and Said
        In the order in which it was said.
    files : sequence of str
        Names of the files in order of reading; findings about anything else come first.

    Attributes
    ----------
    told : tuple of Finding and Said
        As given.
    of, at : arrays of int (n,)
        For each finding: the index into `told`, and into the rows of it.
    """

    told: tuple[Finding | Said, ...]
    of: NDArray[np.int32]
    at: NDArray[np.int32]

    def __init__(self, told: Sequence[Finding | Said], files: Sequence[str] = ()) -> None:
        place = {file: i for i, file in enumerate(files)}
        where, lines, of, at = [], [], [], []
        for i, one in enumerate(told):
            if isinstance(one, Finding):
                where.append(np.array([place.get(one.file, -1)]))
                lines.append(np.array([one.line or 0]))
            else:
                names = np.array([place.get(file, -1) for file in one.places.files])
                where.append(names[one.places.file[one.rows]])
                lines.append(one.places.line[one.rows])
            many = len(where[-1])
            of.append(np.full(many, i, dtype=np.int32))
            at.append(np.arange(many, dtype=np.int32))
        none = np.zeros(0, dtype=np.int32)
        order = np.lexsort((np.concatenate([none, *lines]), np.concatenate([none, *where])))
        of_each, at_each = np.concatenate([none, *of]), np.concatenate([none, *at])
        self._set(tuple(told), of_each[order], at_each[order])

    def _set(
        self, told: tuple[Finding | Said, ...], of: NDArray[np.int32], at: NDArray[np.int32]
    ) -> None:
        self.told, self.of, self.at = told, of, at

    def __len__(self) -> int:
        return len(self.of)

    @overload
    def __getitem__(self, index: int) -> Finding: ...

    @overload
    def __getitem__(self, index: slice) -> Findings: ...

    def __getitem__(self, index: int | slice) -> Finding | Findings:
        if not isinstance(index, slice):
            one = self.told[self.of[index]]
            return one if isinstance(one, Finding) else one.finding(int(self.at[index]))
        return self._some(index)

    def _some(self, index: slice | NDArray[np.bool_]) -> Findings:
        some = Findings.__new__(Findings)
        some._set(self.told, self.of[index], self.at[index])
        return some

    def __iter__(self) -> Iterator[Finding]:
        return self._each(lambda one: one, Said.many)

    def json(self) -> Iterator[str]:
        """Yield each finding as a JSON object, as `Finding.to_dict` has it, a few at once."""
        return self._each(lambda one: json.dumps(one.to_dict(), allow_nan=False), Said.json)

    def _each(
        self,
        one_of: Callable[[Finding], T],
        many_of: Callable[[Said, NDArray[np.int32]], list[T]],
    ) -> Iterator[T]:
        """Yield something made of each finding, in order; made together, a few thousand a time."""
        start, many = 0, _FEWEST
        while start < len(self):
            of, at = self.of[start : start + many], self.at[start : start + many]
            order = np.argsort(of, kind="stable")
            made: list[T] = []
            for places in np.split(order, np.flatnonzero(np.diff(of[order])) + 1):
                told = self.told[of[places[0]]]
                made += [one_of(told)] if isinstance(told, Finding) else many_of(told, at[places])
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
        few = "\n".join(str(one) for one in self[:_MOST_SHOWN])
        return f"{few}\n… and {len(self) - _MOST_SHOWN} more findings"

    def __reduce__(self) -> tuple[type[Findings], tuple[tuple[Finding, ...], tuple[str, ...]]]:
        each = tuple(self)
        return Findings, (each, tuple(dict.fromkeys(one.file for one in each)))

    def about(self, lines: Mapping[str, Collection[int]]) -> Findings:
        """Return the findings about some lines of files, and those about no line."""
        masks = [
            np.array([one.line is None or one.line in lines.get(one.file, ())])
            if isinstance(one, Finding)
            else _among_lines(one, lines)
            for one in self.told
        ]
        start = np.cumsum([0, *map(len, masks)])
        return self._some(np.concatenate([np.zeros(0, bool), *masks])[start[self.of] + self.at])

    def lines(self, places: NDArray[np.integer]) -> NDArray[np.int64]:
        """Return the lines of the findings at some places (k,); 0 for a whole file."""
        of, at = self.of[places], self.at[places]
        lines = np.zeros(len(of), dtype=np.int64)
        for i in np.unique(of).tolist():
            one, here = self.told[i], of == i
            if isinstance(one, Finding):
                lines[here] = one.line or 0
            else:
                lines[here] = one.places.line[one.rows[at[here]]]
        return lines

    @property
    def stopping(self) -> tuple[Finding, ...]:
        """The findings that stop the work; these are never said of many rows at once."""
        stops = [isinstance(one, Finding) and one.stops for one in self.told]
        return tuple(self._some(np.array([*stops, False], dtype=bool)[self.of]))
