"""Dates and times written as ISO 8601 has them, read from a column's bytes all at once.

Nearly every cell of a well-kept file is one of three shapes, YYYY-MM-DD alone or with hh:mm or
hh:mm:ss. What is none of them, or is no day of the calendar, is left to the patterns of
`bpvet.records.parsing.dates`, which are slower by far.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.frozen import dataclass

#: Where the pairs of digits of each shape begin; where its marks stand.
_PAIRS = (0, 2, 5, 8, 11, 14, 17)
_SHAPES = {10: 4, 16: 6, 19: 7}
#: Rows that are read at once, so that what is worked on stays in the processor's cache.
_ROWS = 1 << 15
#: Years that nanoseconds can hold.
FIRST_YEAR, LAST_YEAR = 1678, 2261
_NO_DAY = np.iinfo(np.int32).min


@dataclass(frozen=True, eq=False)
class IsoDates:
    """What was read of each text (n,).

    Parameters
    ----------
    read : array of bool
        Texts of one of the shapes that are a day of the calendar and a time of the clock.
    day : array of int64
        Days since 1970-01-01; of no meaning where nothing was read.
    moment : array of int64
        Nanoseconds since 1970-01-01, likewise.
    timed : array of bool
        Whether a time of day was read.
    """

    read: NDArray[np.bool_]
    day: NDArray[np.int64]
    moment: NDArray[np.int64]
    timed: NDArray[np.bool_]


def iso_dates(texts: pa.Array, times: bool) -> IsoDates:
    """Return the dates and times of texts.

    Parameters
    ----------
    texts : pyarrow array of large_string (n,)
        None of them null.
    times : bool
        Whether a time of day may follow the date.
    """
    n = len(texts)
    _, places, data = texts.buffers()
    if n == 0 or data is None:
        nothing = np.zeros(n, dtype=np.int64)
        return IsoDates(nothing.astype(bool), nothing, nothing, nothing.astype(bool))
    ends = np.frombuffer(places, np.int64)[texts.offset : texts.offset + n + 1]
    letters = np.frombuffer(data, np.uint8)
    read, timed = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
    day, moment = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.int64)
    for at in range(0, n, _ROWS):
        some = slice(at, min(at + _ROWS, n))
        start = ends[some]
        length = ends[some.start + 1 : some.stop + 1] - start
        for width, pairs in _SHAPES.items():
            if width > 10 and not times:
                break
            mine = length == width
            many = np.count_nonzero(mine)
            if not many:
                continue
            # Texts of one width stand end to end, unless another stands between them.
            rows: slice | NDArray[np.bool_] = mine
            if many == len(start):
                rows = slice(None)
                block = letters[start[0] : start[0] + width * len(start)].reshape(-1, width)
            else:
                block = letters[start[mine][:, None] + np.arange(width)]
            good, of_day, of_clock = _read(np.ascontiguousarray(block.T), pairs)
            read[some][rows] = good
            day[some][rows] = of_day
            moment[some][rows] = (of_day.astype(np.int64) * 86_400 + of_clock) * 1_000_000_000
            timed[some][rows] = good & (width > 10)
    return IsoDates(read, day, moment, timed)


def shaped(texts: pa.Array) -> tuple[str, int, NDArray[np.bool_]] | None:
    """Return the mark and the width of the first text's shape, and which texts (n,) have it.

    A date or time that was read of such a text says all of it. None where the first has no shape.

    Parameters
    ----------
    texts : pyarrow array of large_string (n,)
        None of them null; at least one.
    """
    first = texts[0].as_py()
    width, mark = len(first), first[10:11]
    if width not in _SHAPES or (width > 10 and mark not in "T ") or not first.isascii():
        return None
    _, places, data = texts.buffers()
    n = len(texts)
    ends = np.frombuffer(places, np.int64)[texts.offset : texts.offset + n + 1]
    letters = np.frombuffer(data, np.uint8)
    same = np.empty(n, dtype=bool)
    marks = {4: "-", 7: "-", 10: mark, 13: ":", 16: ":"}
    for at in range(0, n, _ROWS):
        start, stop = ends[at : at + _ROWS + 1][:-1], ends[at : at + _ROWS + 1][1:]
        good = stop - start == width
        if good.all():
            block = letters[start[0] : stop[-1]].reshape(-1, width)
        else:
            # Of the others the bytes of the first text are looked at, and not counted.
            where = np.where(good, start, ends[0])
            block = letters[where[:, None] + np.arange(width)]
        for position, column in enumerate(np.ascontiguousarray(block.T)):
            if position in marks:
                good &= column == ord(marks[position])
            else:
                good &= column - np.uint8(48) <= 9
        same[at : at + _ROWS] = good
    return mark, width, same


def _read(
    letters: NDArray[np.uint8], pairs: int
) -> tuple[NDArray[np.bool_], NDArray[np.int32], NDArray[np.int32]]:
    """Return whether texts of one width (width, m) are read, and their day and second."""
    good = (letters[4] == ord("-")) & (letters[7] == ord("-"))
    if pairs > 4:
        good &= ((letters[10] == ord("T")) | (letters[10] == ord(" "))) & (letters[13] == ord(":"))
    if pairs > 6:
        good &= letters[16] == ord(":")
    numbers = []
    for position in _PAIRS[:pairs]:
        # Bytes before "0" wrap around to what is no digit either.
        tens, ones = letters[position] - np.uint8(48), letters[position + 1] - np.uint8(48)
        good &= (tens <= 9) & (ones <= 9)
        # Two digits fit a byte, and what is none is not read.
        numbers.append(tens * np.uint8(10) + ones)
    year = numbers[0].astype(np.int32) * 100 + numbers[1]
    month, date = numbers[2], numbers[3]
    good &= (year >= FIRST_YEAR) & (year <= LAST_YEAR) & (month >= 1) & (month <= 12)
    good &= (date >= 1) & (date <= 31)
    index = ((year - FIRST_YEAR) * 12 + month - 1) * 31 + date - 1
    index[~good] = 0
    day = _days()[index]
    good &= day != _NO_DAY
    second = np.zeros(len(good), dtype=np.int32)
    for number, most, worth in zip(numbers[4:], (24, 60, 60), (3600, 60, 1), strict=False):
        good &= number < most
        second += number.astype(np.int32) * np.int32(worth)
    return good, day, second


@cache
def _days() -> NDArray[np.int32]:
    """Return the days since 1970-01-01 of each year, month and date, 31 dates to a month."""
    first = np.arange(f"{FIRST_YEAR}-01", f"{LAST_YEAR + 1}-01", dtype="datetime64[M]")
    starts = first.astype("datetime64[D]").astype(np.int64)
    after = (first + 1).astype("datetime64[D]").astype(np.int64)
    days = starts[:, None] + np.arange(31)
    return np.where(days < after[:, None], days, _NO_DAY).astype(np.int32).ravel()
