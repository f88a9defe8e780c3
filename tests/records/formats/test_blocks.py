"""A large file read a block at a time gives what it gives when it is read whole."""

from __future__ import annotations

import codecs
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest

import bpvet
from bpvet.records.formats import blocks, files
from bpvet.records.records import Records

HEADER = "animal,taken_at,method,systolic,diastolic,reading,setting,note"
ROWS = 6000


def line(i: int, **other: str) -> str:
    """An invented reading, five a visit."""
    visit = i // 5
    day = f"20{15 + visit // 400}-{1 + visit % 12:02d}-{1 + visit % 28:02d}"
    cells = {
        "animal": f"A{visit % 97}",
        "taken_at": f"{day}T10:{i % 60:02d}",
        "method": "doppler" if visit % 3 else "oscillometric",
        "systolic": str(120 + i * 7 % 60),
        "diastolic": "" if visit % 3 else str(70 + i % 20),
        "reading": str(1 + i % 5),
        "setting": "home" if visit % 4 == 0 else "",
        "note": f"visit {visit}",
    } | other
    return ",".join(cells.values())


def lines(change: dict[int, str] | None = None) -> list[str]:
    rows = [line(i) for i in range(ROWS)]
    for place, text in (change or {}).items():
        rows[place] = text
    return [HEADER, *rows]


def text(change: dict[int, str] | None = None, end: str = "\n") -> bytes:
    return (end.join(lines(change)) + end).encode()


def _with_every(column: str, value: Callable[[int], str]) -> bytes:
    rows = [line(i, **{column: value(i)}) for i in range(ROWS)]
    return ("\n".join([HEADER, *rows]) + "\n").encode()


def _swappable(i: int) -> str:
    # Which of the two is the month is seen from the last rows alone.
    return f"{25 if i > ROWS - 3 else 1 + i % 9:02d}/0{1 + i % 7}/2025"


