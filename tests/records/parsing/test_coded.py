"""Texts as codes, and arrays that change between NumPy and Arrow: against plain lists."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bpvet.records.parsing.arrow import arrow_of, numpy_of, text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.columns import TEXT

TEXTS = st.lists(st.sampled_from(["", "tail", "ü", "a b", "\x1f", "尾"]), max_size=30)

#: What changes between the two where pandas is not to be loaded.
WITHOUT_PANDAS = """
import sys
import numpy as np
import pyarrow.compute as pc
from bpvet.records.parsing.arrow import arrow_of, numpy_of
from bpvet.records.parsing.coded import Coded
coded = Coded.of(["b", "", "b"])
again = Coded.of_cells(coded.cells.take(arrow_of(coded.codes)))
assert again.texts[again.codes].tolist() == np.asarray(coded).tolist() == ["b", "", "b"]
assert numpy_of(pc.is_in(coded.cells, value_set=Coded.of(["b"]).cells)).tolist() == [True, False]
assert "pandas" not in sys.modules
"""


@given(TEXTS)
def test_codes_are_those_of_a_factorization(texts: list[str]) -> None:
    codes, words = pd.factorize(np.array(texts, dtype=object))
    for coded in (Coded.of(texts), Coded.of_cells(pa.array(texts, pa.string()))):
        assert coded.codes.tolist() == codes.tolist()
        assert coded.texts.tolist() == coded.cells.to_pylist() == list(words)
        assert coded.cells.type == TEXT
        assert len(coded) == len(texts)
        assert np.asarray(coded).tolist() == texts
        assert coded[::2].texts[coded[::2].codes].tolist() == texts[::2]
        made = coded.categorical()
        assert made.tolist() == texts
        assert list(made.categories) == list(words)


def test_codes_that_stand_already_are_not_copied() -> None:
    cells = pa.array(["x", "y", "x"], TEXT).dictionary_encode()
    coded = Coded.of_cells(cells)
    assert coded.codes.ctypes.data == cells.indices.buffers()[1].address
    assert not coded.texts.flags.writeable


@given(TEXTS)
def test_texts_are_a_column_of_pyarrow(texts: list[str]) -> None:
    assert text_column(iter(texts)).equals(pa.array(texts, TEXT))


@pytest.mark.parametrize("kind", ["i1", "i4", "i8", "f8"])
def test_numbers_change_without_a_copy(kind: str) -> None:
    numbers = np.arange(7, dtype=kind)
    column = arrow_of(numbers)
    assert column.equals(pa.array(numbers))
    back = numpy_of(column[2:6])
    assert back.dtype == numbers.dtype
    assert back.tolist() == [2, 3, 4, 5]
    assert back.ctypes.data == numbers[2:].ctypes.data
    assert arrow_of(numbers[::3]).to_pylist() == [0, 3, 6]
    assert numpy_of(arrow_of(numbers[:0])).tolist() == []


@given(st.lists(st.booleans(), max_size=40), st.integers(0, 9))
def test_truth_values_are_unpacked(true: list[bool], start: int) -> None:
    found = numpy_of(pa.array(true, pa.bool_())[start:])
    assert found.dtype == bool
    assert found.tolist() == true[start:]


def test_pandas_is_not_loaded() -> None:
    subprocess.run([sys.executable, "-c", WITHOUT_PANDAS], check=True)
