"""Columns of whole numbers, which the parser converts, and the proof that it read no other text.

To number the texts of a cell costs three times what it costs to read a number, and most columns of
readings hold nothing but whole numbers. The parser takes more than those, though: " 140 ", "0140"
and "0x8C" are 140 to it. None of these is shorter than "140", and none as short. So if the texts
by which the numbers are written plainly have together as many letters as were read, each cell
holds just that text; if not, one holds another, and all are read again as text.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of, text_column
from bpvet.records.parsing.columns import code_type, distinct_cells, each

#: What the parser is asked for. Signs are none of it, so that no text but of digits is short.
WHOLE = pa.uint16()
#: Columns of a file that is read so: each takes some room, and no table of readings has more.
MOST_WHOLE = 100
#: What a blank cell is held as; a cell that says this number has more letters than a blank one.
_BLANK = np.iinfo(np.uint16).max
#: Rows that are looked at at once, so that they stay in the processor's cache.
_ROWS = 1 << 15
#: So few texts that each is counted by itself.
_FEW = 16
#: Numbers at the top that can still grow.
_PLAIN = r"^(?:0|[1-9][0-9]{0,3})?$"


class NotWholeError(Exception):
    """A cell of a column of whole numbers holds another text than its number plainly written."""


def holds_whole_numbers(cells: pa.Array) -> bool:
    """Return whether the cells at the top of a column are whole numbers, or blank but for some."""
    texts = pc.unique(cells)
    plain = pc.match_substring_regex(texts, _PLAIN)
    return bool(pc.all(plain, min_count=0).as_py()) and any(text for text in texts.to_pylist())


class WholeColumn:
    """The blocks of a column as codes into its different numbers, in order of first occurrence."""

    def __init__(self) -> None:
        self._codes: list[NDArray[np.signedinteger]] = []
        self._order: list[int] = []
        self._code_of = np.full(_BLANK + 1, -1, dtype=np.int32)

    def add(self, cells: pa.Array) -> None:
        """Add the next cells, null where they are blank."""
        numbers = numpy_of(pc.coalesce(cells, scalar_of(_BLANK)))
        code = each(self._code_of, numbers)
        new = numbers[code < 0]
        if len(new):
            met = list(dict.fromkeys(new.tolist()))
            self._code_of[met] = len(self._order) + np.arange(len(met))
            self._order += met
            code = each(self._code_of, numbers)
        self._codes.append(code.astype(code_type(len(self._order))))

    def taken(self) -> pa.Array:
        """Return all cells as one array, as codes into their texts; keep none."""
        none = np.zeros(0, dtype=np.int8)
        code = np.concatenate([none, *self._codes], dtype=code_type(len(self._order)))
        self._codes = []
        texts = ["" if number == _BLANK else str(number) for number in self._order]
        return pa.DictionaryArray.from_arrays(arrow_of(code), text_column(texts))


def letters_of(columns: Sequence[pa.Array]) -> int:
    """Return how many bytes the texts of all cells have, separators and line ends apart."""
    return sum(map(_letters, columns))


def _letters(cells: pa.Array) -> int:
    if not pa.types.is_dictionary(cells.type):
        return pc.sum(pc.binary_length(cells), min_count=0).as_py()
    texts, code = distinct_cells(cells)
    length = numpy_of(pc.binary_length(texts))
    if len(length) and (length == length[0]).all():
        return int(length[0]) * len(code)
    if len(length) <= _FEW:
        return sum(
            int(of_each) * int(np.count_nonzero(code == i)) for i, of_each in enumerate(length)
        )
    blocks = (code[at : at + _ROWS] for at in range(0, len(code), _ROWS))
    return sum(int(length[block].sum()) for block in blocks)
