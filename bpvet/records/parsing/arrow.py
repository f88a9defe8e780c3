"""Columns between NumPy and Arrow by their buffers, for whom pandas need not be loaded.

`pyarrow.array`, `pyarrow.scalar` and `to_numpy` import pandas at their first use wherever it is
installed, and a comparison with a plain text does so too. What is here does not, and copies no
numbers.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from itertools import accumulate
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

#: So many texts are told letter by letter; of more, Arrow's own way is quicker, pandas or not.
_FEW = 10_000


def arrow_of(values: Any) -> pa.Array:
    """Return whole or decimal numbers, or truth values, (n,) as an Arrow column.

    Numbers are of the same memory.

    Examples
    --------
    >>> arrow_of(np.array([3, 4], dtype=np.int8)).type
    DataType(int8)
    >>> arrow_of(np.array([True, False])).to_pylist()
    [True, False]
    """
    row_by_row = np.ascontiguousarray(values)
    if row_by_row.dtype == bool:
        # Arrow packs eight of them in a byte.
        packed = pa.py_buffer(np.packbits(row_by_row, bitorder="little"))
        return pa.Array.from_buffers(pa.bool_(), len(row_by_row), [None, packed])
    kind = pa.from_numpy_dtype(row_by_row.dtype)
    return pa.Array.from_buffers(kind, len(row_by_row), [None, pa.py_buffer(row_by_row)])


def numpy_of(column: Any) -> NDArray[Any]:
    """Return an Arrow column (n,), nothing in which is null, as an array; texts are objects.

    Numbers are of the same memory, and read-only.

    Examples
    --------
    >>> numpy_of(arrow_of(np.array([3, 4])))
    array([3, 4])
    >>> numpy_of(text_column(["tail"]))
    array(['tail'], dtype=object)
    """
    if isinstance(column, pa.ChunkedArray):
        column = column.combine_chunks()
    if pa.types.is_large_string(column.type) or pa.types.is_string(column.type):
        if len(column) > _FEW:
            return column.to_numpy(zero_copy_only=False)
        texts = np.empty(len(column), dtype=object)
        texts[:] = column.to_pylist()
        return texts
    if not pa.types.is_boolean(column.type):
        numbers: NDArray[Any] = np.from_dlpack(column)
        return numbers
    packed = np.frombuffer(column.buffers()[1] or b"", np.uint8)
    end = column.offset + len(column)
    return np.unpackbits(packed, count=end, bitorder="little")[column.offset :].view(bool)


@lru_cache(maxsize=256)
def scalar_of(value: str | int) -> pa.Scalar:
    """Return a text, or a whole number, as functions of Arrow take it beside a column."""
    return (text_column([value]) if isinstance(value, str) else arrow_of(np.array([value])))[0]


def text_column(texts: Iterable[str]) -> pa.Array:
    """Return texts (n,) as an Arrow column.

    Examples
    --------
    >>> text_column(["tail", ""]).to_pylist()
    ['tail', '']
    """
    every = texts if isinstance(texts, list) else list(texts)
    if len(every) > _FEW:
        return pa.array(every, pa.large_string())
    letters = [text.encode() for text in every]
    ends = np.fromiter(accumulate(map(len, letters), initial=0), np.int64, len(letters) + 1)
    buffers = [None, pa.py_buffer(ends), pa.py_buffer(b"".join(letters))]
    return pa.Array.from_buffers(pa.large_string(), len(letters), buffers)
