"""Workbooks: which sheets are read, what is odd in them is said, and none of them does harm."""

from __future__ import annotations

import datetime as dt
import io
import re
import resource
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from bpvet.records.findings import Finding
from bpvet.records.formats.workbook import archive as workbook_parts
from bpvet.records.formats.workbook import values as workbook_values
from bpvet.records.read import read
from bpvet.records.records import Records
from tests.records.formats.written import workbook_bytes

HEADER = ["animal", "taken_at", "method", "systolic"]
ROW = ["A17", dt.date(2025, 1, 1), "doppler", 150]
Save = Callable[..., Path]


@pytest.fixture
def save(tmp_path: Path) -> Save:
    """Return a function that writes bytes, or a workbook, as book.xlsx and returns the file."""

    def write(content: bytes | Workbook) -> Path:
        file = tmp_path / "book.xlsx"
        if isinstance(content, Workbook):
            content.save(file)
        else:
            file.write_bytes(content)
        return file

    return write


def only(records: Records, kind: str) -> Finding:
    found = [finding for finding in records.findings if finding.kind == kind]
    assert len(found) == 1, [str(finding) for finding in records.findings]
    return found[0]


def book_of(*rows: list[object], title: str = "readings") -> Workbook:
    """Return a workbook of one sheet of readings."""
    book = Workbook()
    book.active.title = title
    for row in [HEADER, *rows]:
        book.active.append(row)
    return book


