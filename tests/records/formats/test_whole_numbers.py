"""Whole numbers that the parser reads are those of the cells, or all cells are read as text."""

from __future__ import annotations

import io
import itertools
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.csv
import pytest
from hypothesis import given
from hypothesis import strategies as st

import bpvet
from bpvet.records.formats import blocks, rows
from bpvet.records.formats.blocks import Blocks
from bpvet.records.formats.rows import Rows, rows_of_blocks
from bpvet.records.formats.whole_numbers import WHOLE, NotWholeError, WholeColumn

#: What numbers are made of, by people and by programs.
LETTERS = "0179 \tabxXeE.,_+-\N{NO-BREAK SPACE}\N{ARABIC-INDIC DIGIT THREE}"
#: Cells that are no whole number plainly written.
ODD = (
    *(" 140", "140 ", "\t140", "0140", "00", "-5", "-0", "+140", "0x8C", "0X8c", "140.0", "24O"),
    *("1.5", "1e2", "1_4", "> 300", "no sound", " ", "65536", "99999999999", "None", "nan", "NULL"),
)
NUMBERS = st.integers(0, 65_535).map(str) | st.sampled_from(["", "7", "140"])


def taken(text: str) -> int | None:
    """What the parser makes of one cell; None of a blank one.

    Raises
    ------
    pyarrow.ArrowInvalid
        It is no number to it.
    """
    names = pa.csv.ReadOptions(column_names=["a", "b"])
    kinds = pa.csv.ConvertOptions(column_types={"b": WHOLE}, null_values=[""])
    marks = pa.csv.ParseOptions(delimiter="|", quote_char=False)
    source = pa.BufferReader(f"x|{text}\n".encode())
    number: int | None = pa.csv.read_csv(source, names, marks, kinds)["b"][0].as_py()
    return number


def held_against_its_number(text: str) -> None:
    try:
        number = taken(text)
    except pa.ArrowInvalid:
        return
    plain = "" if number is None else str(number)
    assert text == plain or len(text.encode()) > len(plain), text


def test_no_other_text_of_a_number_is_as_short_as_the_plain_one() -> None:
    for length in range(4):
        for letters in itertools.product(LETTERS, repeat=length):
            held_against_its_number("".join(letters))


@given(text=st.text(st.sampled_from(LETTERS), max_size=9) | st.sampled_from(ODD) | NUMBERS)
def test_nor_is_any_longer_one(text: str) -> None:
    held_against_its_number(text)


def read(cells: list[list[str]], whole: bool, end: str = "\n") -> Rows:
    text = end.join(",".join(row) for row in cells) + end
    found = Blocks(io.BytesIO(text.encode()))
    return rows_of_blocks(found, 0, ",", False, whole)


@pytest.fixture(scope="module", autouse=True)
def small() -> Iterator[None]:
    """Blocks of a few rows; of few is it told what the columns hold."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "TOP", 64)
        patch.setattr(blocks, "BLOCK", 50)
        patch.setattr(rows, "_TOP", 30)
        patch.setattr(rows, "LONGEST_CELL", 0)
        yield


#: Rows of which the first show two columns of whole numbers.
TABLES = st.tuples(
    st.lists(st.tuples(st.sampled_from(["A1", "B", "Çé"]), NUMBERS, NUMBERS), max_size=40),
    st.lists(st.tuples(st.integers(0, 60), st.integers(0, 2), st.sampled_from(ODD)), max_size=2),
    st.lists(st.sampled_from([["A1"], [""], ["A1", "7"], ["A1", "", "", ""]]), max_size=2),
)


@given(table=TABLES, end=st.sampled_from(["\n", "\n", "\n", "\r\n"]))
def test_what_is_read_as_numbers_is_what_is_read_as_text(
    table: tuple[list[tuple[str, str, str]], list[tuple[int, int, str]], list[list[str]]], end: str
) -> None:
    more, odd, misfits = table
    cells = [["animal", "systolic", "reading"], *(["A1", "7", "1"] for _ in range(8))]
    cells += [list(row) for row in more]
    for row, column, text in odd:
        if 4 < row < len(cells):
            cells[row][column] = text
    cells += misfits
    try:
        as_text = read(cells, whole=False, end=end)
    except pa.ArrowInvalid:
        # Blank rows among the others: all of the text is needed.
        with pytest.raises((pa.ArrowInvalid, NotWholeError)):
            read(cells, whole=True, end=end)
        return
    plain = all(str(number).isascii() and str(number) not in ODD for row in cells for number in row)
    try:
        as_numbers = read(cells, whole=True, end=end)
    except NotWholeError:
        assert end != "\n" or not plain or misfits or any("65535" in row for row in cells)
        return
    assert end == "\n"
    assert not misfits
    assert as_numbers.header == as_text.header
    assert as_numbers.lines.tolist() == as_text.lines.tolist()
    for numbers, texts in zip(as_numbers.columns, as_text.columns, strict=True):
        assert numbers.type == texts.type
        assert numbers.equals(texts)


def test_columns_of_whole_numbers_are_read_as_such(monkeypatch: pytest.MonkeyPatch) -> None:
    made: list[WholeColumn] = []
    monkeypatch.setattr(rows, "WholeColumn", lambda: made.append(WholeColumn()) or made[-1])
    read([["animal", "systolic", "note"], *(["A1", "7", "x 1"] for _ in range(40))], whole=True)
    assert len(made) == 1


@pytest.mark.parametrize("odd", ODD)
def test_a_late_cell_that_is_no_whole_number_is_told_as_ever(
    odd: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [
        f"A{i % 5},2025-01-{1 + i // 20:02d}T10:{i % 60:02d},doppler,{120 + i % 3}"
        for i in range(400)
    ]
    lines[390] = f"A1,2025-02-01T10:00,doppler,{odd}"
    place = tmp_path / "readings.csv"
    place.write_text("animal,taken_at,method,systolic\n" + "\n".join(lines) + "\n")
    whole = bpvet.read(place, as_of="2026-03-01")
    for name, size in (("TOP", 1 << 10), ("BLOCK", 1 << 10), ("LARGE", 1)):
        monkeypatch.setattr(blocks, name, size)
    monkeypatch.setattr(rows, "_TOP", 1 << 10)
    found = bpvet.read(place, as_of="2026-03-01")
    assert [str(one) for one in found.findings] == [str(one) for one in whole.findings]
    assert found.readings.equals(whole.readings)
