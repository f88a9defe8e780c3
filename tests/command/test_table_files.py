"""Sessions as files that other programs go on with: right types, no formulas, their meanings."""

from __future__ import annotations

import csv
import datetime
import json
import zipfile

import openpyxl
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from bpvet.errors import CallError
from bpvet.records import table_files as table_files_
from bpvet.records.read import read
from bpvet.records.table_files import ColumnWords, table_files
from bpvet.visits.sessions import sessions
from bpvet.wording.en.sessions import session_words
from tests.command.small import AS_OF, write_readings

HOSTILE = ("=1+1", "+1", "-1", "@x", "#N/A", "a\x01b", "_x0041_", " x", "'=1", "é👩‍🚀")


def text_table(texts):
    return pd.DataFrame({"text": list(texts)}), [ColumnWords("text", "any", "")]


def test_every_column_has_a_meaning_and_quantities_have_units(clinic):
    table = sessions(read(clinic, as_of=AS_OF))
    words = {one.column: one for one in session_words(table.columns)}
    assert list(words) == list(table.columns)
    assert not [name for name, one in words.items() if "not ours" in one.meaning]
    assert words["systolic"].unit == words["systolic_sd"].unit == "mmHg"
    assert words["systolic_ss"].unit == "(mmHg)²"
    assert words["heart_rate"].unit == "per minute"
    assert words["pulse_pressure_median"].unit == "mmHg"
    assert words["systolic_n"].unit == "readings"
    assert words["mean_sd"].meaning.startswith("mean pressure: standard deviation")


def test_parquet_has_the_types_and_the_meanings(run, clinic, tmp_path):
    file = tmp_path / "s.parquet"
    assert run("sessions", clinic, "--as-of", AS_OF, "-o", file).status == 0
    held = pq.read_table(file)
    kinds = {field.name: field.type for field in held.schema}
    assert kinds["date"] == pa.date32()
    assert kinds["first_time"] == pa.timestamp("ms")
    assert kinds["systolic"] == pa.float64()
    assert kinds["systolic_n"] == kinds["session"] == pa.int64()
    assert kinds["treated"] == pa.bool_()
    assert kinds["animal"] == kinds["flags"] == pa.string()
    wanted = sessions(read(clinic, as_of=AS_OF))
    assert held["systolic"].to_pylist() == [None if v != v else v for v in wanted["systolic"]]
    assert held["date"].to_pylist() == [value.date() for value in wanted["date"]]
    assert held["diastolic"].null_count == wanted["diastolic"].isna().sum()
    assert held.schema.field("systolic").metadata[b"unit"] == b"mmHg"
    about = json.loads(held.schema.metadata[b"bpvet_columns"])
    assert [one["column"] for one in about] == list(wanted.columns)
    assert [one.name for one in tmp_path.iterdir()] == ["s.parquet"]


def test_a_workbook_has_a_second_sheet_and_dates(run, clinic, tmp_path):
    file = tmp_path / "s.xlsx"
    assert run("sessions", clinic, "--as-of", AS_OF, "-o", file).status == 0
    book = openpyxl.load_workbook(file)
    assert book.sheetnames == ["sessions", "columns"]
    rows = list(book["sessions"].iter_rows(values_only=True))
    wanted = sessions(read(clinic, as_of=AS_OF))
    first = dict(zip(rows[0], rows[1], strict=True))
    assert len(rows) == 1 + len(wanted)
    assert first["date"] == datetime.datetime(2026, 1, 5)
    assert first["systolic"] == wanted["systolic"].iloc[0]
    assert first["diastolic"] is None
    about = list(book["columns"].iter_rows(values_only=True))
    assert about[0] == ("column", "meaning", "unit")
    assert [row[0] for row in about[1:]] == list(wanted.columns)


def test_json_lines_and_their_companion(run, clinic, tmp_path):
    file = tmp_path / "s.jsonl"
    assert run("sessions", clinic, "--as-of", AS_OF, "-o", file).status == 0
    rows = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    assert rows[0]["date"] == "2026-01-05"
    assert rows[0]["diastolic"] is None
    assert rows[0]["treated"] in (True, False)
    with (tmp_path / "s-columns.csv").open(encoding="utf-8", newline="") as beside:
        about = list(csv.DictReader(beside))
    assert [one["column"] for one in about] == list(rows[0])


def test_another_ending_is_refused_by_name_before_anything_is_read(run, clinic, tmp_path):
    for name in ("s.txt", "s", "s.parquet.gz"):
        ended = run("sessions", clinic, "-o", tmp_path / name)
        assert ended.status == 2
        assert ".csv, .xlsx, .jsonl or .parquet" in ended.err
    assert list(tmp_path.iterdir()) == []


def test_a_companion_that_is_there_is_not_replaced(run, clinic, tmp_path):
    (tmp_path / "s-columns.csv").write_text("mine")
    ended = run("sessions", clinic, "-o", tmp_path / "s.csv")
    assert ended.status == 2
    assert "s-columns.csv" in ended.err
    assert (tmp_path / "s-columns.csv").read_text() == "mine"
    assert not (tmp_path / "s.csv").exists()


def test_no_text_of_a_workbook_is_a_formula_or_an_error(tmp_path):
    file = tmp_path / "t.xlsx"
    file.write_bytes(table_files(file, *text_table(HOSTILE))["t.xlsx"])
    sheet = openpyxl.load_workbook(file).worksheets[0]
    cells = [row[0] for row in sheet.iter_rows(min_row=2)]
    assert {cell.data_type for cell in cells} == {"s"}
    assert all(cell.quotePrefix for cell in cells)
    with zipfile.ZipFile(file) as parts:
        texts = b"".join(parts.read(name) for name in parts.namelist())
    assert b"<f>" not in texts
    assert b"a_x0001_b" in texts
    assert b"_x005F_x0041_" in texts


@pytest.mark.parametrize("ending", ["parquet", "jsonl"])
def test_texts_for_programs_are_as_they_are(ending, tmp_path):
    file = tmp_path / f"t.{ending}"
    content = table_files(file, *text_table(HOSTILE))[file.name]
    if ending == "parquet":
        held = pq.read_table(pa.BufferReader(content))["text"].to_pylist()
    else:
        held = [json.loads(line)["text"] for line in content.decode().split("\n")[:-1]]
    assert held == list(HOSTILE)


def test_what_does_not_fit_a_workbook_is_said(tmp_path, monkeypatch):
    with pytest.raises(CallError, match="is longer"):
        table_files(tmp_path / "t.xlsx", *text_table(["x" * 40_000]))
    monkeypatch.setattr(table_files_, "_MOST_ROWS", 3)
    with pytest.raises(CallError, match="holds 2 rows, and these are 3"):
        table_files(tmp_path / "t.xlsx", *text_table("abc"))


@pytest.mark.parametrize("ending", ["csv", "xlsx", "jsonl", "parquet"])
def test_a_table_without_rows_is_written_too(ending, run, tmp_path):
    folder = write_readings(tmp_path / "r", "A,2026-01-01,doppler,150")
    ended = run("sessions", folder, "--as-of", "2020-01-01", "-o", tmp_path / f"s.{ending}")
    assert ended.status == 0
    assert (tmp_path / f"s.{ending}").exists()
