"""Folders inside the records: what may be records there is not read, and is said not to be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import bpvet
from bpvet.answers.trend.recorded import unread_files
from bpvet.errors import CallError
from bpvet.records.entries.adding import record_folder
from bpvet.records.finding_codes import Code

ROWS = "animal,taken_at,method,systolic\nA,2026-01-05,doppler,198\n"


def _write(clinic: Path, name: str) -> Path:
    (clinic / name).parent.mkdir(parents=True, exist_ok=True)
    (clinic / name).write_text(ROWS)
    return clinic


@pytest.mark.parametrize(
    "name",
    [
        "2025/readings.csv",
        "2025/export of the doppler.xlsx",
        "2025/november/bp.csv",
        "2025/LABS.json",
    ],
)
def test_a_folder_with_what_may_be_records(folder: Callable[..., Path], name: str) -> None:
    found = bpvet.read(_write(folder(readings=ROWS), name), as_of="2026-02-01")
    (finding,) = found.findings.by_code(Code.FOLDER_INSIDE)
    assert (finding.file, finding.unused, finding.stops) == ("2025/", True, False)
    assert dict(finding.values)["such_as"] == name.removeprefix("2025/")
    assert unread_files(found) == ("2025/",)
    assert len(found.readings) == 1


@pytest.mark.parametrize(
    "name",
    [
        "letters/Pilchard.html",
        "morning/due.csv",  # what the list of whom to see leaves beside its page
        "pilchard/parameters-0a1b.json",
        ".old/readings.csv",
        "a/b/c/d/readings.csv",  # nobody keeps records so deep
    ],
)
def test_a_folder_without_any(folder: Callable[..., Path], name: str) -> None:
    found = bpvet.read(_write(folder(readings=ROWS), name), as_of="2026-02-01")
    assert not found.findings.by_code(Code.FOLDER_INSIDE)


@pytest.mark.parametrize(("name", "told"), [("old", []), ("readings", ["letters/"])])
def test_a_letters_table_is_no_records_and_readings_are(
    folder: Callable[..., Path], name: str, told: list[str]
) -> None:
    records = folder(readings=ROWS)
    for ending in ("html", "csv"):
        _write(records, f"letters/{name}.{ending}")
    found = bpvet.read(records, as_of="2026-02-01").findings.by_code(Code.FOLDER_INSIDE)
    assert [finding.file for finding in found] == told


def test_nothing_is_added_beside_folders_of_records(tmp_path: Path) -> None:
    _write(tmp_path, "north/readings.csv")
    with pytest.raises(CallError, match="north/"):
        record_folder(tmp_path)
