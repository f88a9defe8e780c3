"""Columns of text that grow block by block, and are put together once all blocks are in."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from bpvet.records.parsing.arrow import arrow_of, numpy_of
from bpvet.records.parsing.columns import code_type, texts_end_to_end


class GatheredColumn:
    """The blocks of a column, as text or as codes; codes are kept as small as they can be."""

    def __init__(self) -> None:
        self._texts: list[pa.Array] = []
        self._codes: list[pa.Array] = []

    def add(self, cells: pa.Array) -> None:
        """Add the next cells: all blocks of a column are text, or all are codes."""
        if not pa.types.is_dictionary(cells.type):
            self._texts.append(cells)
            return
        self._texts.append(cells.dictionary)
        # By pyarrow, whose freed memory can be given back; numpy's would lie scattered among
        # the bytes of the blocks.
        narrow = pa.from_numpy_dtype(code_type(len(cells.dictionary)))
        self._codes.append(cells.indices.cast(narrow, safe=False))

    def taken(self) -> pa.Array:
        """Return all cells as one array, texts coded in order of first occurrence; keep none.

        Without any block these are no cells, as text.
        """
        texts, codes = self._texts, self._codes
        self._texts, self._codes = [], []
        if not codes:
            # One block is not copied.
            return texts[0] if len(texts) == 1 else texts_end_to_end(texts)
        # The texts of all blocks are numbered together: to look each block's up among all texts
        # would go through all of these for every block.
        numbered = pa.concat_arrays(texts).dictionary_encode()
        code = numpy_of(numbered.indices).astype(code_type(len(numbered.dictionary)))
        found = np.empty(sum(map(len, codes)), dtype=code.dtype)
        row = first = 0
        for some, of_block in zip(codes, texts, strict=True):
            block = code[first : first + len(of_block)]
            if len(some):
                np.take(block, numpy_of(some), out=found[row : row + len(some)], mode="clip")
            row, first = row + len(some), first + len(of_block)
        return pa.DictionaryArray.from_arrays(arrow_of(found), numbered.dictionary)