def with_part(data: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    """Return a workbook one of whose parts is changed."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", 8) as new:
        for part in old.namelist():
            content = old.read(part)
            new.writestr(part, change(content) if part == name else content)
    return out.getvalue()


def bytes_of(book: Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def test_sheets_with_the_tables_names_are_the_tables(save: Save) -> None:
    sheets = {
        "Readings 2025": (HEADER, [ROW]),
        "readings": (HEADER, [["B3", *ROW[1:]]]),
        "Animals": (["animal", "species"], [["A17", "cat"]]),
        "Chart": (["x"], [[1]]),
        "Blank": ([], []),
    }
    found = read(save(workbook_bytes(sheets)), as_of="2026-01-01")
    assert found.understood["tables"] == {"readings": 2, "animals": 1}
    assert found.readings["file"].tolist() == [
        "book.xlsx, sheet Readings 2025",
        "book.xlsx, sheet readings",
    ]
    assert 'not read: "Chart".' in only(found, "sheet not read").reason
    assert not found.stopping


def test_the_one_sheet_of_readings_is_found_in_any_workbook(save: Save) -> None:
    sheets = {"Notes": (["buy", "cuffs"], [["a", "b"]]), "Sheet7": (HEADER, [ROW])}
    found = read(save(workbook_bytes(sheets)), as_of="2026-01-01")
    assert found.readings["file"].tolist() == ["book.xlsx, sheet Sheet7"]
    assert '"Notes"' in only(found, "sheet not read").reason


def test_a_single_workbook_of_any_name_stands_for_a_folder(save: Save) -> None:
    file = save(workbook_bytes({"readings": (HEADER, [ROW])}))
    found = read(file.parent, as_of="2026-01-01")
    assert found.readings["systolic"].tolist() == [150]


def test_findings_name_the_sheet_and_the_row(save: Save) -> None:
    book = book_of(ROW, ["A17", 45000, "doppler", 151], ["A17", dt.date(2025, 1, 3), "osc", 1])
    found = read(save(book), as_of="2026-01-01")
    said = [str(finding) for finding in found.findings if finding.kind == "not a date"]
    assert said[0].startswith(
        'book.xlsx, sheet readings, line 3, column taken_at: "45000" is a number, perhaps a '
        "spreadsheet's count of days"
    )
    assert (found.readings["set_aside"] != "").tolist() == [False, True, True]


def test_dates_as_numbers_with_a_format_and_dates_as_text_are_dates(save: Save) -> None:
    book = book_of(
        ["A17", dt.datetime(2025, 1, 1, 10, 30), "doppler", 150],
        ["A17", "2025-01-02T10:30", "doppler", "151"],
        ["A17", dt.date(2025, 1, 3), "doppler", 152.5],
    )
    found = read(save(book), as_of="2026-01-01").readings
    assert found["taken_at"].astype(str).tolist() == [
        "2025-01-01 10:30:00",
        "2025-01-02 10:30:00",
        "2025-01-03 00:00:00",
    ]
    assert found["timed"].tolist() == [True, True, False]
    assert found["systolic"].tolist() == [150, 151, 152.5]


def test_merged_headers_titles_and_totals(save: Save) -> None:
    book = Workbook()
    sheet = book.active
    sheet.title = "readings"
    sheet.append(["Pressure book of the clinic"])
    sheet.append(["animal", "taken_at", "method", "Systolic", None, None])
    sheet.append([None, None, None, 1, 2, 3])
    sheet.append(["A17", dt.date(2025, 1, 1), "doppler", 150, 152, 148])
    sheet.append(["Mean", None, None, 150, 152, 148])
    sheet.merge_cells("A1:F1")
    sheet.merge_cells("D2:F2")
    for column in "ABC":
        sheet.merge_cells(f"{column}2:{column}3")
    found = read(save(book), as_of="2026-01-01")
    assert found.readings["systolic"].tolist() == [150, 152, 148]
    assert found.readings["line"].tolist() == [4, 4, 4]
    assert only(found, "above the header").line == 1
    assert only(found, "header in two lines").line == 2
    assert only(found, "total rows").line == 5
    assert not [finding for finding in found.findings if finding.kind == "merged cells"]


def test_cells_merged_over_rows_are_said(save: Save) -> None:
    book = book_of(ROW, [None, *ROW[1:3], 151])
    book.active.merge_cells("A2:A3")
    found = read(save(book), as_of="2026-01-01")
    assert "(A2:A3)" in only(found, "merged cells").reason
    assert (found.readings["set_aside"] != "").tolist() == [False, True]


def test_hidden_rows_and_sheets_are_read_and_said(save: Save) -> None:
    book = book_of(ROW, ["A17", dt.date(2025, 1, 2), "doppler", 151])
    book.active.row_dimensions[3].hidden = True
    book.create_sheet("other")
    book["readings"].sheet_state = "hidden"
    book.active = 1
    found = read(save(book), as_of="2026-01-01")
    assert found.readings["systolic"].tolist() == [150, 151]
    assert only(found, "hidden rows").line == 3
    assert only(found, "hidden sheet").file == "book.xlsx, sheet readings"


def test_errors_and_formulas_without_a_value_are_said(save: Save) -> None:
    book = book_of(ROW, ["A17", dt.date(2025, 1, 2), "doppler", "=150+1"], ROW)
    sheet = book.active
    sheet["E1"] = "excluded"
    sheet["E3"] = '=IF(A1="x","moved","")'
    sheet["D4"] = "#N/A"
    assert load_workbook(io.BytesIO(bytes_of(book)))["readings"]["D4"].data_type == "e"
    found = read(save(book), as_of="2026-01-01")
    assert "D4" in only(found, "error cell").reason
    said = [finding for finding in found.findings if finding.kind == "formula without value"]
    assert [(finding.column, finding.line) for finding in said] == [
        ("systolic", 3),
        ("excluded", 3),
    ]
    # It cannot be known whether the clinic left it out: it does not count.
    assert found.readings["excluded"].tolist() == ["", "formula without a stored value", ""]
    assert found.readings["systolic"].isna().tolist() == [False, True, True]


def test_a_formula_stands_for_its_stored_value(save: Save) -> None:
    data = bytes_of(book_of(["A17", dt.date(2025, 1, 2), "doppler", "=150+1"]))
    sheet = "xl/worksheets/sheet1.xml"
    filled = with_part(data, sheet, lambda xml: re.sub(rb"<v ?/>|<v></v>", b"<v>151</v>", xml))
    assert filled != data
    found = read(save(filled), as_of="2026-01-01")
    assert found.readings["systolic"].tolist() == [151]
    assert not [finding for finding in found.findings if "formula" in finding.kind]


SHEET = "xl/worksheets/sheet1.xml"
BOMB = b"<!DOCTYPE x [<!ENTITY a 'ha'><!ENTITY b '&a;&a;&a;'>]>"
OUTSIDE = b"<!DOCTYPE x [<!ENTITY a SYSTEM 'file:///etc/passwd'>]>"


def headed(declared: bytes) -> Callable[[bytes], bytes]:
    def change(xml: bytes) -> bytes:
        at = xml.index(b"<worksheet")
        return xml[:at] + declared + xml[at:]

    return change


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (headed(BOMB), "declares a document type"),
        (headed(OUTSIDE), "declares a document type"),
        (lambda xml: xml.replace(b"<sheetData>", b"<sheetData>" + b"<a>" * 1000), "nested deeper"),
        (lambda xml: xml.replace(b'<row r="1"', b'<row r="99999999"'), "numbered above"),
        (lambda xml: xml[: len(xml) // 2], "not sound XML"),
        (lambda xml: b"", "not sound XML"),
        (lambda xml: xml.replace(b'<c r="D2" t="n">', b'<c r="D2" t="s">'), "cannot be read"),
        (lambda xml: xml.replace(b"<sheetData>", b"<sheetData><row/>" + b"<c/>" * 9000), "cells"),
        (lambda xml: xml + b" " * (2 << 20), "unpacks to more than 1 MB"),
    ],
)
def test_a_hostile_workbook_is_refused_in_words(
    save: Save, change: Callable[[bytes], bytes], says: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbook_parts, "MOST_BYTES", 1 << 20)
    monkeypatch.setattr(workbook_parts, "MOST_ELEMENTS", 5000)
    data = with_part(bytes_of(book_of(ROW)), SHEET, change)
    assert data != bytes_of(book_of(ROW))
    found = read(save(data), as_of="2026-01-01")
    assert [finding.stops for finding in found.findings] == [True], found.findings
    assert says in found.findings[0].reason
    assert found.findings[0].file.startswith("book.xlsx")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, "old workbook"),
        (bytes_of(book_of(ROW))[:-400], "damaged"),
        (b"PK\x05\x06" + b"\0" * 18, "not a workbook"),
        (b"%PDF-1.7 rest", "PDF"),
    ],
)
def test_what_is_no_workbook_says_what_to_do(save: Save, data: bytes, says: str) -> None:
    found = read(save(data), as_of="2026-01-01")
    assert found.stopping
    assert says in found.stopping[0].reason
    assert found.stopping[0].mend


def test_a_workbook_behind_a_password_is_told_from_an_old_one(save: Save) -> None:
    locked = (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le")
    )
    assert "protected by a password" in read(save(locked)).stopping[0].reason


@pytest.mark.parametrize(
    ("names", "says"),
    [
        ({"xl/workbook.bin": b"", "[Content_Types].xml": b""}, ".xlsb"),
        ({"mimetype": b"", "content.xml": b""}, "OpenDocument"),
        ({"readings.csv": b"animal\n"}, "not a workbook"),
        ({"[Content_Types].xml": b"<a/>", "xl/a.xml": b"<a/>"}, "cannot be read"),
    ],
)
def test_other_archives_are_named(save: Save, names: dict[str, bytes], says: str) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in names.items():
            archive.writestr(name, content)
    assert says in read(save(out.getvalue())).stopping[0].reason


def test_a_wide_sheet_of_blanks_is_refused(save: Save, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook_values, "MOST_CELLS", 1_000_000)
    rows = "".join(f'<row r="{i}"><c r="XFD{i}"><v>1</v></c></row>' for i in range(3, 103))
    data = with_part(
        bytes_of(book_of(ROW)),
        SHEET,
        lambda xml: xml.replace(b"</sheetData>", rows.encode() + b"</sheetData>"),
    )
    found = read(save(data), as_of="2026-01-01")
    assert "cells between its corners" in found.stopping[0].reason


@pytest.mark.slow
def test_ten_megabytes_never_take_a_gigabyte(tmp_path: Path) -> None:
    rows = b"".join(
        b'<row r="%d"><c r="A%d" t="inlineStr"><is><t>A</t></is></c><c r="D%d"><v>%d</v></c></row>'
        % (i, i, i, i % 97)
        for i in range(3, 900_000)
    )
    file = tmp_path / "readings.xlsx"
    file.write_bytes(
        with_part(
            bytes_of(book_of(ROW)),
            SHEET,
            lambda xml: xml.replace(b"</sheetData>", rows + b"</sheetData>"),
        )
    )
    assert file.stat().st_size < 20 << 20
    code = (
        "import sys, resource; from bpvet.records.formats.files import load; load(sys.argv[1]); "
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=True
    )
    assert int(done.stdout) < 1 << 20
    assert resource.RLIM_INFINITY  # the unit of ru_maxrss is a kilobyte on Linux