#: Files that are read a block at a time.
STREAMED = {
    "plain": text(),
    "line ends of Windows": text(end="\r\n"),
    "no end": text()[:-1],
    "copies far apart": text({ROWS - 1: line(3), ROWS // 2: line(3), 7: line(6)}),
    "same number far apart": text({ROWS - 2: line(3, systolic="190")}),
    "date whose order shows late": _with_every("taken_at", _swappable),
    "kilopascal": _with_every("systolic", lambda i: str(14 + i % 9)),
    "letters for digits late": text({ROWS - 1: line(5, animal=" A1 ", systolic="15o")}),
    "letters beyond ASCII": _with_every("note", lambda i: "µ€é"[i % 3] * (1 + i % 4)),
    "broken rows": text({4: "A1,x", 3000: "a,b,c", ROWS - 1: line(1) + ",more"}),
    "odd values": text(
        {2: line(2, systolic="900"), 4001: line(4001, method="dopler"), 5000: line(9, animal="")}
    ),
    "comments and totals": text({10: "# a comment,,,,,,,", ROWS - 1: "Total,,,,,,,"}),
    "white space late": text({ROWS - 4: line(ROWS - 4, animal=" A5", note="x ")}),
    "title above": b"Clinic of somewhere\n\n" + text(),
    "quotation marks late": text({ROWS - 1: line(1, note='"a, b"')}),
    "every cell of a column quoted": _with_every("note", lambda i: f'"visit {i}, ""and"" more"'),
    "line breaks within": _with_every("note", lambda i: f'"{"x" * (i % 9)}\n{i}"' if i % 3 else ""),
    "line breaks of Windows within": _with_every(
        "note", lambda i: f'"a\r\n\r\n{i}"' if i % 50 == 0 else "b"
    ).replace(b"\n", b"\r\n"),
    "quoted throughout": "\r\n".join(
        ",".join(f'"{cell}"' for cell in row.split(",")) for row in lines()
    ).encode(),
    "ragged, quoted": text(
        {7: 'A1,"x', 8: 'y",z', 3000: 'a,"b\n",c', ROWS - 1: line(1, note='"q"') + ",more"}
    ),
    "a row in a cell": text({900: line(900, note='"a\n' + line(1) + '"')}),
    "guarded": text({ROWS - 9: line(ROWS - 9, note="'=1+1")}),
}
#: Files for which the whole text is needed.
WHOLE = {
    "another encoding late": text({ROWS - 1: line(ROWS - 1)})[:-2] + "é\n".encode("cp1252"),
    "a letter cut off": text()[:-1] + "é".encode()[:1],
    "no text late": text()[:-1] + b"\0\n",
    "mark never closed": text({ROWS - 5: line(1, note='"a')}),
    "mark that closes in another row": text({5: line(1, note='x"'), ROWS - 5: line(1, note='"')}),
    "stray mark late": text({ROWS - 5: line(1, note='a"b"')}),
    "a mark": codecs.BOM_UTF8 + text(),
    "blank rows": text({100: ",,,,,,,", ROWS - 1: ""}),
    "empty line at the end": text() + b"\n",
}


@pytest.fixture
def streamed(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether each large file that was read since was read a block at a time."""
    found: list[bool] = []
    read_large = files.read_large

    def told(*arguments: object) -> object:
        answer = read_large(*arguments)  # type: ignore[arg-type]
        found.append(answer is not None)
        return answer

    monkeypatch.setattr(files, "read_large", told)
    monkeypatch.setattr(blocks, "TOP", 1 << 18)
    return found


def content(records: Records) -> dict[str, object]:
    return {
        "findings": [finding.to_dict() for finding in records.findings],
        "digest": records.digest,
        "understood": records.understood,
        "cancelled": records.cancelled_rows,
    }


def same(path: Path, monkeypatch: pytest.MonkeyPatch, block: int) -> None:
    """Hold what is read of a path in blocks of some bytes against what is read of it whole."""
    monkeypatch.setattr(blocks, "LARGE", 1 << 40)
    whole = bpvet.read(path, as_of="2026-03-01")
    monkeypatch.setattr(blocks, "LARGE", 1)
    monkeypatch.setattr(blocks, "BLOCK", block)
    found = bpvet.read(path, as_of="2026-03-01")
    assert content(found) == content(whole)
    pd.testing.assert_frame_equal(found.readings, whole.readings)
    pd.testing.assert_frame_equal(bpvet.sessions(found), bpvet.sessions(whole))
    pd.testing.assert_frame_equal(bpvet.readings_used(found), bpvet.readings_used(whole))


@pytest.mark.parametrize("block", [701, 40_000])
@pytest.mark.parametrize("name", STREAMED)
def test_blocks_of_any_size_give_what_the_whole_gives(
    name: str, block: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, streamed: list[bool]
) -> None:
    (tmp_path / "readings.csv").write_bytes(STREAMED[name])
    same(tmp_path / "readings.csv", monkeypatch, block)
    assert streamed == [True]


@pytest.mark.parametrize("name", WHOLE)
def test_what_is_not_in_the_common_shape_is_read_whole(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, streamed: list[bool]
) -> None:
    (tmp_path / "readings.csv").write_bytes(WHOLE[name])
    same(tmp_path / "readings.csv", monkeypatch, 40_000)
    assert streamed == [False]


def test_visits_and_files_that_stand_twice_are_told_in_the_same_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, streamed: list[bool]
) -> None:
    (tmp_path / "readings.csv").write_bytes(text({5: "A1,x"}))
    (tmp_path / "readings-again.csv").write_bytes(text({5: "A1,x"}))
    (tmp_path / "readings-other.csv").write_bytes(text({900: line(3)}))
    (tmp_path / "animals.csv").write_text("animal,species\nA1,cat\n")
    same(tmp_path, monkeypatch, 40_000)
    assert streamed.count(True) >= 3


def test_a_large_file_is_never_held_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, streamed: list[bool]
) -> None:
    monkeypatch.setattr(blocks, "LARGE", 1)
    monkeypatch.setattr(files, "bytes_of", lambda *_: pytest.fail("the file was read whole"))
    (tmp_path / "readings.csv").write_bytes(text())
    assert len(bpvet.read(tmp_path / "readings.csv", as_of="2026-03-01").readings) == ROWS
    assert streamed == [True]
