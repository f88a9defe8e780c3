"""Columns of text, plain or as codes into their different texts; and what is done to either.

Methods, animals, numbers and operators repeat. A column that does is a pyarrow dictionary array,
so that a check looks at each text once and hands the answer to every row; a column that does not
stays plain, since numbering a text for each row would cost more than it saves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of, text_column
from bpvet.records.parsing.codes import met_in_order

_Kind = TypeVar("_Kind", bound=np.generic)
Codes = NDArray[np.integer]

TEXT = pa.large_string()
CODED = pa.dictionary(pa.int32(), TEXT)
#: Cells that are looked at at once, so that what is worked on stays in the processor's cache.
_CELLS = 1 << 15
#: A column repeats if this many rows have less than half as many different texts.
_LOOKED_AT = 20_000


def code_type(many: int) -> type[np.signedinteger[Any]]:
    """Return the smallest type of codes into so many texts; one more than a code fits it too."""
    return np.int8 if many < 1 << 7 else np.int16 if many < 1 << 15 else np.int32


def repeats(cells: pa.Array) -> bool:
    """Return whether a column is worth coding, by its first rows."""
    sample = cells.slice(0, _LOOKED_AT)
    return 2 * len(pc.unique(sample)) <= max(len(sample), 1)


def coded(cells: pa.Array) -> pa.Array:
    """Return a column as codes if its texts repeat, their order that of first occurrence."""
    if not pa.types.is_dictionary(cells.type):
        return cells.dictionary_encode() if repeats(cells) else cells
    codes = cells.indices
    if met_in_order(numpy_of(codes), len(cells.dictionary)):
        return cells
    met = numpy_of(pc.unique(codes))
    position = np.zeros(len(cells.dictionary), dtype=numpy_of(codes).dtype)
    position[met] = np.arange(len(met))
    return pa.DictionaryArray.from_arrays(
        arrow_of(position[numpy_of(codes)]), cells.dictionary.take(arrow_of(met))
    )


def uncoded(cells: pa.Array) -> pa.Array:
    """Return a column as plain text (n,)."""
    return cells.dictionary_decode() if pa.types.is_dictionary(cells.type) else cells


def distinct(cells: pa.Array) -> tuple[list[str], Codes]:
    """Return the different texts of a column and the index (n,) of each cell among them."""
    texts, code = distinct_cells(cells)
    return texts.to_pylist(), code


def distinct_cells(cells: pa.Array) -> tuple[pa.Array, Codes]:
    """Return the different texts of a column, as pyarrow has them, and each cell's index (n,)."""
    encoded = cells if pa.types.is_dictionary(cells.type) else cells.dictionary_encode()
    return encoded.dictionary, numpy_of(encoded.indices)


def names_of(texts: Any) -> tuple[list[str], NDArray[np.int64]]:
    """Return different texts (m,), and the place among them of each of these (n,).

    Parameters
    ----------
    texts : (n,) array of str, or texts as codes
        What has `codes` says of itself which texts they are of.
    """
    codes = getattr(texts, "codes", None)
    if codes is None:
        names, codes = distinct(text_column(np.asarray(texts, dtype=object)))
    else:
        names = list(texts.texts if hasattr(texts, "texts") else texts.categories)
    return names, np.asarray(codes).astype(np.int64)


def of_texts(texts: Sequence[str], code: NDArray[np.integer]) -> pa.Array:
    """Return a column of codes (n,) into a few texts, among which some may be equal.

    Every text that it names is met, and no two of them are equal.
    """
    few = list(dict.fromkeys(texts))
    if len(few) == len(texts):
        return coded(pa.DictionaryArray.from_arrays(arrow_of(code), text_column(few)))
    position = {text: i for i, text in enumerate(few)}
    same = np.array([position[text] for text in texts], dtype=code_type(len(few)))
    return coded(pa.DictionaryArray.from_arrays(arrow_of(same[code]), text_column(few)))


def changed(cells: pa.Array, change: Callable[[pa.Array], pa.Array]) -> pa.Array:
    """Return a column with its texts changed by a pyarrow function, each different text once."""
    if not pa.types.is_dictionary(cells.type):
        return change(cells)
    new = change(cells.dictionary)
    if new.equals(cells.dictionary):
        return cells
    again = new.dictionary_encode()
    code = numpy_of(again.indices)[numpy_of(cells.indices)]
    return coded(pa.DictionaryArray.from_arrays(arrow_of(code), again.dictionary))


def each(few: NDArray[_Kind], code: NDArray[np.integer]) -> NDArray[_Kind]:
    """Return for each cell (n,) what was found of its text, by the texts' codes."""
    found = np.empty(len(code), dtype=few.dtype)
    for at in range(0, len(code), _CELLS):
        some = slice(at, at + _CELLS)
        np.take(few, code[some], out=found[some], mode="clip")
    return found


def constant(value: Any, n: int, kind: Any) -> NDArray[Any]:
    """Return a column (n,) that is the same throughout and takes no room; it cannot be altered."""
    return np.broadcast_to(np.array(value, dtype=kind), n)


def bits(values: NDArray[Any]) -> NDArray[np.integer]:
    """Return numbers, times or truth values (n,) as whole numbers that tell NaN and −0 apart."""
    whole: NDArray[np.integer] = values.view(f"i{values.dtype.itemsize}")
    return whole


