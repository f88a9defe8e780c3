"""Records written to a fresh folder, read, and asked what was said about them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from bpvet.records.read import read
from bpvet.records.records import Records

HEADER = "animal,taken_at,method,systolic"


@pytest.fixture
def folder(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes tables (text, or bytes) as files and returns the folder."""

    def write(**tables: str | bytes) -> Path:
        place = tmp_path / "clinic"
        place.mkdir(exist_ok=True)
        for table, text in tables.items():
            data = text.encode() if isinstance(text, str) else text
            (place / f"{table}.csv").write_bytes(data)
        return place

    return write


@pytest.fixture
def records(folder: Callable[..., Path]) -> Callable[..., Records]:
    """Return a function that writes tables, reads them as of 2026-01-01 and returns `Records`."""

    def make(readings: str | bytes = f"{HEADER}\n", **tables: str | bytes) -> Records:
        return read(folder(readings=readings, **tables), as_of="2026-01-01")

    return make


@pytest.fixture
def rows(records: Callable[..., Records]) -> Callable[..., Records]:
    """Return a function that reads readings given as a header and rows, without other tables."""

    def make(*lines: str, header: str = HEADER, **tables: str) -> Records:
        return records("\n".join([header, *lines]) + "\n", **tables)

    return make
