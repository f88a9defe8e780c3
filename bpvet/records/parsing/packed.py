"""Columns of millions of rows held in a few bytes a row, and made whole while they are worked on.

Pressures have few different values, and a date's text says no more than its seconds do. So numbers
are kept as the codes that their cells have already, times as seconds, and texts of one shape as
the times that were read of them. Every digit comes back as it was: what does not is kept aside.
"""

from __future__ import annotations

from collections import UserDict
from collections.abc import Callable
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.parsing.arrow import arrow_of, text_column
from bpvet.records.parsing.columns import TEXT, bits, constant, each
from bpvet.records.parsing.iso_dates import shaped

#: Rows that are packed at once, so that what is worked on stays in the processor's cache.
_ROWS = 1 << 15
#: One row in so many may be kept aside; of more the column is kept as it is.
_ASIDE = 32
_NEVER = np.iinfo(np.int32).min
_SECOND = 1_000_000_000
_DAY = 86_400

Codes = NDArray[np.integer]


@dataclass(frozen=True, eq=False)
class PackedNumbers:
    """Numbers by codes into a few of them.

    Parameters
    ----------
    few : array of float (m,)
    code : array of int (n,)
        Index into `few`.
    rows, aside : arrays (k,)
        Rows, in order, that have another number, and these.
    """

    few: NDArray[np.float64]
    code: Codes
    rows: Codes
    aside: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.code)

    def __getitem__(self, row: int) -> float:
        """Return the number of one row."""
        if len(self.rows):
            at = int(np.searchsorted(self.rows, row))
            if at < len(self.rows) and self.rows[at] == row:
                return float(self.aside[at])
        return float(self.few[self.code[row]])

    def whole(self) -> NDArray[np.float64]:
        """Return the numbers (n,)."""
        found = each(self.few, self.code)
        found[self.rows] = self.aside
        return found

    def at(self, row: Codes | slice) -> NDArray[np.float64]:
        """Return the numbers (k,) of some rows: any, or those of a slice without a step."""
        found = each(self.few, self.code[row])
        if isinstance(row, slice):
            start, stop, _ = row.indices(len(self))
            first, last = np.searchsorted(self.rows, (start, stop))
            found[self.rows[first:last] - start] = self.aside[first:last]
            return found
        if len(self.rows):
            position = np.minimum(np.searchsorted(self.rows, row), len(self.rows) - 1)
            mine = self.rows[position] == row
            found[mine] = self.aside[position[mine]]
        return found

    def which(self, test: Callable[[NDArray[np.float64]], NDArray[np.bool_]]) -> NDArray[np.bool_]:
        """Return which numbers (n,) pass a test, made of each different one once."""
        passed = test(self.few)
        found = each(passed, self.code) if passed.any() else np.zeros(len(self), dtype=bool)
        found[self.rows] = test(self.aside)
        return found

    def replaced(self, value: NDArray[np.float64]) -> PackedNumbers | NDArray[np.float64]:
        """Return other numbers (n,) that mostly are these, packed if that saves room."""
        return packed_numbers(value, self.few, self.code)


@dataclass(frozen=True, eq=False)
class PackedTimes:
    """Whole seconds since 1970-01-01.

    Parameters
    ----------
    seconds : array of int32 (n,)
    days : bool
        Whether the date alone is meant: the midnight before each.
    """

    seconds: NDArray[np.int32]
    days: bool = False

    def __len__(self) -> int:
        return len(self.seconds)

    def __getitem__(self, row: int) -> np.datetime64:
        """Return the time of one row."""
        moment: np.datetime64 = self.at(np.array([row]))[0]
        return moment

    def whole(self) -> NDArray[np.datetime64]:
        """Return the times as datetime64[ns] (n,), NaT where there is none."""
        found = np.empty(len(self.seconds), dtype="datetime64[ns]")
        for start in range(0, len(found), _ROWS):
            found[start : start + _ROWS] = self.at(slice(start, start + _ROWS))
        return found

    def at(self, row: Codes | slice) -> NDArray[np.datetime64]:
        """Return the times (k,) of some rows, in any order."""
        seconds = self.seconds[row]
        found = seconds.astype(np.int64)
        if self.days:
            found -= seconds % np.int32(_DAY)
        found *= _SECOND
        found[seconds == _NEVER] = np.iinfo(np.int64).min
        return found.view("datetime64[ns]")

    def given(self) -> NDArray[np.bool_]:
        """Return which rows (n,) have a time."""
        return self.seconds != _NEVER

    def dated_after(self, day: np.datetime64) -> NDArray[np.bool_]:
        """Return which rows (n,) have a date that is later than a day, as datetime64[D]."""
        return self.seconds >= (int(day.astype(np.int64)) + 1) * _DAY


