"""Columns between NumPy and Arrow by their buffers, for whom pandas need not be loaded.

`pyarrow.array`, `pyarrow.scalar` and `to_numpy` import pandas at their first use wherever it is
installed, and a comparison with a plain text does so too. What is here does not, and copies no
numbers.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import accumulate
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray


def arrow_of(numbers: NDArray[Any]) -> pa.Array:
    """Return whole or decimal numbers (n,) as an Arrow column of the same memory.

    Examples
    --------
    >>> arrow_of(np.array([3, 4], dtype=np.int8)).type
    DataType(int8)
    """
    row_by_row = np.ascontiguousarray(numbers)
    kind = pa.from_numpy_dtype(row_by_row.dtype)
    return pa.Array.from_buffers(kind, len(row_by_row), [None, pa.py_buffer(row_by_row)])


def numpy_of(column: pa.Array) -> NDArray[Any]:
    """Return an Arrow column (n,) of numbers or truth values, none of them null, as an array.

    Numbers are of the same memory, and read-only.

    Examples
    --------
    >>> numpy_of(arrow_of(np.array([3, 4])))
    array([3, 4])
    """
    if not pa.types.is_boolean(column.type):
        numbers: NDArray[Any] = np.from_dlpack(column)
        return numbers
    # Arrow packs eight of them in a byte.
    packed = np.frombuffer(column.buffers()[1] or b"", np.uint8)
    end = column.offset + len(column)
    return np.unpackbits(packed, count=end, bitorder="little")[column.offset :].view(bool)


def text_column(texts: Iterable[str]) -> pa.Array:
    """Return texts (n,) as an Arrow column.

    Examples
    --------
    >>> text_column(["tail", ""]).to_pylist()
    ['tail', '']
    """
    letters = [text.encode() for text in texts]
    ends = np.fromiter(accumulate(map(len, letters), initial=0), np.int64, len(letters) + 1)
    buffers = [None, pa.py_buffer(ends), pa.py_buffer(b"".join(letters))]
    return pa.Array.from_buffers(pa.large_string(), len(letters), buffers)
