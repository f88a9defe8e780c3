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
# Texts of one length, each of which differs from the first in one letter only.
for size in (*range(1, 19), 31, 32, 33):
    labels = ["x" * size]
    labels += ["x" * at + "y" + "x" * (size - at - 1) for at in range(size)]
    column = pd.Series(np.repeat(labels, 3), dtype="str")
    COLUMNS[f"{size} letters"] = column
    COLUMNS[f"{size} letters, part"] = column.iloc[2:-1]


@pytest.mark.parametrize("name", COLUMNS)
def test_codes_are_those_of_pandas(name: str) -> None:
    column = COLUMNS[name]
    codes, labels = pd.factorize(column)
    found = factorised(column)
    np.testing.assert_array_equal(found.codes, codes)
    assert list(found.labels) == list(labels)
    assert found.labels.dtype == pd.Index(labels).dtype
    assert found.codes.dtype == np.int16
