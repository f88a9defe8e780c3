"""Files of ten megabytes that are made to hurt: memory below one gigabyte, an end within seconds.

    python reference_checks/fuzzing/big.py
    python reference_checks/fuzzing/big.py xlsx deep

Each file is checked by a process of its own, whose peak memory and processor time are printed
beside the limits. None may end in a traceback, or in anything but the statuses 0, 1 and 2.
"""

from __future__ import annotations

import io
import os
import random
import resource
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
SIZE = 10_000_000
#: Peak memory in MB, and processor time in seconds, of a whole process with its imports.
MEMORY, SECONDS = 1024, 10.0

HEADER = b"animal,taken_at,method,systolic\n"
ROW = b"A1,2025-01-08T10:00,doppler,152\n"


def files() -> Iterator[tuple[str, bytes]]:
    """Yield names and contents, about ten megabytes each or swelling to far more."""
    yield "good.csv", HEADER + ROW * (SIZE // len(ROW))
    yield "every row bad.csv", HEADER + b"A1,08/01/2025,dopler,15O\n" * (SIZE // 25)
    yield (
        "every row of another animal.csv",
        HEADER + b"".join(b"A%d,2025-01-08,doppler,152\n" % n for n in range(SIZE // 30)),
    )
    yield "one line.csv", HEADER + b"x" * SIZE
    yield "one row of commas.csv", HEADER + b"," * SIZE
    yield "commas in the header.csv", b"," * SIZE + b"\n" + ROW
    yield "line breaks.csv", b"\n" * SIZE
    yield "quotes.csv", HEADER + b'"' * SIZE
    yield "an open quote.csv", HEADER + b'A1,"' + ROW * (SIZE // len(ROW))
    yield "null bytes.csv", b"\0" * SIZE
    yield "long words.csv", HEADER + (b"A1,2025-01-08,doppler," + b"9" * 100_000 + b"\n") * 99
    yield "ten thousand columns.csv", _wide()
    yield "deep.json", b"[" * (SIZE // 2) + b"]" * (SIZE // 2)
    yield "deep.jsonl", b'{"a":' * (SIZE // 6) + b"1" + b"}" * (SIZE // 6) + b"\n"
    yield "deep bundle.json", b'{"resourceType":"Bundle","entry":' + b"[" * 5_000_000
    yield "lines.jsonl", b'{"animal":"A1","taken_at":"2025-01-08","method":"doppler"}\n' * 160_000
    yield "good.xlsx", _good()
    yield "far apart.xlsx", _with_sheet(_sheet(_FAR_APART))
    yield "wide.xlsx", _with_sheet(_sheet(_WIDE_ROWS))
    yield "dense.xlsx", _with_sheet(_sheet(_ONES * 1_000_000))
    yield "errors.xlsx", _with_sheet(_sheet(_ERRORS * 340_000))
    yield "one shared text.xlsx", _shared()
    yield "bomb.xlsx", _bomb()
    yield "many sheets.xlsx", _many_sheets()
    yield "deep.xlsx", _with_sheet(b"<a>" * 3_000_000)
    yield "entities.xlsx", _with_sheet(_entities())
    yield "not a zip.xlsx", b"PK\x03\x04" + os.urandom(SIZE)
    yield "noise.parquet", b"PAR1" + os.urandom(SIZE) + b"PAR1"
    yield "noise.feather", b"ARROW1\0\0" + os.urandom(SIZE) + b"ARROW1"
    yield "noise.db", b"SQLite format 3\0" + os.urandom(SIZE)


def main(words: Sequence[str] = ()) -> int:
    """Check the files with one of the words in their name, or all, and return the exit status."""
    failures = 0
    print(f"{'file':34} {'MB':>6} {'s':>6}  status")
    for name, content in files():
        if words and not any(word in name for word in words):
            continue
        with tempfile.TemporaryDirectory(prefix="big-") as spare:
            place = Path(spare) / name
            place.write_bytes(content)
            memory, seconds, ended = _checked(place)
        words = _wrong(memory, seconds, ended)
        failures += bool(words)
        print(f"{name:34} {memory:6.0f} {seconds:6.1f}  {ended.returncode}  {words}", flush=True)
    print(f"{failures} broken")
    return 1 if failures else 0


def _checked(place: Path) -> tuple[float, float, subprocess.CompletedProcess[str]]:
    """Return peak memory in MB, processor seconds, and what the process said."""
    call = [sys.executable, __file__, "--one", str(place)]
    try:
        ran = subprocess.run(call, capture_output=True, text=True, timeout=120, check=False)
    except subprocess.TimeoutExpired:
        return 0.0, 120.0, subprocess.CompletedProcess(call, 0, "", "")
    try:
        memory, seconds = map(float, ran.stderr.split()[-2:])
    except ValueError:
        # It ended before it could say so.
        return 0.0, 0.0, subprocess.CompletedProcess(call, -1, ran.stdout, ran.stderr)
    return memory, seconds, ran


def _wrong(memory: float, seconds: float, ended: subprocess.CompletedProcess[str]) -> str:
    if ended.returncode not in (0, 1, 2) or "Traceback" in ended.stdout + ended.stderr:
        return f"BROKEN: {ended.stderr[-200:]}"
    if memory > MEMORY:
        return "BROKEN: too much memory"
    return "BROKEN: too slow" if seconds > SECONDS else ""


def _one(path: str) -> int:
    """Check one file in this process, and say last what that took."""
    from bpvet.command.main import main as call
    from reference_checks.fuzzing.watch import peak

    status = call(["check", path, "--as-of", "2025-12-31", "--json"])
    used = resource.getrusage(resource.RUSAGE_SELF)
    print(peak() / 2**20, used.ru_utime + used.ru_stime, file=sys.stderr)
    return status


def _wide() -> bytes:
    header = b",".join([HEADER.strip(), *(b"c%d" % n for n in range(10_000))])
    row = ROW.strip() + b"," * 10_000
    return b"\n".join([header, *[row] * (SIZE // len(row))]) + b"\n"


def _good() -> bytes:
    """Return a workbook as spreadsheet programs write them, its texts shared."""
    texts = {name: i for i, name in enumerate(HEADER.decode().strip().split(","))}
    texts |= {"doppler": 4, "oscillometric": 5}
    texts |= {f"A{animal}": 6 + animal for animal in range(10_000)}
    chance = random.Random(0)
    cells = "".join(f'<c r="{c}1" t="s"><v>{i}</v></c>' for i, c in enumerate("ABCD"))
    rows = [f'<row r="1" spans="1:4">{cells}</row>']
    for i in range(2, 480_000):
        animal, method = 6 + i // 48, 4 + i % 2
        day, pressure = 44_000 + i % 48 * 30 + chance.randrange(30), chance.randrange(90, 220)
        rows.append(
            f'<row r="{i}" spans="1:4"><c r="A{i}" t="s"><v>{animal}</v></c>'
            f'<c r="B{i}" s="1"><v>{day}</v></c><c r="C{i}" t="s"><v>{method}</v></c>'
            f'<c r="D{i}"><v>{pressure}</v></c></row>'
        )
    return _book({"readings": _sheet("".join(rows).encode())}, list(texts))


_FAR_APART = (
    b'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
)


#: The first rows of readings, and a cell so far to the right that all between are blank.
_WIDE_ROWS = b"".join(
    b'<row r="%d"><c r="A%d"><v>1</v></c><c r="XFD%d"><v>1</v></c></row>' % (n, n, n)
    for n in range(1, 1200)
)
#: Repeated a million times, half a megabyte.
_ONES = b"<row>" + b"<c><v>1</v></c>" * 5 + b"</row>"
_ERRORS = b"<row>" + b'<c t="e"><v>#N/A</v></c>' * 4 + b"</row>"


def _shared() -> bytes:
    row = b'<row><c t="s"><v>0</v></c><c t="s"><v>0</v></c></row>'
    return _book({"readings": _sheet(row * 500_000)}, ["x" * 32_000])


def _zip(members: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as book:
        for name, content in members.items():
            book.writestr(name, content)
    return held.getvalue()


def _book(sheets: dict[str, bytes], texts: Sequence[str] = ()) -> bytes:
    """Return a workbook written by hand, so that its sheets can be anything; style 1 is a date."""
    main = "http://schemas.openxmlformats.org"
    kinds = f"{main}/officeDocument/2006/relationships"
    listed = "".join(
        f'<sheet name="{name}" sheetId="{n}" r:id="rId{n}"/>' for n, name in enumerate(sheets, 1)
    )
    related = "".join(
        f'<Relationship Id="rId{n}" Type="{kinds}/worksheet" Target="worksheets/s{n}.xml"/>'
        for n in range(1, len(sheets) + 1)
    )
    package = f"{main}/package/2006"
    types = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    overrides = "".join(
        f'<Override PartName="/xl/worksheets/s{n}.xml" ContentType="{types}.worksheet+xml"/>'
        for n in range(1, len(sheets) + 1)
    )
    members = {
        "[Content_Types].xml": f'<Types xmlns="{package}/content-types">'
        f'<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
        f'relationships+xml"/><Override PartName="/xl/workbook.xml" '
        f'ContentType="{types}.sheet.main+xml"/>{overrides}</Types>',
        "_rels/.rels": f'<Relationships xmlns="{package}/relationships"><Relationship Id="rId1" '
        f'Type="{kinds}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{main}/spreadsheetml/2006/main" '
        f'xmlns:r="{kinds}"><sheets>{listed}</sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{package}/relationships">'
        f"{related}</Relationships>",
        "xl/styles.xml": f'<styleSheet xmlns="{main}/spreadsheetml/2006/main"><cellXfs>'
        f'<xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{main}/spreadsheetml/2006/main">'
        f"{''.join(f'<si><t>{text}</t></si>' for text in texts)}</sst>",
    }
    whole = {name: text.encode() for name, text in members.items()}
    whole |= {f"xl/worksheets/s{n}.xml": held for n, held in enumerate(sheets.values(), 1)}
    return _zip(whole)


def _sheet(rows: bytes) -> bytes:
    space = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    return b'<worksheet xmlns="' + space + b'"><sheetData>' + rows + b"</sheetData></worksheet>"


def _with_sheet(content: bytes) -> bytes:
    return _book({"readings": content})


def _bomb() -> bytes:
    cell = b'<row r="1"><c r="A1" t="inlineStr"><is><t>' + b"x" * 2_000_000_000
    return _with_sheet(_sheet(cell + b"</t></is></c></row>"))


def _many_sheets() -> bytes:
    rows = b'<row><c t="inlineStr"><is><t>x</t></is></c></row>' * 20_000
    return _book({f"readings {n}": _sheet(rows) for n in range(200)})


def _entities() -> bytes:
    levels = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    kind = f'<!DOCTYPE w [<!ENTITY l0 "lol">{levels}]>'
    row = '<row r="1"><c r="A1" t="inlineStr"><is><t>&l9;</t></is></c></row>'
    return b'<?xml version="1.0"?>' + kind.encode() + _sheet(row.encode())


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    sys.exit(_one(sys.argv[2]) if sys.argv[1:2] == ["--one"] else main(sys.argv[1:]))
