"""CSV as it is met: titles, comments, totals, headers that are not on line 1, odd separators."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

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


def test_titles_above_the_header_are_said_and_lines_stay_true(records: Make) -> None:
    found = records("Clinic at the pond\n\n# exported 2025-02-01, by hand\n" + GOOD)
    assert found.readings["line"].tolist() == [5]
    assert found.readings["systolic"].tolist() == [150]
    said = only(found, "above the header")
    assert (said.line, said.mend) == (1, "Nothing to do.")
    assert '"Clinic at the pond", "# exported 2025-02-01, by hand"' in said.reason
    assert not found.stopping


def test_a_header_of_other_peoples_words_is_found_below_a_title(folder: Folder) -> None:
    text = "Readings of 2025;;;\nPet ID;When;How;mmHg\nA17;2025-01-01;doppler;150,5\n"
    mapping = {"Pet ID": "animal", "When": "taken_at", "How": "method", "mmHg": "systolic"}
    found = read(folder(readings=text), columns=mapping, as_of="2026-01-01")
    assert found.readings["systolic"].tolist() == [150.5]
    assert found.understood["separator"] == {"readings.csv": "semicolon"}


def test_semicolons_are_told_from_decimal_commas_without_a_known_heading(folder: Folder) -> None:
    text = "Tier;Wann;Wert\nA17;2025-01-01;150,5\nB3;2025-01-02;151,5\n"
    found = read(folder(readings=text), as_of="2026-01-01")
    assert found.understood["separator"] == {"readings.csv": "semicolon"}
    assert "The header has: " in str(found.stopping[0]) or '"Tier"' in str(found.stopping)


@pytest.mark.parametrize(("mark", "name"), [("|", "bar"), (";", "semicolon"), ("\t", "tab")])
def test_a_first_line_may_state_the_separator(records: Make, mark: str, name: str) -> None:
    found = records(f"sep={mark}\r\n" + GOOD.replace(",", mark).replace("\n", "\r\n"))
    assert found.readings["line"].tolist() == [3]
    assert found.understood["separator"] == {"readings.csv": name}


def test_a_header_in_two_lines_is_read_as_one(records: Make) -> None:
    text = "animal,taken_at,method,Systolic,,\n,,,1,2,3\nA17,2025-01-01,doppler,150,152,148\n"
    found = records(text)
    assert found.readings["systolic"].tolist() == [150, 152, 148]
    assert found.readings["line"].tolist() == [3, 3, 3]
    assert '"Systolic 3"' in only(found, "header in two lines").reason


@pytest.mark.parametrize(
    "label",
    ["Total", "Mean", "average:", "Mean of 12", "SD", "Grand total", "Mittelwert", "Count = 3"],
)
def test_totals_are_passed_over_and_said(records: Make, label: str) -> None:
    found = records(GOOD + f"{label},,,151\nA17,2025-01-02,doppler,152\n{label}\n")
    assert found.readings["systolic"].tolist() == [150, 152]
    assert found.animals["animal"].tolist() == ["A17"]
    said = only(found, "total rows")
    assert said.line == 3
    assert said.reason.startswith("Lines 3 and 5 look like totals of other rows")


@pytest.mark.parametrize("name", ["Total", "Mean", "Count", "Max", "Media"])
def test_an_animal_of_such_a_name_keeps_its_readings(records: Make, name: str) -> None:
    found = records(GOOD + f"{name},2025-01-02,doppler,152\n{name},2025-01-02,doppler,\n")
    assert found.readings["animal"].tolist() == ["A17", name, name]


@pytest.mark.parametrize("row", ["Max,,,152", "Summer,,,152", "Meantime,,,152", "Counter,,,1"])
def test_a_row_without_a_date_is_no_total_for_it(records: Make, row: str) -> None:
    found = records(GOOD + row + "\n")
    assert (found.readings["set_aside"] != "").tolist() == [False, True]


def test_comments_are_told_by_what_they_lack(records: Make) -> None:
    found = records(GOOD + "#12,2025-01-02,doppler,152\n# a, b\n#,,,\n")
    assert found.readings["animal"].tolist() == ["A17", "#12"]
    assert only(found, "comment rows").reason.startswith("Lines 4 and 5 look like comments")


def test_files_laid_end_to_end_repeat_the_header(records: Make) -> None:
    found = records(GOOD + GOOD.replace("150", "160"))
    assert found.readings["systolic"].tolist() == [150, 160]
    assert only(found, "header again").line == 3


def test_a_quoted_line_break_keeps_the_lines_true(records: Make) -> None:
    text = 'title\nanimal,taken_at,method,systolic,note\nA17,2025-01-01,doppler,150,"a\nb"\n'
    found = records(text + "A17,2025-01-02,doppler,151,\n")
    assert found.readings["line"].tolist() == [3, 5]
    assert found.readings["note"].tolist() == ["a\nb", ""]


def test_a_byte_order_mark_and_a_windows_encoding_go_with_a_title(folder: Folder) -> None:
    text = "Klinik Köln\nanimal;taken_at;method;systolic\nPeña;2025-01-01;doppler;150,5\n"
    for data, encoding in ((text.encode("utf-8-sig"), None), (text.encode("cp1252"), "cp1252")):
        found = read(folder(readings=data), as_of="2026-01-01", encoding=encoding)
        assert found.readings["animal"].tolist() == ["Peña"]
        assert found.readings["systolic"].tolist() == [150.5]


def test_a_header_wider_than_any_table_is_refused_at_once(records: Make) -> None:
    found = records("animal" + "," * 2_000_000 + "\nA17\n")
    assert "16 384 cells" in only(found, "too many columns").reason
    assert found.stopping
