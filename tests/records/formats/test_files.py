"""Which files a path stands for, their encoding and their separator."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from bpvet.errors import CallError, RecordsError
from bpvet.records.findings import Finding
from bpvet.records.read import read
from bpvet.records.records import Records

GOOD = "animal,taken_at,method,systolic\nA17,2025-01-01,doppler,150\n"
Folder = Callable[..., Path]
Make = Callable[..., Records]


def only(records: Records, kind: str) -> Finding:
    found = [finding for finding in records.findings if finding.kind == kind]
    assert len(found) == 1, [str(finding) for finding in records.findings]
    return found[0]


def test_a_path_that_does_not_exist_names_near_ones(folder: Folder) -> None:
    place = folder(readings=GOOD)
    with pytest.raises(CallError, match=r'There is no file or folder .*Did you mean "clinic"\?'):
        read(place.parent / "clinik")


@pytest.mark.parametrize("path", ["a\0b", "x" * 5000, "", 7, None])
def test_what_is_no_path_is_refused(path: object) -> None:
    with pytest.raises(CallError):
        read(path)  # type: ignore[arg-type]


def test_an_empty_folder_is_a_finding_that_stops(tmp_path: Path) -> None:
    records = read(tmp_path)
    assert only(records, "no readings file").stops
    assert len(records.readings) == 0


def test_a_folder_without_permission_is_refused(
    folder: Folder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(path: object) -> None:
        raise PermissionError(13, "Permission denied")

    place = folder(readings=GOOD)
    monkeypatch.setattr(os, "scandir", refuse)
    with pytest.raises(RecordsError, match='The folder "clinic" cannot be read'):
        read(place)


def test_a_file_without_permission_stops(folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    place = folder(readings=GOOD)
    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert only(read(place), "cannot be read").stops


def test_a_folder_in_place_of_a_file_stops(folder: Folder) -> None:
    place = folder(readings=GOOD)
    (place / "animals.csv").mkdir()
    assert "This is a folder" in only(read(place), "cannot be read").reason


def test_an_empty_file_stops_and_a_bare_header_does_not(records: Make) -> None:
    assert only(records(""), "empty").stops
    assert only(records(" \n\n"), "empty").stops
    bare = records("animal,taken_at,method,systolic\n")
    assert not only(bare, "no rows").stops
    assert not bare.stopping


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (GOOD.encode(), "UTF-8"),
        (GOOD.encode("utf-8-sig"), "UTF-8 with a mark"),
        (GOOD.encode("utf-16"), "UTF-16"),
        (b"\xfe\xff" + GOOD.encode("utf-16-be"), "UTF-16"),
        (GOOD.replace("\n", "\r\n").encode(), "UTF-8"),
        (GOOD.encode() + b"\n\n\n", "UTF-8"),
        (b"\n\n" + GOOD.encode(), "UTF-8"),
    ],
)
def test_text_that_is_marked_or_utf8_is_read(records: Make, data: bytes, encoding: str) -> None:
    found = records(data)
    assert found.readings["animal"].tolist() == ["A17"]
    assert found.understood["encoding"] == {"readings.csv": encoding}
    assert not found.stopping


def test_other_text_names_the_line_and_what_to_do(folder: Folder) -> None:
    text = GOOD + "Peña,2025-01-02,doppler,150\n"
    place = folder(readings=text.encode("cp1252"))
    finding = only(read(place), "encoding")
    assert (finding.stops, finding.line) == (True, 3)
    assert "--encoding cp1252" in finding.mend
    found = read(place, as_of="2026-01-01", encoding="cp1252")
    assert found.readings["animal"].tolist() == ["A17", "Peña"]
    assert found.understood["encoding"] == {"readings.csv": "cp1252"}


def test_a_stated_encoding_leaves_utf8_files_alone(folder: Folder) -> None:
    place = folder(
        readings=GOOD.encode("cp1252"), animals="animal,species,name\nA17,cat,Peña\n".encode()
    )
    assert read(place, encoding="cp1252").animals["name"].tolist() == ["Peña"]


@pytest.mark.parametrize("encoding", ["cp12520", "rot13", "hex", "", 7])
def test_an_unknown_encoding_is_refused(folder: Folder, encoding: str) -> None:
    with pytest.raises(CallError, match="is not known"):
        read(folder(readings=GOOD), encoding=encoding)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04rest", "a workbook"),
        (GOOD.encode("utf-16-le"), "NUL bytes"),
        (b"\xff\xfe" + GOOD.encode("utf-16-le")[:-1], "not UTF-16"),
    ],
)
def test_what_is_not_text_stops(records: Make, data: bytes, words: str) -> None:
    found = records(data)
    assert words in found.stopping[0].reason
    assert len(found.readings) == 0


@pytest.mark.parametrize(("mark", "name"), [(";", "semicolon"), ("\t", "tab")])
def test_other_separators_are_read_and_said(records: Make, mark: str, name: str) -> None:
    found = records(GOOD.replace(",", mark).replace("150", "150,5"))
    assert found.readings["systolic"].tolist() == [150.5]
    assert found.understood["separator"] == {"readings.csv": name}
    assert found.understood["decimal_commas"] == ["readings.csv: systolic"]


def test_the_separator_is_the_one_that_makes_headings_known(records: Make) -> None:
    found = records(
        "animal;taken_at;method;systolic;note, if any\nA17;2025-01-01;doppler;150;a,b\n"
    )
    assert found.readings["systolic"].tolist() == [150]


def test_several_readings_files_are_one_table(folder: Folder) -> None:
    place = folder(readings=GOOD)
    (place / "Readings 2024.CSV").write_text(GOOD.replace("150", "140"))
    found = read(place, as_of="2026-01-01")
    assert sorted(found.readings["file"]) == ["Readings 2024.CSV", "readings.csv"]
    assert found.understood["tables"] == {"readings": 2}


def test_the_same_file_under_two_names_is_set_aside_and_does_not_stop(folder: Folder) -> None:
    place = folder(readings=GOOD)
    (place / "readings (copy).csv").write_text(GOOD)
    found = read(place, as_of="2026-01-01")
    assert not only(found, "same file twice").stops
    assert not found.stopping
    assert found.readings["duplicate"].tolist() == [False, True]
    assert found.readings["set_aside"].tolist()[0] == ""
    assert "this visit stands in two files" in found.readings["set_aside"].tolist()[1]


def test_files_that_are_not_read_are_said(folder: Folder) -> None:
    place = folder(readings=GOOD, animal="animal,species\nA17,cat\n")
    (place / "notes.txt").write_text("buy cuffs")
    finding = only(read(place), "file not read")
    assert finding.file == "animal.csv"
    assert 'Did you mean "animals.csv"?' in finding.mend


def test_a_single_file_of_any_name_stands_for_a_folder(tmp_path: Path) -> None:
    file = tmp_path / "mia.txt"
    file.write_text(GOOD)
    found = read(file, as_of="2026-01-01")
    assert found.source == "mia.txt"
    assert found.readings["file"].tolist() == ["mia.txt"]


def test_rows_with_other_field_counts_are_set_aside_with_their_lines(records: Make) -> None:
    found = records(
        GOOD + "A17,2025-01-02\nA17,2025-01-03,doppler,150,x\nA17,2025-01-04,doppler,150\n"
    )
    assert found.readings["line"].tolist() == [2, 3, 4, 5]
    assert found.readings["animal"].tolist() == ["A17", "", "", "A17"]
    said = [str(finding) for finding in found.findings if finding.kind == "broken line"]
    assert said[0].startswith(
        "readings.csv, line 3: The line has 2 fields where the header has 4. The row is set aside."
    )
    assert "has 5 fields" in said[1]


def test_comments_and_totals_are_passed_over_and_said(records: Make) -> None:
    found = records(GOOD + "# copied from the book\nTotal,,,150\n")
    assert found.readings["animal"].tolist() == ["A17"]
    assert found.animals["animal"].tolist() == ["A17"]
    assert only(found, "comment rows").line == 3
    assert '"Total, 150"' in only(found, "total rows").reason


def test_rows_of_separators_are_said_once(records: Make) -> None:
    found = records(GOOD + ",,,\n,,,\n")
    assert only(found, "blank rows").reason.startswith("2 rows hold only separators")
    assert len(found.readings) == 1


def test_a_row_that_hides_in_a_cell_is_said(records: Make) -> None:
    text = 'animal,taken_at,method,systolic,note\nA17,2025-01-01,doppler,150,"x\n'
    text += 'B3,2025-01-01,doppler,150,y"\n'
    found = records(text)
    assert only(found, "rows in a cell?").line == 2


def test_the_digest_is_of_names_and_content(folder: Folder, tmp_path: Path) -> None:
    place = folder(readings=GOOD)
    first = read(place).digest
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "readings.csv").write_text(GOOD)
    assert read(elsewhere).digest == first
    (elsewhere / "readings.csv").write_text(GOOD.replace("150", "151"))
    assert read(elsewhere).digest != first
    (place / "readings.csv").rename(place / "readings2.csv")
    assert read(place).digest != first
