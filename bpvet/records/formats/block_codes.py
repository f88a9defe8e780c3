"""Blocks of short texts to codes: few different texts are told apart as numbers of eight bytes.

A column of pressures, methods or names holds the same few texts over and over. Hashing each cell as
a text costs far more than to look its bytes up as two whole numbers, and to compare all of them.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.records.parsing.columns import TEXT, code_type

#: Letters, as bytes, of the longest text that is looked up, and the most texts.
_LONGEST, _MOST = 16, 4096
#: As many places as this are looked up in, so that hardly two texts have the same one.
_BITS = 16
_ODD = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F], dtype=np.uint64)
_SHIFT = np.uint64(64 - _BITS)
#: What is left of eight bytes of which so many are a text's.
_MASKS = np.array([(1 << 8 * size) - 1 for size in range(9)], dtype=np.uint64)

Words = NDArray[np.uint64]


class BlockCodes:
    """The different texts of a column, as far as they have been met."""

    def __init__(self) -> None:
        self._codes: dict[str, int] = {}
        # Each text by its code: its bytes as two numbers, and how many they are.
        self._words = np.zeros((2, _MOST), dtype=np.uint64)
        self._sizes = np.full(_MOST, -1, dtype=np.int32)
        self._codes_at = np.full(1 << _BITS, _MOST - 1, dtype=np.int16)

    def coded(self, cells: pa.Array) -> pa.DictionaryArray:
        """Return the next cells (n,) as codes into texts, these in the order of first occurrence.

        Parameters
        ----------
        cells : pyarrow array of string (n,)
            None of them null.
        """
        _, ends, letters = cells.buffers()
        place = np.frombuffer(ends, np.int32)[cells.offset : cells.offset + len(cells) + 1]
        sizes = np.diff(place)
        if not len(cells) or len(self._codes) >= _MOST // 2 or sizes.max() > _LONGEST:
            return _encoded(cells)
        words = _words(np.frombuffer(letters or b"", np.uint8), place[:-1], sizes)
        code = self._looked_up(words)
        unknown = np.flatnonzero(~self._are(code, words, sizes))
        if len(unknown):
            new = cells.take(pa.array(unknown)).dictionary_encode()
            if len(self._codes) + len(new.dictionary) >= _MOST // 2:
                return _encoded(cells)
            first = np.unique(new.indices.to_numpy(), return_index=True)[1]
            of_new = [
                self._added(text, words[:, row : row + 1], int(sizes[row]))
                for text, row in zip(
                    new.dictionary.to_pylist(), unknown[first].tolist(), strict=True
                )
            ]
            code[unknown] = np.array(of_new, dtype=code.dtype)[new.indices.to_numpy()]
        texts = pa.array(list(self._codes), TEXT)
        return pa.DictionaryArray.from_arrays(pa.array(code.astype(code_type(len(texts)))), texts)

    def _looked_up(self, words: Words) -> NDArray[np.int16]:
        """Return the likely code of each cell (n,)."""
        return np.take(self._codes_at, _places(words))

    def _are(
        self, code: NDArray[np.int16], words: Words, sizes: NDArray[np.int32]
    ) -> NDArray[np.bool_]:
        """Return which cells (n,) are the texts of their codes: every byte is compared."""
        same = np.take(self._sizes, code) == sizes
        for known, word in zip(self._words, words, strict=False):
            same &= np.take(known, code) == word
        return same

    def _added(self, text: str, words: Words, size: int) -> int:
        """Return the code of a text, given one if it is new; `words` are its own, (w, 1)."""
        code = self._codes.setdefault(text, len(self._codes))
        self._sizes[code] = size
        self._words[: len(words), code] = words[:, 0]
        at = int(_places(words)[0])
        # Where another text has the place, this one is looked for among the unknown each time.
        if self._codes_at[at] == _MOST - 1:
            self._codes_at[at] = code
        return code


def _words(letters: NDArray[np.uint8], start: NDArray[np.int32], sizes: NDArray[np.int32]) -> Words:
    """Return the bytes of texts (n,) as one or two numbers each, (w, n); what is missing is 0."""
    padded = np.zeros(len(letters) + 2 * 8, dtype=np.uint8)
    padded[: len(letters)] = letters
    eight = np.ndarray(len(letters) + 9, dtype="<u8", buffer=padded, strides=(1,))
    width = 1 if sizes.max() <= 8 else 2
    words = np.empty((width, len(start)), dtype=np.uint64)
    for i, word in enumerate(words):
        rest = np.clip(sizes - 8 * i, 0, 8) if width > 1 else sizes
        # A text that ends before has none of the next eight, which may lie beyond the end.
        word[:] = eight[np.minimum(start + 8 * i, len(letters)) if i else start]
        word &= np.take(_MASKS, rest)
    return words


def _places(words: Words) -> NDArray[np.uint64]:
    """Return the place (n,) in which each text is looked up, from 0."""
    mixed = words[0] * _ODD[0]
    for word, odd in zip(words[1:], _ODD[1:], strict=False):
        mixed ^= word * odd
    return mixed >> _SHIFT


def _encoded(cells: pa.Array) -> pa.DictionaryArray:
    encoded = cells.dictionary_encode()
    return pa.DictionaryArray.from_arrays(encoded.indices, encoded.dictionary.cast(TEXT))
