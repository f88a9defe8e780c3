"""The columns of a table as arrays, or of some of its rows: what answers are worked out from.

Frames are for users. A column is made when it is asked for, and a choice of rows costs nothing
until then.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.records.checked_table import CheckedTable
from bpvet.records.parsing.arrow import arrow_of, numpy_of, text_column
from bpvet.records.parsing.columns import coded, distinct, is_text, uncoded
from bpvet.records.parsing.numbers import BOUND_WORDS
from bpvet.records.parsing.values import Values

Mask = NDArray[np.bool_]
Codes = NDArray[np.integer]


class TableColumns:
    """Rows of a table, by column.

    Parameters
    ----------
    make : mapping of str to callable
        By column what makes it, of all rows of the table: an array, or texts as pyarrow has them.
    count : int
        Rows of the table.
    """

    def __init__(self, make: Mapping[str, Callable[[], Any]], count: int) -> None:
        self._make, self._count = make, count
        self._whole: dict[str, Any] = {}
        self._some: dict[str, Any] = {}
        self._rows: NDArray[np.integer] | None = None

    def __len__(self) -> int:
        return self._count if self._rows is None else len(self._rows)

    def __contains__(self, column: object) -> bool:
        return column in self._make

    @property
    def names(self) -> tuple[str, ...]:
        """The columns, in the order of the table."""
        return tuple(self._make)

    def __getitem__(self, column: str) -> NDArray[Any]:
        """Return a column (n,), read-only: texts as objects, dates and numbers as in the frame."""
        if column not in self._some:
            cells = self.cells(column)
            if not isinstance(cells, np.ndarray):
                cells = numpy_of(uncoded(cells))
            found = cells.view()
            found.setflags(write=False)
            self._some[column] = found
        array: NDArray[Any] = self._some[column]
        return array

    def cells(self, column: str) -> Any:
        """Return a column (n,) as it is kept: an array, or texts as pyarrow has them."""
        if column not in self._whole:
            self._whole[column] = self._make[column]()
        whole = self._whole[column]
        if self._rows is None:
            return whole
        if isinstance(whole, np.ndarray):
            return whole[self._rows]
        return whole.take(arrow_of(self._rows))

    def days(self, column: str) -> NDArray[np.datetime64]:
        """Return a column of dates (n,) as days, NaT where there is none."""
        return self[column].astype("datetime64[D]")

    def is_text(self, column: str, text: str) -> Mask:
        """Return where a column of texts holds this one (n,)."""
        return is_text(self.cells(column), text)

    def among(self, column: str, texts: Iterable[str]) -> Mask:
        """Return where a column of texts holds one of these (n,)."""
        known, codes = self.coded(column)
        wanted = set(texts)
        return np.array([text in wanted for text in known], dtype=bool)[codes]

    def coded(self, column: str) -> tuple[list[str], Codes]:
        """Return the different texts of a column (m,), and the place among them of each row (n,).

        Some texts may be of other rows.
        """
        return distinct(self.cells(column))

    def different(self, column: str) -> tuple[list[str], Codes]:
        """Return the texts of these rows alone (m,), as met, and each row's index (n,) of them."""
        cells = self.cells(column)
        return distinct(coded(cells) if pa.types.is_dictionary(cells.type) else cells)

    def take(self, which: NDArray[Any]) -> TableColumns:
        """Return some of these rows.

        Parameters
        ----------
        which : (n,) bool or (k,) int
        """
        rows = np.flatnonzero(which) if which.dtype == bool else which
        found = TableColumns(self._make, self._count)
        found._whole = self._whole
        found._rows = rows if self._rows is None else self._rows[rows]
        return found


def table_columns(checked: CheckedTable, values: Values, order: Iterable[str]) -> TableColumns:
    """Return the columns of a table that was read and checked.

    Parameters
    ----------
    checked : CheckedTable
    values : Values
        Its values.
    order : iterable of str
        The columns wanted, in the order of the frame that users are handed.
    """
    known: dict[str, Callable[[], Any]] = {
        "file": lambda: pa.DictionaryArray.from_arrays(
            arrow_of(checked.file), text_column(checked.files)
        ),
        "line": lambda: checked.line.astype(np.int64),
        "set_aside": checked.reasons,
    }
    known |= {name: _cells(checked, name) for name in checked.unknown}
    make = {name: known.get(name) or _values(values, name) for name in order}
    return TableColumns(make, checked.n)


def _cells(checked: CheckedTable, name: str) -> Callable[[], Any]:
    return lambda: checked.cells(name)


def _values(values: Values, name: str) -> Callable[[], Any]:
    if not name.endswith("_bound"):
        return lambda: values[name]
    return lambda: pa.DictionaryArray.from_arrays(arrow_of(values[name]), text_column(BOUND_WORDS))
