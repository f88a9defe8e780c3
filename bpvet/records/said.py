"""What was said of many rows at once; each row's finding is worded when it is looked at.

A file in which a million rows are bad has a million findings, and nobody reads them all. So a
check leaves the rows and how to word them, and no text is made for a row that nobody asks for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Protocol, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.findings import Finding

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
        row = int(self.rows[at])
        cell = self._cell(row)
        why, mend = self._words(row, cell)
        return Finding(
            file=self.places.files[self.places.file[row]],
            line=int(self.places.line[row]),
            column=self.places.heading(self.column, row) if self.column else "",
            value=cell[:80],
            reason=f"{why} {OUTCOMES[self.outcome]}".rstrip(),
            mend=mend,
            kind=self.kind,
        )

    def set_aside(self, row: int) -> str:
        """Return why a row is set aside, as its table says it."""
        why = self._words(row, self._cell(row))[0]
        heading = self.places.heading(self.column, row) if self.column else ""
        return f"{heading}: {why}" if heading else why

    def _cell(self, row: int) -> str:
        if self.value is not None:
            return self.value.make(row)
        return self.places.cell(self.column, row) if self.column else ""

    def _words(self, row: int, cell: str) -> tuple[str, str]:
        """Return reason and mend; equal cells get equal words, made once."""
        if isinstance(self.reason, OfRow) or isinstance(self.mend, OfRow):
            return worded(self.reason, row, cell), worded(self.mend, row, cell)
        if cell not in self._made:
            if len(self._made) > _MOST_MADE:
                self._made.clear()
            self._made[cell] = worded(self.reason, row, cell), worded(self.mend, row, cell)
        return self._made[cell]


#: Words that are kept for cells met again.
_MOST_MADE = 10_000
#: Suggestions are made for no more different cells than this (`bpvet.records.suggest.hints`).
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
    """

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
        self._told, self._of, self._at = told, of, at

    def __len__(self) -> int:
        return len(self._of)

    @overload
    def __getitem__(self, index: int) -> Finding: ...

    @overload
    def __getitem__(self, index: slice) -> Findings: ...

    def __getitem__(self, index: int | slice) -> Finding | Findings:
        if not isinstance(index, slice):
            one = self._told[self._of[index]]
            return one if isinstance(one, Finding) else one.finding(int(self._at[index]))
        return self._some(index)

    def _some(self, index: slice | NDArray[np.bool_]) -> Findings:
        some = Findings.__new__(Findings)
        some._set(self._told, self._of[index], self._at[index])
        return some

    def __iter__(self) -> Iterator[Finding]:
        for of, at in zip(self._of.tolist(), self._at.tolist(), strict=True):
            one = self._told[of]
            yield one if isinstance(one, Finding) else one.finding(at)

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
        return repr(tuple(self))

    def __reduce__(self) -> tuple[type[Findings], tuple[tuple[Finding, ...], tuple[str, ...]]]:
        each = tuple(self)
        return Findings, (each, tuple(dict.fromkeys(one.file for one in each)))

    @property
    def stopping(self) -> tuple[Finding, ...]:
        """The findings that stop the work; these are never said of many rows at once."""
        stops = [isinstance(one, Finding) and one.stops for one in self._told]
        return tuple(self._some(np.array([*stops, False], dtype=bool)[self._of]))
