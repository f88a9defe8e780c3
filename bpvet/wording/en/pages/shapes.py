"""What pages are worded as, in plain text and before any markup: heads, cards and tables."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import NamedTuple

from bpvet.frozen import dataclass

#: Shown where there is no number.
NONE = "–"


class Card(NamedTuple):
    """A question, its answer in a phrase, and what it rests on."""

    question: str
    lead: str
    detail: str


@dataclass(frozen=True)
class Head:
    """The head of a page on many animals.

    Parameters
    ----------
    title : str
    basis : str
        What it rests on.
    cards : tuple of Card
        What to know now.
    """

    title: str
    basis: str
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class Column:
    """A column of a table: its head, and whether it holds numbers (set flush right)."""

    head: str
    number: bool = False


@dataclass(frozen=True)
class Table:
    """A table, and what is said below it.

    Parameters
    ----------
    caption : str
        What it shows; also names the region in which a wide table scrolls.
    columns : sequence of Column
        The first heads the rows.
    rows : sequence of sequence of str
        Cells, each row as long as `columns`.
    notes : sequence of str
        Sentences below it.
    wide : bool
        Whether it may be wider than the page.
    marked : collection of int
        Indices of rows that are set back, such as sessions outside the trend.
    ids : sequence of str
        Id of each row, for links that lead to it; none by default.
    """

    caption: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]
    notes: Sequence[str] = ()
    wide: bool = True
    marked: Collection[int] = ()
    ids: Sequence[str] = ()

    @property
    def text(self) -> str:
        """The same in lines, blank cells left out."""
        rows = ("  ".join(filter(None, row)) for row in self.rows)
        return "\n".join(filter(None, (self.caption, *rows, *self.notes)))
