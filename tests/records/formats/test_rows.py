"""Rows and their lines, against the standard library's reader as a slow twin."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bpvet.records.formats.rows import Rows, _fast, _slow, rows_of

CELLS = st.text(alphabet=st.sampled_from('ab ,;"\n\r\u00e9'), max_size=5)


def cells_of(rows: Rows) -> list[list[str]]:
    return [list(row) for row in zip(*(c.to_pylist() for c in rows.columns), strict=True)]


def written(table: list[list[str]], end: str) -> str:
    """The table as text, with quotation marks where they are needed."""

    def cell(text: str) -> str:
        special = any(c in text for c in ',"\r\n') or not text
        return '"' + text.replace('"', '""') + '"' if special else text

    return "".join(",".join(map(cell, row)) + end for row in table)


def twin(text: str) -> tuple[list[list[str]], list[int]]:
    """The standard library's rows, and the line on which each starts."""
    reader = csv.reader(io.StringIO(text, newline=""))
    rows, lines, last = [], [], 0
    for row in reader:
        rows.append(row)
        lines.append(last + 1)
        last = reader.line_num
    return rows, lines


@settings(max_examples=150, deadline=None)
@given(
    st.integers(2, 4).flatmap(
        lambda width: st.lists(
            st.lists(CELLS, min_size=width, max_size=width), min_size=1, max_size=8
        )
    ),
    st.sampled_from(["\n", "\r\n"]),
)
def test_sound_files_are_read_as_the_standard_library_reads_them(
    table: list[list[str]], end: str
) -> None:
    text = written([["h"] * len(table[0]), *table], end)
    expected, lines = twin(text)
    full = [i for i, row in enumerate(expected) if i and any(cell.strip() for cell in row)]
    rows = rows_of(text.encode(), ",")
    assert cells_of(rows) == [expected[i] for i in full]
    assert rows.broken == {}
    # The twin counts a lone carriage return within a cell differently.
    if "\r" not in "".join(cell for row in table for cell in row):
        assert rows.lines.tolist() == [lines[i] for i in full]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(CELLS, min_size=1, max_size=4), min_size=1, max_size=8))
def test_both_ways_of_parsing_agree_on_sound_files(table: list[list[str]]) -> None:
    text = written(table, "\n")
    fast, slow = _fast(text.encode(), ","), _slow(text, ",")
    assert fast.header == slow.header
    assert cells_of(fast) == cells_of(slow)
    assert fast.lines.tolist() == slow.lines.tolist()
    assert fast.broken.keys() == slow.broken.keys()


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet=st.sampled_from('ab,"\n\r'), min_size=1, max_size=60))
def test_no_line_of_any_text_is_lost(text: str) -> None:
    if not text.strip():
        return
    rows = rows_of(text.encode(), ",")
    kept = "".join("".join(row) for row in cells_of(rows)) + "".join(rows.header)
    kept += "".join(raw for raw, _ in rows.broken.values())
    # Letters survive, whatever becomes of separators and quotation marks; a header that cannot
    # be read is the only thing that is not kept.
    if any(rows.header):
        assert sorted(c for c in kept if c in "ab") == sorted(c for c in text if c in "ab")


def test_lines_are_those_of_the_file_with_breaks_in_cells() -> None:
    text = b'\n\na,b\n1,"x\ny"\n\n2,z\n3\n4,5\n'
    rows = rows_of(text, ",")
    assert rows.lines.tolist() == [4, 7, 8, 9]
    assert rows.broken == {2: ("3", "has 1 field where the header has 2")}


def test_an_unclosed_mark_costs_its_line_and_no_other() -> None:
    rows = rows_of(b'a,b\n1,"x\n2,y\n3,z\n', ",")
    assert cells_of(rows) == [["", ""], ["2", "y"], ["3", "z"]]
    assert rows.broken[0][0] == '1,"x'


def test_a_mark_within_a_bare_cell_is_a_character() -> None:
    assert cells_of(rows_of(b'a,b\n5" cuff,y\n', ",")) == [['5" cuff', "y"]]


def test_rows_of_separators_are_passed_over_and_counted() -> None:
    rows = rows_of(b"a,b\n1,2\n,\n\n,\n", ",")
    assert rows.blank == (3, 5)
    assert len(rows.lines) == 1


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_line_ending_is_read(end: str) -> None:
    rows = rows_of(end.join(["a,b", "1,2", "3,4"]).encode(), ",")
    assert cells_of(rows) == [["1", "2"], ["3", "4"]]
    assert rows.lines.tolist() == [2, 3]


def test_a_row_longer_than_a_block_is_read() -> None:
    long = b"x" * (1 << 25)
    rows = rows_of(b"a,b\n1," + long + b"\n2,y\n", ",")
    assert len(rows.columns[1][0].as_py()) == len(long)
    assert rows.lines.tolist() == [2, 3]
