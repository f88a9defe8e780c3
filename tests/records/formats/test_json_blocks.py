"""JSON lines read a block at a time give what they give when they are read whole."""

from __future__ import annotations

import codecs
import json
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bpvet
from bpvet.records.cells import RawSheet
from bpvet.records.findings import Finding
from bpvet.records.formats import blocks, files, json_lines
from bpvet.records.formats.json_lines import document_of, json_sheet, read_large_lines
from bpvet.records.parsing import columns

#: Lines of every kind, good and bad.
LINES = (
    '{"animal": "A1", "systolic": 150, "note": "a"}',
    '{"animal": "A2", "systolic": 151.50, "note": null, "excluded": false}',
    '{"systolic": 1e2, "animal": "Ä€𝄞", "home": true}',
    '{"animal": "A1", "systolic": NaN, "diastolic": -Infinity}',
    '{"animal": "A1", "animal": "A2"}',
    '{"animal": {"name": "A1"}, "systolic": 150}',
    '{"animal": ["A1", [2]], "systolic": 150}',
    '{"animal": "\\ud800", "\\ud83d": "\\ud83d\\ude00 \\n"}',
    '{"animal": "A9", "systolic": 140},',
    '  {"animal": "A9"}\t',
    "",
    " \t",
    "{}",
    "[]",
    '[{"animal": "A1"}]',
    "152",
    '"text"',
    "null",
    "tru",
    "no JSON",
    '{"animal": "A1"',
    '{"animal": "A1",',
    '{"animal": "A1',
    '{"animal": "A1"} {"animal": "A2"}',
    '{"animal": "A1"}}',
    "}",
    "{",
    '"animal": "A3"',
    ",",
    "\x0b",
    "\ufeff",
    "[" * 3000,
    '{"resourceType": 3, "animal": "A1"}',
    '{"animal": "' + "x" * 700 + '", "other": 1',
)
#: The same over several lines, which is read too.
SPREAD = ('{"animal":', '"A1",', '"systolic": 150', "}", '{"a": [1,', "2]}")
GOOD = LINES[0]


def told(sheet: RawSheet | None, findings: list[Finding]) -> object:
    said = [one.to_dict() for one in findings]
    if sheet is None:
        return None, said
    cells = [columns.uncoded(one).to_pylist() for one in sheet.columns]
    return sheet.header, cells, sheet.lines.tolist(), sheet.broken, said


def whole(data: bytes) -> tuple[object, bool]:
    """Return what a text gives when it is read whole, and whether all of it is needed for that."""
    findings: list[Finding] = []
    held = document_of("f", data, findings)
    if held is None:
        return told(None, findings), True
    return told(json_sheet("f", "readings", held, findings), findings), False


def in_blocks(path: Path) -> object:
    findings: list[Finding] = []
    found = read_large_lines("f", "readings", path, findings)
    if found is None:
        assert not findings
        return None
    sheets, size, _ = found
    assert size == path.stat().st_size
    return told(sheets[0] if sheets else None, findings)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lines") / "readings.jsonl"


def compared(place: Path, data: bytes, block: int, top: int = 10_000) -> bool:
    """Hold one reading against the other; return whether blocks were enough."""
    place.write_bytes(data)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(blocks, "TOP", top)
        patch.setattr(blocks, "BLOCK", block)
        patch.setattr(json_lines, "BLOCK", block)
        found = in_blocks(place)
    wanted, needed = whole(data)
    assert found == (None if needed else wanted)
    return found is not None


@settings(max_examples=400, deadline=None)
@given(
    some=st.lists(st.sampled_from(LINES) | st.sampled_from((GOOD, *SPREAD)), max_size=30),
    ends=st.lists(st.sampled_from(["\n", "\r\n", "\r", "\n\n", "\r\n\r\n"]), min_size=1),
    mark=st.booleans(),
    ended=st.booleans(),
    begin=st.sampled_from([GOOD, '{"animal":\n"A1"}', '{"b": 1,\n"b": 2}', " \r\n\r\n" + GOOD]),
    block=st.sampled_from([1, 2, 3, 7, 61, 1000, 1 << 22]),
)
def test_lines_of_every_kind(
    place: Path,
    some: list[str],
    ends: list[str],
    mark: bool,
    ended: bool,
    begin: str,
    block: int,
) -> None:
    text = begin
    for i, one in enumerate(some):
        text += ends[i % len(ends)] + one
    data = (text + ends[0] * ended).encode()
    compared(place, codecs.BOM_UTF8 * mark + data, block)


