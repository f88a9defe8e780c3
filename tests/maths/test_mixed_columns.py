"""Columns of text as codes: by runs, by Arrow's kernels and row by row they are the same."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from bpvet.mixed.columns import factorised

RUNS = [f"A{i}" for i in range(40) for _ in range(i % 5)]
MIXED = ["b", "a", "", "a", "bb", "b"] * 30
COLUMNS = {
    "runs": pd.Series(RUNS, dtype="str"),
    "no runs": pd.Series(MIXED, dtype="str"),
    "part of a column": pd.Series(RUNS + MIXED, dtype="str").iloc[3:-3],
    "two": pd.Series(["a", "a"], dtype="str"),
    "one": pd.Series(["a"], dtype="str"),
    "with gaps": pd.Series(["a", "a", None, None, "b", "b", "b", None], dtype="str"),
    "joined": pd.concat([pd.Series(RUNS, dtype="str")] * 2),
    "backwards": pd.Series(RUNS, dtype="str").iloc[::-1],
    "objects": pd.Series(RUNS, dtype=object),
    "numbers": pd.Series(np.repeat([3, 1, 2], 4)),
}


@pytest.mark.parametrize("name", COLUMNS)
def test_codes_are_those_of_pandas(name: str) -> None:
    column = COLUMNS[name]
    codes, labels = pd.factorize(column)
    found = factorised(column)
    np.testing.assert_array_equal(found.codes, codes)
    assert list(found.labels) == list(labels)
    assert found.labels.dtype == pd.Index(labels).dtype
    assert found.codes.dtype == np.int16
