"""What is odd in one sheet of a workbook, and how far the sheet reaches."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(eq=False)
class Oddities:
    """What is odd in one sheet, by the places of cells such as "B7".

    Parameters
    ----------
    hidden_rows : list of int
        Numbers of the rows that are hidden.
    merged : list of str
        Ranges of merged cells.
    errors : list of str
        Cells that hold an error.
    without_value : dict of (int, int) to str
        By row and column (from 1), cells whose formula has no stored value.
    """

    hidden_rows: list[int] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    without_value: dict[tuple[int, int], str] = field(default_factory=dict)


@dataclass(eq=False)
class Reach:
    """How far a sheet reaches, and the errors in its cells; of plain sheets only.

    Parameters
    ----------
    rows, columns : int
        The last row and column that hold a value; 0 where none does.
    errors : list of (array of int (n,), array of int (n,), list of str)
        Rows (ascending) and columns, from 1, of cells that hold an error, with its name.
    """

    rows: int = 0
    columns: int = 0
    errors: list[tuple[NDArray[np.int32], NDArray[np.int32], list[str]]] = field(
        default_factory=list
    )

    def errors_from(self, line: int) -> Iterator[tuple[int, int, str]]:
        """Yield row, column and name of the errors from a line on."""
        for rows, columns, names in self.errors:
            if rows[-1] >= line:
                at = int(np.searchsorted(rows, line))
                yield from zip(rows[at:].tolist(), columns[at:].tolist(), names[at:], strict=True)
