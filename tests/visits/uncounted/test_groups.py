"""What stands in each group of rows, beside a loop; and that no frame is needed for it."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

from bpvet import visits
from bpvet.visits.uncounted.groups import first_rows, newest_days, ranks, starts


@pytest.mark.parametrize("seed", range(5))
def test_beside_a_loop(seed):
    rng = np.random.default_rng(seed)
    many, n = 6, 4 * seed
    code = rng.integers(0, many, n).astype(np.int8)
    day = np.datetime64("2026-01-01") + rng.integers(-40_000, 40, n)
    day[rng.random(n) < 0.2] = np.datetime64("NaT")
    newest: dict[int, np.datetime64] = {}
    first: dict[int, int] = {}
    for row, (of_row, on) in enumerate(zip(code.tolist(), day, strict=True)):
        first.setdefault(of_row, row)
        if not np.isnat(on):
            newest[of_row] = max(newest.get(of_row, on), on)
    expected = [newest.get(i, np.datetime64("NaT", "D")) for i in range(many)]
    found = newest_days(code, day.astype("datetime64[ns]"), many)
    assert found.dtype == "datetime64[D]"
    assert found.astype(str).tolist() == [str(on) for on in expected]
    assert first_rows(code).tolist() == list(first.values())
    runs = [row for row in range(n) if row == 0 or code[row] != code[row - 1]]
    assert starts(code).tolist() == runs


def test_ranks_of_texts():
    texts = ["b", "ä", "", "B", "a"]
    assert [texts[i] for i in np.argsort(ranks(texts))] == sorted(texts)
    assert ranks([]).tolist() == []


@pytest.mark.parametrize("folder", ["uncounted", "labs", "signs"])
def test_frames_are_made_for_users_alone(folder):
    for path in sorted((Path(visits.__file__).parent / folder).glob("*.py")):
        tree = ast.parse(path.read_text("utf-8"))
        loaded = {
            name
            for node in tree.body
            for name in (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module]
                if isinstance(node, ast.ImportFrom)
                else []
            )
        }
        assert "pandas" not in loaded, path.name