@dataclass(frozen=True, eq=False)
class PackedTexts:
    """Texts of dates and times, all of one shape, by what they say.

    Parameters
    ----------
    times : PackedTimes
    mark : str
        What stands between date and time; "" where a date stands alone.
    width : int
        Letters of each: 10, 16 or 19.
    rows : array of int (k,)
        Rows, in order, whose text has another shape.
    aside : pyarrow array of text (k,)
        Their texts.
    """

    times: PackedTimes
    mark: str
    width: int
    rows: Codes
    aside: pa.Array

    def __len__(self) -> int:
        return len(self.times)

    def whole(self) -> pa.Array:
        """Return the texts (n,)."""
        blocks = range(0, len(self), 8 * _ROWS)
        every = np.arange(len(self))
        parts = (self.at(every[start : start + 8 * _ROWS]) for start in blocks)
        return pa.concat_arrays([text_column([]), *parts])

    def at(self, row: Codes) -> pa.Array:
        """Return the texts (k,) of some rows, in any order."""
        moments = self.times.at(row).astype("datetime64[s]")
        made = np.datetime_as_string(moments)
        letters = np.ascontiguousarray(made).view(np.uint32).reshape(len(row), -1)[:, : self.width]
        letters = letters.astype(np.uint8)
        if self.mark:
            letters[:, 10] = ord(self.mark)
        ends = np.arange(len(row) + 1, dtype=np.int64) * self.width
        buffers = [None, pa.py_buffer(ends), pa.py_buffer(np.ascontiguousarray(letters))]
        texts = pa.Array.from_buffers(TEXT, len(row), buffers)
        if len(self.rows):
            position = np.minimum(np.searchsorted(self.rows, row), len(self.rows) - 1)
            mine = self.rows[position] == row
            if mine.any():
                found = texts.to_pylist()
                for i in np.flatnonzero(mine).tolist():
                    found[i] = self.aside[int(position[i])].as_py()
                texts = text_column(found)
        return texts


def packed_numbers(
    value: NDArray[np.float64], few: NDArray[np.float64], code: Codes
) -> PackedNumbers | NDArray[np.float64]:
    """Return numbers (n,), most of which are those of their codes, packed if that saves room."""
    if 4 * len(few) > len(code):
        return value
    found = [np.zeros(0, dtype=np.int64)]
    for start in range(0, len(value), _ROWS):
        some = slice(start, start + _ROWS)
        found.append(start + np.flatnonzero(bits(value[some]) != bits(few[code[some]])))
    rows = np.concatenate(found)
    if _ASIDE * len(rows) > len(value):
        return value
    return PackedNumbers(few, code, rows, value[rows])


def packed_times(
    moment: NDArray[np.datetime64], date: NDArray[np.datetime64]
) -> tuple[PackedTimes, PackedTimes] | None:
    """Return times as datetime64[ns] (n,) and their dates, packed; None where that loses any.

    `date` are those dates, as datetime64[D].
    """
    seconds = np.empty(len(moment), dtype=np.int32)
    for start in range(0, len(moment), _ROWS):
        some = slice(start, start + _ROWS)
        exact = moment[some].view(np.int64)
        whole = exact // _SECOND
        lost = (whole * _SECOND != exact) | (np.abs(whole) >= -int(_NEVER))
        lost |= whole // _DAY != date[some].view(np.int64)
        never = np.isnat(moment[some])
        if never.any():
            whole[never] = _NEVER
            lost = np.where(never, ~np.isnat(date[some]), lost)
        if lost.any():
            return None
        seconds[some] = whole
    return PackedTimes(seconds), PackedTimes(seconds, days=True)


def packed_texts(cells: pa.Array, times: PackedTimes) -> PackedTexts | None:
    """Return the texts (n,) from which times were read, packed; None where that saves no room."""
    if not len(cells) or not pa.types.is_large_string(cells.type):
        return None
    found = shaped(cells)
    if found is None:
        return None
    mark, width, same = found
    rows = np.flatnonzero(~same | (times.seconds == _NEVER))
    if _ASIDE * len(rows) > len(cells):
        return None
    return PackedTexts(times, mark, width, rows, cells.take(arrow_of(rows)))


class Values(UserDict[str, Any]):
    """A table's columns: arrays of numbers or dates, or pyarrow arrays of text, each (n,).

    What is packed is made whole when it is asked for by name.
    """

    def __getitem__(self, name: str) -> Any:
        column = self.data[name]
        return column.whole() if isinstance(column, PackedNumbers | PackedTimes) else column

    def __setitem__(self, name: str, column: Any) -> None:
        old = self.data.get(name)
        if isinstance(column, np.ndarray) and len(column):
            if isinstance(old, PackedNumbers):
                column = old.replaced(column)
            elif column.dtype == bool and (column == column[0]).all():
                column = constant(column[0], len(column), bool)
        self.data[name] = column

    def at(self, name: str, row: Codes | slice) -> Any:
        """Return some rows (k,) of a column of numbers or dates."""
        column = self.data[name]
        return column.at(row) if isinstance(column, PackedNumbers | PackedTimes) else column[row]

    def which(
        self, name: str, test: Callable[[NDArray[np.float64]], NDArray[np.bool_]]
    ) -> NDArray[np.bool_]:
        """Return which rows (n,) of a column of numbers pass a test."""
        column = self.data[name]
        return column.which(test) if isinstance(column, PackedNumbers) else test(column)

    def given(self, name: str) -> NDArray[np.bool_]:
        """Return which rows (n,) of a column of dates have one."""
        column = self.data[name]
        found: NDArray[np.bool_] = (
            column.given() if isinstance(column, PackedTimes) else ~np.isnat(column)
        )
        return found

    def packed(self, name: str) -> Any:
        """Return a column as it is held; asked by its number, it gives what stands in a row."""
        return self.data[name]
