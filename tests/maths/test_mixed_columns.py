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
    "two labels in short runs": pd.Series(["b", "aa", "aa"] * 90, dtype="str"),
    "two labels, one blank": pd.Series(["", "a", "a"] * 90, dtype="str"),
    "a third label among few rows": pd.Series(["b", "aa", "c"] + ["b", "aa"] * 90, dtype="str"),
    # Neither the first rows nor those looked at further on show it.
    "a third label late": pd.Series(["b", "aa"] * 50 + ["b", "c"] + ["b", "aa"] * 39, dtype="str"),
    "in order": pd.Series([f"A{i:03d}" for i in range(90)], dtype="str"),
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
    np.testing.assert_array_equal(found.starts, np.append(True, codes[1:] != codes[:-1]))
    if found.gapless:
        assert not (column.isna() | (column == "")).any()
    assert list(found.labels) == list(labels)
    assert found.labels.dtype == pd.Index(labels).dtype
    assert found.codes.dtype == np.int16


@pytest.mark.parametrize("name", ["runs", "two labels in short runs", "no runs"])
def test_columns_at_the_heads_of_sessions(name: str) -> None:
    """Whether every run begins at one of the rows, or some do not."""
    found = factorised(COLUMNS[name])
    codes = found.codes
    every = np.flatnonzero(found.starts | (np.arange(len(codes)) % 3 == 0))
    for rows in (every, np.arange(0, len(codes), 4)):
        np.testing.assert_array_equal(found.at_heads(rows).codes, codes[rows])
