"""Parquet read a batch of rows at a time gives what it gives in one batch."""

from __future__ import annotations

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from bpvet.records.formats import arrow_tables
from bpvet.records.formats.arrow_tables import arrow_sheet
from bpvet.records.parsing.columns import uncoded

N = 1000


def _file() -> bytes:
    rng = np.random.default_rng(20260301)
    seconds = rng.integers(-2_000_000_000, 4_000_000_000, N)
    midnight = seconds // 86_400 * 86_400
    late = midnight * 1000 + (np.arange(N) == N - 1)
    missing = rng.random(N) < 0.1
    columns = {
        "seconds": pa.array(seconds, pa.timestamp("s"), mask=missing),
        "midnight": pa.array(midnight * 10**9, pa.timestamp("ns"), mask=missing),
        "part of a second late": pa.array(late, pa.timestamp("ms")),
        "of a zone": pa.array(seconds * 10**6, pa.timestamp("us", "Europe/Berlin")),
        "few": pa.array(rng.integers(0, 4, N)),
        "few at first": pa.array(["x" if i < 500 else f"x{i}" for i in range(N)]),
        "few at last": pa.array([f"x{i}" if i < 200 else "x" for i in range(N)]),
        "number": pa.array(rng.normal(size=N)),
        "nothing": pa.nulls(N),
        "nothing at first": pa.array([None] * 900 + ["x"] * 100),
        "lists": pa.array([[1]] * N),
    }
    file = io.BytesIO()
    pq.write_table(pa.table(columns), file)
    return file.getvalue()


@pytest.mark.parametrize("batch", [1, 7, 97, N - 1])
def test_batches_of_any_size_give_what_one_gives(
    batch: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read() -> tuple[object, ...]:
        findings: list = []
        sheet = arrow_sheet("f", "readings", "parquet", _file(), findings)
        assert sheet is not None
        for cells in sheet.columns:
            if pa.types.is_dictionary(cells.type):
                assert 2 * len(cells.dictionary) <= len(cells)
        cells = [uncoded(column).to_pylist() for column in sheet.columns]
        return sheet.header, cells, sheet.lines.tolist(), [one.to_dict() for one in findings]

    whole = read()
    monkeypatch.setattr(arrow_tables, "_BATCH", batch)
    assert read() == whole


def test_moments_are_written_without_what_says_nothing() -> None:
    moments = ["2025-03-01T10:30:05.25", "2025-03-01", "2025-03-01T10:30:00", None]
    values = np.array(moments, "datetime64[ms]")
    wanted = [text or "" for text in moments]
    file = io.BytesIO()
    pq.write_table(pa.table({"part": values, "whole": values.astype("datetime64[s]")}), file)
    sheet = arrow_sheet("f", "readings", "parquet", file.getvalue(), [])
    assert sheet is not None
    part, whole = (uncoded(column).to_pylist() for column in sheet.columns)
    assert part == wanted
    assert whole == [wanted[0][:19], *wanted[1:]]