def which(cells: pa.Array, test: Callable[[pa.Array], pa.Array]) -> NDArray[np.bool_]:
    """Return which cells (n,) pass a pyarrow test, made of each different text once."""
    if not pa.types.is_dictionary(cells.type):
        return numpy_of(test(cells))
    found: NDArray[np.bool_] = numpy_of(test(cells.dictionary))
    if not found.any():
        return np.zeros(len(cells), dtype=bool)
    return each(found, numpy_of(cells.indices))


def holds_letter(cells: pa.Array, letter: str) -> bool:
    """Return whether a column may hold a letter of ASCII; never False where it does."""
    texts = cells.dictionary if pa.types.is_dictionary(cells.type) else cells
    if not pa.types.is_large_string(texts.type) or len(texts) == 0:
        return True
    places, letters = _bytes_of(texts)
    for at in range(int(places[0]), int(places[-1]), 16 * _CELLS):
        if (letters[at : min(at + 16 * _CELLS, int(places[-1]))] == ord(letter)).any():
            return True
    return False


def _bytes_of(texts: pa.Array) -> tuple[NDArray[np.int64], NDArray[np.uint8]]:
    """Return where the texts of a plain column begin and end (n + 1,), and all letters."""
    _, places, letters = texts.buffers()
    ends = np.frombuffer(places, np.int64)[texts.offset : texts.offset + len(texts) + 1]
    return ends, np.frombuffer(letters or b"", np.uint8)


def _stands_trimmed(texts: pa.Array) -> bool:
    """Return whether no text is blank, begins or ends with white space, as its bytes show.

    False may also be said of texts that begin or end with a letter beyond ASCII.
    """
    if not pa.types.is_large_string(texts.type) or texts.null_count:
        return False
    places, letters = _bytes_of(texts)
    for at in range(0, len(texts), _CELLS):
        some = places[at : at + _CELLS + 1]
        if (some[1:] == some[:-1]).any():
            return False
        for edge in (letters[some[:-1]], letters[some[1:] - 1]):
            # Below "!" or above "~", which wrap around to what is large.
            if ((edge - np.uint8(0x21)) > 0x5E).any():
                return False
    return True


def _holds_nothing(cells: pa.Array) -> bool:
    """Return whether a column is plain, and all of its texts, none of them null, are empty."""
    if not pa.types.is_large_string(cells.type):
        return False
    places, _ = _bytes_of(cells)
    return bool(places[0] == places[-1])


def is_text(cells: pa.Array, text: str) -> NDArray[np.bool_]:
    """Return which cells (n,) are a text."""
    return which(cells, lambda some: pc.equal(some, scalar_of(text)))


def is_blank(cells: pa.Array) -> NDArray[np.bool_]:
    """Return which cells (n,) hold nothing but white space."""
    if _holds_nothing(cells):
        # A sheet may have thousands of columns with nothing in them.
        return np.ones(len(cells), dtype=bool)
    if _stands_trimmed(cells):
        return np.zeros(len(cells), dtype=bool)
    return which(cells, lambda some: pc.equal(pc.utf8_trim_whitespace(some), scalar_of("")))


def trimmed(cells: pa.Array) -> pa.Array:
    """Return a column without white space around its texts; the same one where there is none."""
    if _stands_trimmed(cells):
        return cells
    return changed(cells, pc.utf8_trim_whitespace)


def end_to_end(parts: Sequence[pa.Array]) -> pa.Array:
    """Return columns of several files as one; a single one is not copied."""
    if len(parts) == 1:
        return parts[0]
    plain = [uncoded(column).cast(TEXT) for column in parts]
    return pa.concat_arrays([text_column([]), *plain])


def texts_end_to_end(parts: Sequence[pa.Array]) -> pa.Array:
    """Return plain columns, of which no text is null, as one.

    It lies in memory of numpy's, which the system gives in large pages: those of pyarrow's take
    longer to get than to fill.
    """
    spans = [(places[0], places[-1]) for places in (_bytes_of(part)[0] for part in parts)]
    ends = np.zeros(sum(map(len, parts)) + 1, dtype=np.int64)
    letters = np.empty(sum(int(last - first) for first, last in spans), dtype=np.uint8)
    row = at = 0
    for part, (first, last) in zip(parts, spans, strict=True):
        places, of_part = _bytes_of(part)
        ends[row + 1 : row + 1 + len(part)] = places[1:] + (at - first)
        letters[at : at + last - first] = of_part[first:last]
        row, at = row + len(part), at + last - first
    buffers = [None, pa.py_buffer(ends), pa.py_buffer(letters)]
    return pa.Array.from_buffers(TEXT, row, buffers)


def blanks(n: int) -> pa.Array:
    """Return `n` empty cells, as codes."""
    return pa.DictionaryArray.from_arrays(arrow_of(np.zeros(n, np.int8)), text_column([""]))


def joined(*columns: pa.Array) -> pa.Array:
    """Return the cells of several columns as one text a row, a unit separator between them."""
    return pc.binary_join_element_wise(*map(uncoded, columns), scalar_of("\x1f"))
