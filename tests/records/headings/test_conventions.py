"""The small TOML file beside the records: found, said, overruled, and refused by line."""

from __future__ import annotations

from pathlib import Path

import pytest

from bpvet.errors import CallError
from bpvet.records.headings.mapping_file import line_of
from bpvet.records.headings.settled import FILE_NAME
from bpvet.records.read import read

AS_OF = "2026-01-01"
THEIRS = "Pet;Seen;BP\nA;03/04/2025;150\nA;13/04/2025;152\n"
TOML = """dates = "dmy"

[every_row]
method = "doppler"

[readings.columns]
"Pet" = "animal"
Seen = "taken_at"
BP = "systolic"
"""


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    (tmp_path / "readings.csv").write_text(THEIRS)
    (tmp_path / FILE_NAME).write_text(TOML)
    return tmp_path


def test_it_is_found_in_the_folder_and_beside_a_file(clinic: Path) -> None:
    for path in (clinic, clinic / "readings.csv"):
        records = read(path, as_of=AS_OF)
        assert not records.stopping
        assert records.readings["systolic"].tolist() == [150, 152]
        assert set(records.readings["method"]) == {"doppler"}
        assert records.readings["date"].dt.strftime("%d").tolist() == ["03", "13"]
        said = records.understood["mapping"]
        assert said["file"] == FILE_NAME
        assert said["columns"]["readings.csv"]["Pet"] == "animal"


def test_it_can_be_named(clinic: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    other = tmp_path_factory.mktemp("other") / "ours.toml"
    (clinic / FILE_NAME).rename(other)
    assert read(clinic, as_of=AS_OF).stopping
    assert not read(clinic, columns=str(other), as_of=AS_OF).stopping


def test_an_option_goes_before_it_and_that_is_said(clinic: Path) -> None:
    records = read(clinic, columns="BP=diastolic", dates="mdy", as_of=AS_OF)
    said = [one.reason for one in records.findings if one.kind == "option before file"]
    assert said == [
        "Dates are read month first, as the option says, not as this file says.",
        'The column "BP" is read as diastolic, as the option says, not as this file says.',
    ]
    assert records.readings["date"].iloc[0].month == 3


def test_a_table_and_a_file_may_have_their_own(tmp_path: Path) -> None:
    header = "animal,taken_at,method,systolic\n"
    (tmp_path / "readings1.csv").write_text(f"{header}A,3/4/2025,doppler,150\n")
    (tmp_path / "readings2.csv").write_text(f"{header}A,3/4/2025,doppler,20\n")
    (tmp_path / FILE_NAME).write_text(
        '[readings]\ndates = "dmy"\n[file."readings2.csv"]\ndates = "mdy"\nunit = "kPa"\n'
    )
    frame = read(tmp_path, as_of=AS_OF).readings
    assert frame["date"].dt.month.tolist() == [4, 3]
    assert frame["systolic"].tolist() == [150, pytest.approx(150.01, abs=0.01)]


def test_what_it_names_and_is_not_there_is_said(clinic: Path) -> None:
    with (clinic / FILE_NAME).open("a") as file:
        file.write('Weight = "note"\n[file."gone.csv"]\nunit = "kPa"\n')
    found = {one.kind: one for one in read(clinic, as_of=AS_OF).findings if one.file == FILE_NAME}
    assert found["heading not there"].line == 10
    assert found["file not there"].line == 11


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('dates = "dmy"\ndate = "mdy"\n', 2, '"date" is not known here. Did you mean "dates"'),
        ('dates = "dym"\n', 1, 'dates is "ymd", "dmy" or "mdy", not "dym".'),
        ('\nunit = "cm"\n', 2, 'unit is "mmHg" or "kPa", not "cm".'),
        (
            '[columns]\nPet = "animl"\n',
            2,
            '"animl" is not a column known here. Did you mean "animal"',
        ),
        ('[columns]\n"Pet" = 3\n', 2, '"Pet" is given a text in quotation marks.'),
        ('[every_row]\nmetod = "doppler"\n', 2, '"metod" is not a column known here.'),
        ('[readings]\nlayout = "upside down"\n', 2, "layout is"),
        ('columns = "Pet=animal"\n', 1, "columns is a table of texts."),
        ("encoding = 3\n", 1, "encoding is a text"),
        ("file = 3\n", 1, "write [file."),
        ("readings = 3\n", 1, '"readings" is a table'),
        ("layout = 3\n", 1, "layout is"),
        ("unit = 3\n", 1, "unit is"),
        ("dates = [\n", None, "is not TOML"),
    ],
)
def test_what_is_wrong_in_it_is_refused_by_line(
    clinic: Path, text: str, line: int | None, words: str
) -> None:
    (clinic / FILE_NAME).write_text(text)
    with pytest.raises(CallError) as caught:
        read(clinic, as_of=AS_OF)
    place = FILE_NAME if line is None else f"{FILE_NAME}, line {line}: "
    assert str(caught.value).startswith(place)
    assert words in str(caught.value)


def test_a_file_that_is_no_text(clinic: Path) -> None:
    (clinic / FILE_NAME).write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CallError, match="UTF-8"):
        read(clinic, as_of=AS_OF)
    with pytest.raises(CallError, match=r"absent\.toml cannot be read"):
        read(clinic, columns="absent.toml", as_of=AS_OF)


def test_a_layout_that_is_not_there_stops(clinic: Path) -> None:
    text = TOML.replace("[every_row]", 'layout = "one column a date"\n[every_row]')
    (clinic / FILE_NAME).write_text(text)
    (stop,) = read(clinic, as_of=AS_OF).stopping
    assert stop.reason.startswith('The layout is stated as "one column a date", but is one row')


def test_another_mapping_makes_another_digest(clinic: Path) -> None:
    before = read(clinic, as_of=AS_OF).digest
    assert read(clinic, as_of=AS_OF).digest == before
    (clinic / FILE_NAME).write_text(TOML.replace("dmy", "mdy"))
    assert read(clinic, as_of=AS_OF).digest != before


def test_the_line_of_a_key() -> None:
    assert line_of('a = 1\n"b c" = 2\n[x.d]\n', "b c") == 2
    assert line_of("a = 1\n[x.d]\n", "d") == 2
    assert line_of("a = 1\n", "z") is None
