"""Files that are no tables: each is told for what it is, whatever it is called, and what to do."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from bpvet.records.read import read

CONTAINER = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 504


def container(part: str) -> bytes:
    return CONTAINER + part.encode("utf-16-le") + b"\0" * 64


def archive(*parts: str) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as book:
        for part in parts:
            book.writestr(part, "<x/>")
    return held.getvalue()


@pytest.mark.parametrize(
    ("data", "what", "todo"),
    [
        (container("Workbook"), "old workbook (.xls)", "save it as .xlsx or CSV"),
        (container("EncryptedPackage"), "protected by a password", "without a password"),
        (container("WordDocument"), "text document", "Copy its table"),
        (archive("[Content_Types].xml", "word/document.xml"), "text document", "Copy its table"),
        (archive("mimetype", "content.xml"), "OpenDocument", "save it as .xlsx or CSV"),
        (archive("readings.csv"), "archive, not a workbook", "Unpack it"),
        (b"{\\rtf1\\ansi x}", "text document", "Copy its table"),
        (b"%PDF-1.7\n", "PDF", "CSV or .xlsx"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF", "picture", "Type its readings"),
        (b"\x89PNG\r\n\x1a\n", "picture", "Type its readings"),
        (b"\0\0\0\x18ftypheic", "picture", "Type its readings"),
        (b"<!DOCTYPE html><html><table>", "web page", "save it as .xlsx or CSV"),
        (b"\xef\xbb\xbf\r\n<?xml version='1.0'?><Workbook>", "marked-up", "save it as .xlsx"),
        ("<html>".encode("utf-16"), "marked-up", "save it as .xlsx"),
        (b"\x1f\x8b\x08\0", "compressed", "Unpack it"),
        (b"", "empty", "header and rows"),
        (b"\n \n", "empty", "header and rows"),
    ],
)
def test_what_is_no_table(tmp_path: Path, data: bytes, what: str, todo: str) -> None:
    file = tmp_path / "visits.xls"
    file.write_bytes(data)
    (stop,) = read(file, as_of="2026-01-01").stopping
    assert what in stop.reason
    assert todo.lower() in stop.mend.lower()


def test_a_folder_of_other_things_names_them(tmp_path: Path) -> None:
    folder = tmp_path / "clinic"
    folder.mkdir()
    (stop,) = read(folder, as_of="2026-01-01").stopping
    assert stop.reason == "The folder holds no readings file. It is empty."
    for name in ("photo.jpg", "chart.pdf", ".hidden"):
        (folder / name).write_bytes(b"x")
    (stop,) = read(folder, as_of="2026-01-01").stopping
    assert stop.reason == "The folder holds no readings file. It holds chart.pdf and photo.jpg."
    assert "one file an animal" not in stop.mend


def test_a_file_an_animal_is_told_how_to_be_read(tmp_path: Path) -> None:
    for value, name in enumerate(("Rex.csv", "Mia.csv", "lab.csv"), start=150):
        text = f"taken_at,method,systolic\n2025-01-01,doppler,{value}\n"
        (tmp_path / name).write_text(text)
    found = read(tmp_path, as_of="2026-01-01")
    (stop,) = found.stopping
    assert "such as readings-Mia.csv" in stop.mend
    said = {finding.file: finding.mend for finding in found.findings if not finding.stops}
    assert "Did you mean" not in said["Rex.csv"]
    assert said["lab.csv"].endswith('Did you mean "labs.csv"?')
    # As it was told.
    for name in ("Rex.csv", "Mia.csv", "lab.csv"):
        (tmp_path / name).rename(tmp_path / f"readings-{name}")
    (tmp_path / "bpvet-columns.toml").write_text('layout = "one file an animal"\n')
    found = read(tmp_path, as_of="2026-01-01").require_usable()
    assert sorted(found.readings["animal"]) == ["Mia", "Rex", "lab"]
