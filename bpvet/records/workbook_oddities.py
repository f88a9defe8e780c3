"""What is odd in one sheet of a workbook, and how far the sheet reaches."""

from __future__ import annotations

from dataclasses import dataclass, field


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
    errors : list of (int, int, str)
        Row and column (from 1) of every cell that holds an error, by rows, with the error's name.
    """

    rows: int = 0
    columns: int = 0
    errors: list[tuple[int, int, str]] = field(default_factory=list)
