"""Nothing is dropped in silence: every row and cell of any input is used or has a finding."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bpvet.errors import BpvetError
from bpvet.records.read import read
from bpvet.records.records import Records
from bpvet.records.tables import TABLES, Column, plain_name

#: Findings that speak for a whole column, or a whole file, whatever line they show.
OF_COLUMN = {"not in mmHg", "day or month first", "white space", "order beside readings"}
OF_FILE = {"missing column", "doubled column", "layout", "no rows", "empty", "same file twice"}

IDS = st.sampled_from(
    ["A1", "a1", " A1", "007", "=1+1", "../../x", "<script>", "", "é" * 300, "😀"]
)
SOME_DATES = """
2025-01-01 2025-01-01T10:00 2025-01-01T10:00:30+02:00 2025-02-30 2031-01-01 03/04/2025 1899-12-30
soon 2024-12-31
"""
SOME_NUMBERS = "150 120.5 120,5 1,650 16O 12 1650 300 0 -5 1e400 nan 90 260 ٣٤ 165/90"
DATES = st.sampled_from([*SOME_DATES.split(), ""])
NUMBERS = st.sampled_from([*SOME_NUMBERS.split(), "> 300", "< 40", "no sound", "", " 140 "])
WORDS = st.sampled_from(
    ["doppler", "Oscillometric", "osc", "", "home", "clinic", "calmed", "cat", "dog", "absent"]
)
ANALYTES = st.sampled_from(["creatinine", "UPC", "sdma", "Weight", "K", "potassium", "x", ""])
UNITS = st.sampled_from(["umol/L", "mg/dL", "kg", "g/L", "mmol/L", "ratio", " ", "", "<b>"])
TEXTS = st.sampled_from(["", "x", " x", "no", "0", "two\nlines", 'a "b"', "=1+1", "a,b;c", "died"])


def cells_for(column: Column) -> st.SearchStrategy[str]:
    if column.name == "animal":
        return IDS
    if column.name == "entry":
        return st.just("e0")
    if column.name in ("analyte", "unit"):
        return ANALYTES if column.name == "analyte" else UNITS
    numbers = dict.fromkeys(("number", "quantity", "bounded"), NUMBERS)
    kinds = {"text": TEXTS, "date": DATES, "moment": DATES, **numbers}
    if column.kind == "word":
        return st.one_of(st.sampled_from(column.words), WORDS)
    return st.one_of(kinds[column.kind], kinds[column.kind], TEXTS)


@st.composite
def tables(draw: st.DrawFn, table: str) -> tuple[list[str], list[list[str]]]:
    own = TABLES[table]
    needed = [column for column in own if column.required]
    free = [column for column in own if not column.required]
    chosen = needed + (
        draw(st.lists(st.sampled_from(free), unique=True, max_size=6)) if free else []
    )
    if table == "readings" and not any(column.kind == "quantity" for column in chosen):
        chosen.append(next(column for column in own if column.name == "systolic"))
    rows = draw(st.lists(st.tuples(*map(cells_for, chosen)), max_size=8))
    if table == "cancelled":
        # What is cancelled is in no table: tests/records/entries/test_cancelled.py accounts for it.
        rows = [(f"none {place}", *row[1:]) for place, row in enumerate(rows)]
    return [column.name for column in chosen], [list(row) for row in rows]


def as_csv(header: list[str], rows: list[list[str]]) -> str:
    quoted = [['"' + cell.replace('"', '""') + '"' for cell in row] for row in [header, *rows]]
    return "".join(",".join(row) + "\n" for row in quoted)


def lines_of(rows: list[list[str]]) -> list[int]:
    lines, line = [], 2
    for row in rows:
        lines.append(line)
        line += 1 + sum(cell.count("\n") for cell in row)
    return lines


def as_given(column: Column, text: str, row: Any) -> bool:
    """Whether the frame holds the cell as it stands in the file."""
    value = row[column.name]
    if text == "":
        return bool(pd.isna(value) or value == "" or column.name == "status")
    if column.kind in ("text", "word"):
        return str(value).casefold() == text.casefold() or plain_name(text) == value
    if column.kind == "date":
        return bool(pd.notna(value) and value.isoformat()[:10] == text)
    if column.kind == "moment":
        timed = value.isoformat()[:19] if pd.notna(value) else ""
        return timed.startswith(text[:19])
    bound = row.get(f"{column.name}_bound", "")
    if bound == "no sound":
        return text.casefold() == "no sound"
    number = text.replace(",", ".")
    if bound:
        number = number.lstrip("<>= ")
    return bool(pd.notna(value) and _float(number) == value)


def _float(text: str) -> float:
    return float(text) if re.fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?", text) else np.nan


def check_table(
    records: Records, table: str, header: list[str], rows: list[list[str]], trimmed: bool = True
) -> None:
    file = f"{table}.csv"
    frame: pd.DataFrame = getattr(records, table)
    mine = [finding for finding in records.findings if finding.file == file]
    whole = any(finding.kind in OF_FILE for finding in mine)
    columns = {finding.column for finding in mine if finding.kind in OF_COLUMN}
    places = {(finding.line, finding.column) for finding in mine}
    full = [
        (line, row)
        for line, row in zip(lines_of(rows), rows, strict=True)
        if any(cell.strip() for cell in row)
    ]
    if table != "animals":
        assert frame["line"].tolist() == [line for line, _ in full]
    for line, cells in full:
        found = (
            frame[frame["animal"] == cells[0].strip()]
            if table == "animals"
            else frame[frame["line"] == line]
        )
        if table == "animals" and found.empty:
            assert {(line, ""), (line, "animal")} & places
            continue
        row = found.iloc[0]
        if table != "animals" and row["set_aside"]:
            assert whole or columns or any(place[0] == line for place in places)
        for name, cell in zip(header, cells, strict=True):
            column = next(column for column in TABLES[table] if column.name == name)
            said = whole or name in columns or {(line, name), (line, "")} & places
            assert said or as_given(column, cell.strip(), row), (line, name, cell)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.fixed_dictionaries({table: tables(table) for table in TABLES}))
def test_every_cell_is_used_or_said(
    tmp_path: Path, made: dict[str, tuple[list[str], list[list[str]]]]
) -> None:
    texts = {table: as_csv(*content).encode() for table, content in made.items()}
    for table, text in texts.items():
        (tmp_path / f"{table}.csv").write_bytes(text)
    records = read(tmp_path, as_of="2026-01-01")
    for table, (header, rows) in made.items():
        check_table(records, table, header, rows)
    tables_of_animals = [rows for table, (_, rows) in made.items() if table != "cancelled"]
    ids = {row[0].strip() for rows in tables_of_animals for row in rows} - {""}
    assert set(records.animals["animal"]) == ids
    assert {f"{table}.csv": (tmp_path / f"{table}.csv").read_bytes() for table in texts} == {
        f"{table}.csv": text for table, text in texts.items()
    }


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.one_of(st.binary(max_size=80), st.text(max_size=80).map(lambda t: t.encode("utf-8"))))
def test_no_bytes_break_the_reader(tmp_path: Path, data: bytes) -> None:
    file = tmp_path / "any.csv"
    file.write_bytes(data)
    try:
        records = read(file, as_of="2026-01-01")
    except BpvetError:
        raise AssertionError("what a finding can tell is not raised") from None
    assert records.stopping or records.findings
    assert all(str(finding) and "\n" not in finding.reason for finding in records.findings)
    assert hashlib.sha256(file.read_bytes()).digest() == hashlib.sha256(data).digest()


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(st.tuples(*[NUMBERS] * 3, TEXTS), min_size=1, max_size=6),
    st.sampled_from(["systolic_1,systolic_2,systolic_3", "systolic_1,systolic_2,systolic_mean"]),
)
def test_readings_side_by_side_are_all_there(
    tmp_path: Path, rows: list[tuple[str, ...]], header: str
) -> None:
    names = [*header.split(","), "note"]
    made = [["A1", f"2025-01-{i + 1:02d}", "doppler", *row] for i, row in enumerate(rows)]
    text = as_csv(["animal", "taken_at", "method", *names], made)
    (tmp_path / "readings.csv").write_bytes(text.encode())
    records = read(tmp_path, as_of="2026-01-01")
    frame = records.readings
    said = {(finding.line, finding.column) for finding in records.findings}
    columns = {finding.column for finding in records.findings if finding.kind in OF_COLUMN}
    for line, row in zip(lines_of(made), made, strict=True):
        mine = frame[frame["line"] == line]
        filled = [cell for cell, name in zip(row[3:6], names, strict=False) if cell.strip()]
        beside = [
            cell
            for cell, name in zip(row[3:6], names, strict=False)
            if cell.strip() and name != "systolic_mean"
        ]
        assert len(mine) == max(len(beside), 1)
        if records.stopping:
            continue
        numbers = set(mine["systolic"].dropna())
        for cell, name in zip(row[3:6], names, strict=False):
            value = _float(cell.strip().lstrip("<> ").replace(",", "."))
            silent = cell == "no sound" and "no sound" in set(mine["systolic_bound"])
            used = not cell.strip() or value in numbers or silent
            assert used or {(line, name), (line, "")} & said or name in columns, (line, name, cell)
        assert filled or (mine["set_aside"] != "").all()
