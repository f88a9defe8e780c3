"""Texts as codes: what a column of texts is between steps, of which no data frame is made."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.parsing.arrow import numpy_of, text_column
from bpvet.records.parsing.columns import TEXT, each

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Coded:
    """A column of texts by codes into a few of them.

    Parameters
    ----------
    codes : (n,) array of int
        Index of each row's text.
    cells : pyarrow array of text (m,)
        The texts, no two of them equal; some may be in no row.
    """

    codes: NDArray[np.integer]
    cells: pa.Array

    @classmethod
    def of(cls, texts: Iterable[str]) -> Coded:
        """Return a column of texts (n,), coded in the order in which they are first met.

        Examples
        --------
        >>> coded = Coded.of(["tail", "ear", "tail"])
        >>> coded.codes.tolist(), coded.texts.tolist()
        ([0, 1, 0], ['tail', 'ear'])
        """
        every = texts.tolist() if isinstance(texts, np.ndarray) else list(texts)
        code = {text: i for i, text in enumerate(dict.fromkeys(every))}
        codes = np.fromiter(map(code.__getitem__, every), np.int32, len(every))
        return cls(codes, text_column(code))

    @classmethod
    def of_cells(cls, cells: pa.Array) -> Coded:
        """Return an Arrow column of texts (n,), plain or coded already; codes are not copied."""
        encoded = cells if pa.types.is_dictionary(cells.type) else cells.dictionary_encode()
        texts = encoded.dictionary
        return cls(numpy_of(encoded.indices), texts if texts.type == TEXT else texts.cast(TEXT))

    @cached_property
    def texts(self) -> NDArray[np.object_]:
        """The different texts (m,) as an array, read-only."""
        texts = np.array(self.cells.to_pylist(), dtype=object)
        texts.setflags(write=False)
        return texts

    def __len__(self) -> int:
        return len(self.codes)

    def __getitem__(self, rows: NDArray[np.integer] | NDArray[np.bool_] | slice) -> Coded:
        """Return some rows (k,) of the column."""
        return Coded(self.codes[rows], self.cells)

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> NDArray[Any]:
        """Return the text of each row (n,)."""
        return np.asarray(self.texts[self.codes], dtype=dtype)

    def bears(self, text: str) -> NDArray[np.bool_]:
        """Return which rows (n,) bear a text.

        Examples
        --------
        >>> Coded.of(["tail", "ear"]).bears("ear").tolist()
        [False, True]
        """
        return each(np.asarray(self.texts == text, dtype=bool), self.codes)

    def categorical(self) -> pd.Categorical:
        """Return the column as users have it in a data frame."""
        import pandas as pd

        return pd.Categorical.from_codes(self.codes, pd.Index(self.texts, dtype="str"))
