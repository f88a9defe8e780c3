"""Placed readings, session by session in order of taking, each column made when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.made_tables import CodedReadings
from bpvet.records.parsing.arrow import numpy_of, text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.columns import each
from bpvet.records.parsing.packed import PackedNumbers, PackedTimes


class PlacedReadings:
    """The columns of readings, of which some rows are taken at a time.

    Parameters
    ----------
    readings : CodedReadings
        With their `fate`.
    """

    def __init__(self, readings: CodedReadings) -> None:
        self._columns = dict(readings.columns)
        self._coded: dict[str, Coded] = {}
        for name, column in readings.columns.items():
            if isinstance(column, Coded):
                self._columns[name], self._coded[name] = column.codes, column
        self._passed: dict[tuple[str, Hashable], NDArray[np.bool_]] = {}
        self._alike: dict[str, bool] = {}
        self._n = len(readings)

    def __len__(self) -> int:
        return self._n

    def column(self, name: str) -> Any:
        """Return a column (n,) as it is held: packed, or an array of numbers or codes."""
        return self._columns[name]

    def alike(self, name: str) -> bool:
        """Return whether a column holds one value throughout, as one that no file has."""
        if name not in self._alike:
            self._alike[name] = _all_alike(self._columns[name])
        return self._alike[name]

    def texts(self, name: str) -> NDArray[np.object_]:
        """Return the different texts (k,) of a column."""
        return self._coded[name].texts

    def cells(self, name: str) -> pa.Array:
        """Return the different texts (k,) of a column, as pyarrow has them."""
        return self._coded[name].cells

    def which(self, name: str, test: Callable[[str], bool]) -> NDArray[np.bool_]:
        """Return which of the different texts of a column pass a test, asked once of each."""
        if (name, test) not in self._passed:
            texts = self.texts(name)
            self._passed[name, test] = np.fromiter(map(test, texts.tolist()), bool, len(texts))
        return self._passed[name, test]

    def bearing(self, name: str, words: tuple[str, ...]) -> NDArray[np.bool_]:
        """Return which of the different texts of a column are one of some words."""
        if (name, words) not in self._passed:
            among = pc.is_in(self.cells(name), value_set=text_column(words))
            self._passed[name, words] = numpy_of(among)
        return self._passed[name, words]

    def at(self, row: NDArray[np.signedinteger] | slice) -> Part:
        """Return some rows (m,), in any order, or those of a slice without a step."""
        if isinstance(row, slice):
            row = slice(*row.indices(self._n))
        elif len(row) and row[-1] - row[0] == len(row) - 1 and (np.diff(row) == 1).all():
            # What stands together need not be gathered.
            row = slice(int(row[0]), int(row[-1]) + 1)
        return Part(self, row)

    def taken(self, name: str, row: NDArray[np.signedinteger] | slice) -> NDArray[Any]:
        """Return some rows (m,) of a column: numbers, or codes into its texts."""
        column = self._columns[name]
        if isinstance(column, PackedNumbers | PackedTimes):
            taken: NDArray[Any] = column.at(row)
            return taken
        if isinstance(row, slice) or not self.alike(name):
            return column[row]
        # A column that is the same throughout need not be put in order.
        return column[: len(row)]


class Part:
    """Some placed readings, each column made once.

    Parameters
    ----------
    source : PlacedReadings
    row : (m,) array of int, or slice
        Positions in it.
    """

    def __init__(self, source: PlacedReadings, row: NDArray[np.signedinteger] | slice) -> None:
        self._source, self._row = source, row
        self._kept: dict[str, NDArray[Any]] = {}

    def __len__(self) -> int:
        row = self._row
        return row.stop - row.start if isinstance(row, slice) else len(row)

    def numbers(self, name: str) -> NDArray[Any]:
        """Return a column of numbers (m,), which is not to be altered."""
        if name not in self._kept:
            self._kept[name] = self._source.taken(name, self._row)
        return self._kept[name]

    def codes(self, name: str) -> NDArray[np.integer]:
        """Return a column of texts as codes (m,) into `PlacedReadings.texts`."""
        return self.numbers(name)

    def texts(self, name: str) -> NDArray[np.object_]:
        """Return the different texts (k,) of a column."""
        return self._source.texts(name)

    def cells(self, name: str) -> pa.Array:
        """Return the different texts (k,) of a column, as pyarrow has them."""
        return self._source.cells(name)

    def alike(self, name: str) -> bool:
        """Return whether the whole column holds one value throughout."""
        return self._source.alike(name)

    def bears(self, name: str, *words: str) -> NDArray[np.bool_]:
        """Return which rows (m,) bear one of some words in a column of texts."""
        return _of_texts(self._source.bearing(name, words), self.codes(name))

    def passes(self, name: str, test: Callable[[str], bool]) -> NDArray[np.bool_]:
        """Return which rows (m,) have a text that passes a test, in a column of texts."""
        return _of_texts(self._source.which(name, test), self.codes(name))

    def has_number(self, name: str) -> NDArray[np.bool_]:
        """Return which rows (m,) have a number in a column whose bounds may be "no sound"."""
        given: NDArray[np.bool_] = ~np.isnan(self.numbers(name))
        return given & ~self.bears(f"{name}_bound", "no sound")


def _of_texts(found: NDArray[np.bool_], codes: NDArray[np.integer]) -> NDArray[np.bool_]:
    """Return what was found of each text for the rows (n,) that bear it."""
    places = np.flatnonzero(found)
    if len(codes) and codes.strides[0] == 0:
        # One text throughout need not be looked at row by row.
        return np.full(len(codes), found[codes[0]])
    if not len(places):
        return np.zeros(len(codes), dtype=bool)
    if len(places) == 1:
        return codes == places[0]
    return each(found, codes)


def _all_alike(values: Any) -> bool:
    if not isinstance(values, np.ndarray) or not len(values) or values.dtype.kind not in "fiub":
        return False
    if values.strides[0] == 0:
        return True
    return bool(np.isnan(values).all() if values[0] != values[0] else (values == values[0]).all())