@pytest.mark.parametrize("line", LINES)
@pytest.mark.parametrize("block", [1, 7, 1 << 12])
def test_a_line_of_each_kind_among_good_ones_is_read_in_blocks(
    line: str, block: int, place: Path
) -> None:
    text = "\r\n".join([GOOD, GOOD, line, GOOD, line, line, GOOD, line])
    assert compared(place, text.encode(), block)


#: Texts that are read whole, however they are cut.
NEEDED = {
    "another encoding late": (GOOD + "\n").encode() * 500 + '{"animal": "é"}'.encode("cp1252"),
    "a letter cut off": (GOOD + "\n").encode() * 500 + "é".encode()[:1],
    "no text late": (GOOD + "\n").encode() * 500 + b"\0",
    "an object that is never closed": b'{"animal": "A1",\n"note": 3\n' * 300,
}


@pytest.mark.parametrize("name", NEEDED)
@pytest.mark.parametrize("block", [7, 5000])
def test_what_is_no_text_or_no_json_is_read_whole(name: str, block: int, place: Path) -> None:
    assert not compared(place, NEEDED[name], block)


@pytest.mark.parametrize(
    "data",
    [
        f"[{GOOD},\n{GOOD}]".encode(),
        GOOD.encode("utf-16"),
        GOOD.replace("systolic", "resourceType").replace("150", '"Bundle"').encode(),
        ("\n" + '{"resourceType": "Patient"}\n' + GOOD).encode(),
    ],
)
def test_lists_resources_and_other_encodings_are_read_whole(data: bytes, place: Path) -> None:
    place.write_bytes(data)
    assert in_blocks(place) is None


def test_an_object_that_goes_on_and_on_is_read_whole(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(json_lines, "LONGEST_VALUE", 500)
    monkeypatch.setattr(json_lines, "BLOCK", 100)
    place.write_text(GOOD + '\n{"animal":\n' + "\n" * 600 + '"A1"}\n')
    assert in_blocks(place) is None


@pytest.mark.parametrize("limit", ["MOST_NAMES", "MOST_CELLS"])
@pytest.mark.parametrize("rows", [6, 7])
def test_too_many_names_or_cells_are_too_many_in_blocks(
    limit: str, rows: int, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(json_lines, limit, 6 if limit == "MOST_NAMES" else 36)
    monkeypatch.setattr(json_lines, "CELLS_A_VALUE", 1)
    # A name more in every line, and a number that JSON does not have.
    lines = [json.dumps({f"n{k}": float("nan") for k in range(i + 1)}) for i in range(rows)]
    data = "\n".join(lines).encode()
    assert compared(place, data, 20)
    found, _ = whole(data)
    assert isinstance(found, tuple)
    assert (found[0] is None) == (rows > 6)


def test_a_table_that_gives_its_cells_may_have_any_number(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(json_lines, "MOST_CELLS", 36)
    data = "\n".join(json.dumps({"animal": f"A{i}", "systolic": i}) for i in range(50)).encode()
    assert compared(place, data, 20)
    found, _ = whole(data)
    assert isinstance(found, tuple)
    assert found[0] is not None


def _line(i: int) -> str:
    one = {
        "animal": f"A{i % 97}",
        "taken_at": f"20{15 + i % 9}-{1 + i % 12:02d}-{1 + i % 28:02d}T10:{i % 60:02d}",
        "method": "oscillometric",
        "systolic": 120 + i * 7 % 60,
        # More different texts than two bytes number; more rows than tell whether texts repeat.
        "note": f"visit {i % 33_500}",
    }
    if i == 41_000:
        one |= {"diastolic": 80, "comment": ["new", "late"]}
    if i > 42_000:
        one |= {"operator": f"O{i % 3}", "site": f"site {i}"}
    text = json.dumps(one)
    return text[:-1] if i % 9_001 == 17 else text


def test_a_file_above_every_limit_gives_the_same_records(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "readings.jsonl"
    text = "\n".join(map(_line, range(90_000)))
    path.write_text(text + "\n" * 9 + text[:3_000_000])
    assert path.stat().st_size > max(blocks.LARGE - (1 << 23), blocks.TOP, 2 * blocks.BLOCK)
    monkeypatch.setattr(blocks, "LARGE", 1 << 40)
    wanted = bpvet.read(path, as_of="2026-03-01")
    monkeypatch.setattr(blocks, "LARGE", 1)
    monkeypatch.setattr(files, "bytes_of", lambda *_: pytest.fail("the file was read whole"))
    found = bpvet.read(path, as_of="2026-03-01")
    assert [one.to_dict() for one in found.findings] == [one.to_dict() for one in wanted.findings]
    assert (found.digest, found.understood) == (wanted.digest, wanted.understood)
    pd.testing.assert_frame_equal(found.readings, wanted.readings)
    pd.testing.assert_frame_equal(bpvet.sessions(found), bpvet.sessions(wanted))
