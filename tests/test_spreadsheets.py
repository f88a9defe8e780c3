"""Tables that a spreadsheet opens hold no formulas, and come back as what they were."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bpvet.files import csv_bytes
from bpvet.records.formats.files import load
from bpvet.spreadsheets import guarded, unguarded

SIGNS = "=+-@\uff1d\uff0b\uff0d\uff20"
TEXTS = st.one_of(
    st.text(st.characters(exclude_categories=("Cs",)), max_size=30),
    st.text(f"{SIGNS}';\t\r\n \u00a0\u3000\u200b\",1a", max_size=12),
)


def held(cells: list[str], folder: Path, plain: bool = False) -> tuple[list[str], list[str]]:
    """Return the notes that are read from a table of them, and the kinds of findings."""
    place = folder / "readings.csv"
    rows = [["A", "2026-01-01", "doppler", 150, cell] for cell in cells]
    heads = ("animal", "taken_at", "method", "systolic", "note")
    place.write_bytes(csv_bytes(heads, rows, plain))
    loaded = load(place)
    return loaded.sheets[0].columns[-1].to_pylist(), [one.kind for one in loaded.findings]


@pytest.mark.parametrize("sign", SIGNS)
@pytest.mark.parametrize("before", ["", " ", "\u00a0", "\t", "\r", "\n", "'", "\u200b", "\x00"])
def test_what_begins_a_formula_has_an_apostrophe_before_it(before: str, sign: str) -> None:
    assert guarded(f"{before}{sign}1+1") in (f"'{before}{sign}1+1", f"'{before}'{sign}1+1")


@pytest.mark.parametrize("start", ["\t", "\r"])
def test_a_leading_tab_is_never_the_first_character(start: str) -> None:
    assert guarded(f"{start}a") == f"'{start}a"


@pytest.mark.parametrize("mark", [";", "; ", "\t", "\n"])
def test_where_another_separator_splits_the_cell_no_part_is_a_formula(mark: str) -> None:
    parts = guarded(f"a{mark}=1+1").split(mark[0])
    assert parts == ["a", f"'{mark[1:]}=1+1"]


@pytest.mark.parametrize("text", ["", "calm", "a-b", "J. O'Neil", "150", "'tis", "x;y", "a\nb"])
def test_other_text_stays_as_it_is(text: str) -> None:
    assert guarded(text) == unguarded(text) == text


def test_numbers_stay_numbers() -> None:
    assert csv_bytes(("a", "b"), [(-5, "-5"), (-2.5, "x")]) == b"a,b\n-5,'-5\n-2.5,x\n"


def test_for_programs_text_stays_as_it_is() -> None:
    assert csv_bytes(("a",), [("=1",)], plain=True) == b"a\n=1\n"


@given(TEXTS)
@example("'=1")
@example("'';'=1")
def test_every_text_comes_back(text: str) -> None:
    assert unguarded(guarded(text)) == text


@given(st.lists(TEXTS, min_size=1, max_size=5))
@example(["\r", "\n", ' "', "'\t"])
def test_a_table_is_what_every_reader_of_csv_takes_it_for(cells: list[str]) -> None:
    read = list(csv.reader(io.StringIO(csv_bytes(("a", "b"), [(c, "x") for c in cells]).decode())))
    assert read[1:] == [[guarded(cell), "x"] for cell in cells]


# A file that holds a NUL is refused whole, as no text: that is tested with the encodings.
@given(st.lists(TEXTS.map(lambda text: text.replace("\0", "")), min_size=1, max_size=5))
@example(["a'b", "'=1", "=1", "\r=1", "x;=1\n'-2"])
def test_any_text_written_and_read_is_the_same(
    tmp_path_factory: pytest.TempPathFactory, cells: list[str]
) -> None:
    assert held(cells, tmp_path_factory.mktemp("t"))[0] == cells


def test_it_is_said_once_a_column(tmp_path: Path) -> None:
    cells, kinds = held(["=1", "calm", "+49 30", "=1"], tmp_path)
    assert cells == ["=1", "calm", "+49 30", "=1"]
    assert kinds == ["apostrophe"]
    said = load(tmp_path / "readings.csv").findings[0]
    assert (said.line, said.column) == (2, "note")
    assert '"=1"' in said.reason
    assert "3 cells of this column" in said.reason


def test_nothing_is_said_where_nothing_is_taken_off(tmp_path: Path) -> None:
    assert held(["'tis", "O'Neil"], tmp_path) == (["'tis", "O'Neil"], [])
