"""What a message says to paste into the mapping file works as it stands, for good."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bpvet.records.findings import Finding
from bpvet.records.headings.settled import FILE_NAME
from bpvet.records.read import read
from bpvet.records.records import Records
from bpvet.wording.en.findings.settled import as_column

AS_OF = "2026-01-01"
HEADER = "animal,taken_at,method,systolic\n"
_TOP = re.compile(rf"at the top of {re.escape(FILE_NAME)} beside the records: (.+?)\.(?: |$)")
_BELOW = re.compile(rf"below (\[[^\]]+\]) in {re.escape(FILE_NAME)}: (.+)\.$")
_OF_FILE = re.compile(rf"in {re.escape(FILE_NAME)} beside the records, below (\[.+?\]): (.+)\.$")


def lines_named(mend: str) -> list[str]:
    """Return the texts that a message says to paste, each with the part it belongs in."""
    if found := _TOP.search(mend):
        return found.group(1).split(" or ")
    for pattern in (_BELOW, _OF_FILE):
        if found := pattern.search(mend):
            return ["\n".join([found.group(1), *found.group(2).split(" and the line ")])]
    return []


def stop_of(place: Path) -> Finding:
    stop = read(place, as_of=AS_OF).stopping[0]
    return stop


def pasted(folder: Path, text: str) -> Records:
    (folder / FILE_NAME).write_text(text + "\n", encoding="utf-8")
    found = read(folder, as_of=AS_OF)
    assert not found.stopping
    return found


@pytest.mark.parametrize(
    "text",
    [
        HEADER + "A,03/04/2025,doppler,150\n",
        "animal,method,03/04/2025,05/04/2025\nA,doppler,150,152\n",
    ],
)
def test_the_order_of_dates(tmp_path: Path, text: str) -> None:
    (tmp_path / "readings.csv").write_text(text)
    mend = stop_of(tmp_path).mend
    assert "--dates dmy" in mend
    assert "--dates mdy" in mend
    months = [pasted(tmp_path, line).readings["date"].dt.month[0] for line in lines_named(mend)]
    assert months == [4, 3]


def test_the_unit(tmp_path: Path) -> None:
    rows = "".join(f"A,2025-04-0{i},doppler,2{i}\n" for i in range(1, 4))
    (tmp_path / "readings.csv").write_text(HEADER + rows)
    mend = stop_of(tmp_path).mend
    assert "--unit kPa" in mend
    (line,) = lines_named(mend)
    assert pasted(tmp_path, line).readings["systolic"][0] == pytest.approx(157.5, abs=0.1)


def test_one_file_in_mmhg_among_others_in_kilopascal(tmp_path: Path) -> None:
    for i, value in enumerate((20, 150)):
        rows = "".join(f"A,2025-0{i + 1}-0{k},doppler,{value + k}\n" for k in range(1, 4))
        (tmp_path / f"readings {i}.csv").write_text(HEADER + rows)
    (tmp_path / FILE_NAME).write_text('unit = "kPa"\n')
    (line,) = lines_named(stop_of(tmp_path).mend)
    assert line == '[file."readings 1.csv"]\nunit = "mmHg"'
    found = pasted(tmp_path, f'unit = "kPa"\n{line}')
    assert found.readings["systolic"].round().tolist() == [158, 165, 173, 151, 152, 153]


@pytest.mark.parametrize(
    ("header", "option"),
    [
        ("patient,taken_at,method,systolic", '--columns "patient=animal"'),
        ("pet id,taken_at,method,systolic,patient", '--columns "pet id=animal"'),
        ('"the ""pet"" id, ours",taken_at,method,systolic', ""),
    ],
)
def test_which_column_is_meant(tmp_path: Path, header: str, option: str) -> None:
    more = ",B" if header.endswith("patient") else ""
    (tmp_path / "readings.csv").write_text(f"{header}\nA,2025-01-01,doppler,150{more}\n")
    mend = stop_of(tmp_path).mend
    if not option:
        # No heading is near, so none is proposed; what would be said of it can be pasted.
        mend = as_column('the "pet" id, ours', "animal") + "."
        assert "--columns" not in mend
    assert option in mend
    (line,) = lines_named(mend)
    assert pasted(tmp_path, line).readings["animal"].tolist() == ["A"]


@pytest.mark.parametrize(
    ("header", "row", "systolic"),
    [
        ("animal,taken_at,method,Systolic,systolic", "A,2025-01-01,doppler,150,90", [150]),
        (
            "animal,taken_at,method,systolic,systolic_1,systolic_2",
            "A,2025-01-01,doppler,90,150,152",
            [150, 152],
        ),
        (
            "animal,taken_at,method,systolic,systolic_mean,systolic_n",
            "A,2025-01-01,doppler,150,90,3",
            [150],
        ),
        (
            "animal,taken_at,method,systolic,diastolic,systolic_1",
            "A,2025-01-01,oscillometric,90,60,150",
            [150],
        ),
    ],
)
def test_which_of_two_columns(tmp_path: Path, header: str, row: str, systolic: list[int]) -> None:
    (tmp_path / "readings.csv").write_text(f"{header}\n{row}\n")
    mend = stop_of(tmp_path).mend
    (line,) = lines_named(mend)
    found = pasted(tmp_path, line)
    assert found.readings["systolic"].tolist() == systolic
    (said,) = (one for one in found.findings if one.kind == "unknown column")
    assert "kept as text and not used" in said.reason
    (tmp_path / FILE_NAME).unlink()
    option = re.search(r'--columns "([^"]+)"', mend)
    assert option is not None
    again = read(tmp_path, columns=option.group(1), as_of=AS_OF)
    assert again.readings["systolic"].tolist() == systolic


def test_several_numbers_in_a_cell(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text(
        "animal,taken_at,method,BP\nA,2025-01-01,oscillometric,150/90\n"
    )
    (tmp_path / FILE_NAME).write_text('[columns]\nBP = "systolic"\n')
    mend = stop_of(tmp_path).mend
    assert '"BP" = "systolic_list"' in mend
    found = pasted(tmp_path, '[columns]\n"BP" = "systolic_list"')
    assert found.readings["systolic"].tolist() == [150, 90]


def test_one_method_for_every_row(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text("animal,taken_at,systolic\nA,2025-01-01,150\n")
    (line,) = lines_named(stop_of(tmp_path).mend)
    assert line == '[every_row]\nmethod = "doppler"'
    assert pasted(tmp_path, line).readings["method"].tolist() == ["doppler"]


NAME = "animal,species,name\nA,cat,Pe\u00f1a\n"


@pytest.mark.parametrize(
    ("code", "both"),
    [
        ("cp1252", '"Pe\u00f1a" in cp1252 (Windows, western Europe)'),
        ("latin-1", '"Pe\u00f1a" in cp1252 (Windows, western Europe)'),
        ("mac-roman", '"Pe\u00f1a" in mac-roman (old Macintosh)'),
        ("utf-16-le", "UTF-16 without a mark"),
        ("utf-16-be", "UTF-16 without a mark"),
    ],
)
def test_the_encoding_of_one_file(tmp_path: Path, code: str, both: str) -> None:
    (tmp_path / "readings.csv").write_text(HEADER + "A,2025-01-01,doppler,150\n")
    (tmp_path / "animals.csv").write_bytes(NAME.encode(code))
    stop = stop_of(tmp_path)
    assert both in stop.mend
    (line,) = lines_named(stop.mend)
    assert line.startswith("encoding = ")
    found = pasted(tmp_path, line)
    # Mac Roman and Windows cannot be told apart for certain: both words were shown.
    right = found.animals["name"].tolist() == ["Pe\u00f1a"]
    assert right or '"Pe\u2013a" in cp1252' in stop.mend
    assert pasted(tmp_path, f'[file."animals.csv"]\nencoding = "{code}"').animals[
        "name"
    ].tolist() == ["Pe\u00f1a"]
    assert pasted(tmp_path, f'[animals]\nencoding = "{code}"').animals["name"].tolist() == [
        "Pe\u00f1a"
    ]


def test_each_file_of_a_folder_in_its_own_encoding(tmp_path: Path) -> None:
    note = "animal,taken_at,method,systolic,note\nA,2025-01-0{},doppler,150,caf\u00e9\n"
    codes = {
        "readings1.csv": "utf-8",
        "readings2.csv": "utf-8-sig",
        "readings3.csv": "utf-16",
        "readings4.csv": "cp1252",
        "readings5.csv": "latin-1",
        "readings6.csv": "mac-roman",
        "readings7.csv": "utf-16-be",
    }
    for i, (name, code) in enumerate(codes.items(), start=1):
        (tmp_path / name).write_bytes(note.format(i).encode(code))
    text = "".join(f'[file."{name}"]\nencoding = "{code}"\n' for name, code in codes.items())
    found = pasted(tmp_path, text)
    assert found.readings["note"].tolist() == ["caf\u00e9"] * 7
    said = found.understood["encoding"]
    assert said["readings4.csv"] == "cp1252"
    assert said["readings7.csv"] == "utf-16-be"
    # What an option says goes before the file, and that is said.
    found = read(tmp_path, encoding="cp1252", as_of=AS_OF)
    assert any(one.kind == "option before file" for one in found.findings)


def test_an_unknown_encoding_is_refused_by_line(tmp_path: Path) -> None:
    (tmp_path / "readings.csv").write_text(HEADER)
    (tmp_path / FILE_NAME).write_text('[file."readings.csv"]\nencoding = "cp12520"\n')
    with pytest.raises(Exception, match=r'line 2: The encoding "cp12520" is not known'):
        read(tmp_path)
