"""A home diary among the readings: lines that are not filled in, and tablets that were missed.

A file of readings with a column ``tablet`` is a diary. What stands there makes rows of the missed
doses where it says missed or late; any other word than given is kept and asked about, and changes
nothing: a dose in a diary is no treatment.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bpvet.frozen import replace
from bpvet.records.cells import RawSheet, some_of
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.parsing.arrow import text_column
from bpvet.records.parsing.columns import uncoded

#: Readings of one line of a diary.
READINGS = 5
#: The diary's own columns, beside those of readings.
TABLET, WHEN = "tablet", "tablet_time"
#: Headings of the diary that is handed out.
HEADINGS = (
    *("animal", "taken_at", "setting", "method", "cuff_width_cm"),
    *(f"systolic_{number}" for number in range(1, READINGS + 1)),
    *(TABLET, WHEN, "demeanour", "note"),
)
#: What stands in every line before it is filled in.
_PRINTED = ("animal", "setting", "method")
_GIVEN = ("", "given", "yes", "-", "–")
#: Words of a diary for a tablet that was not given, and for one that was given late.
_NOT_GIVEN = {"missed": "missed", "not given": "missed", "no": "missed", "late": "late"}
#: What looks like a dose: asked about wherever the diary has it.
_DOSE = re.compile(
    r"\b\d+([.,/]\d+)?\s*(mg|ml|mcg|µg|ug|drops?|tabs?|tablets?|pills?|doses?)\b"
    r"|\b(half|quarter|double|two|three|extra)\s+(an?\s+|of\s+)?(tablet|pill|dose|drop)s?\b",
    re.IGNORECASE,
)


def with_diaries(sheets: Sequence[RawSheet], findings: list[Finding]) -> list[RawSheet]:
    """Return the sheets, each diary without its empty lines and with its missed doses beside it.

    Parameters
    ----------
    sheets : sequence of RawSheet
    findings : list of Finding
        What is to be said of the diaries is added here.
    """
    made: list[RawSheet] = []
    for sheet in sheets:
        made += _of_diary(sheet, findings) if is_diary(sheet) else [sheet]
    return made


def is_diary(sheet: RawSheet) -> bool:
    """Return whether a file of readings is a diary."""
    return sheet.table == "readings" and TABLET in map(_bare, sheet.header)


def _of_diary(sheet: RawSheet, findings: list[Finding]) -> list[RawSheet]:
    n = len(sheet.lines)
    names = [_bare(head) for head in sheet.header]
    cells = {
        name: [str(text or "").strip() for text in uncoded(column).to_pylist()]
        for name, column in zip(names, sheet.columns, strict=True)
    }
    broken = np.zeros(n, dtype=bool)
    broken[list(sheet.broken)] = True
    written = np.zeros(n, dtype=bool)
    pressures = np.zeros(n, dtype=bool)
    for name, texts in cells.items():
        has = np.array([bool(text) for text in texts], dtype=bool)
        written |= has if name not in _PRINTED else False
        pressures |= has if name.startswith("systolic") else False
    empty = ~written & ~broken
    if empty.any():
        line = int(sheet.lines[np.argmax(empty)])
        findings.append(
            finding_of(Code.DIARY_LINES_EMPTY, sheet.file, line, lines=int(empty.sum()))
        )
    missed = _missed(sheet, cells, written & ~broken, findings)
    _ask(sheet, cells, written & ~broken, findings)
    # A line about the tablet alone is no reading that failed.
    noted = np.array([bool(text) for text in cells[TABLET]], dtype=bool)
    kept = np.flatnonzero(~empty & (pressures | broken | ~noted))
    readings = sheet.rows(kept)
    return [readings] if missed is None else [readings, missed]


def _bare(heading: str) -> str:
    return heading.strip().casefold()


def _missed(
    sheet: RawSheet,
    cells: dict[str, list[str]],
    written: NDArray[np.bool_],
    findings: list[Finding],
) -> RawSheet | None:
    """Return the doses that a diary says were missed or late, as a file of that table."""
    animals, days = cells.get("animal"), cells.get("taken_at")
    if animals is None or days is None:
        return None
    found: dict[tuple[str, str, str], int] = {}
    for row in np.flatnonzero(written).tolist():
        what = _NOT_GIVEN.get(cells[TABLET][row].casefold())
        day = re.split(r"[T\s]", days[row], maxsplit=1)[0]
        if what:
            found.setdefault((animals[row], day, what), row)
    if not found:
        return None
    lines = sheet.lines[list(found.values())]
    first = int(lines[0])
    findings.append(
        finding_of(Code.DIARY_MISSED, sheet.file, first, TABLET, lines=some_of(lines.tolist()))
    )
    whose, days_, what_ = zip(*found, strict=True)
    note = ["home diary"] * len(found)
    return replace(
        sheet,
        table="missed",
        header=("animal", "from", "to", "what", "note"),
        columns=tuple(text_column(list(texts)) for texts in (whose, days_, days_, what_, note)),
        lines=lines,
        broken={},
        distinguishing=None,
    )


def _ask(
    sheet: RawSheet,
    cells: dict[str, list[str]],
    written: NDArray[np.bool_],
    findings: list[Finding],
) -> None:
    """Ask about words that are neither given nor missed, and about whatever looks like a dose."""
    for row in np.flatnonzero(written).tolist():
        text = cells[TABLET][row]
        if text.casefold() not in (*_GIVEN, *_NOT_GIVEN):
            findings.append(_asked(sheet, row, TABLET, text, Code.DIARY_UNCLEAR))
        for name in (WHEN, "note", "demeanour"):
            text = cells[name][row] if name in cells else ""
            if _DOSE.search(text):
                findings.append(_asked(sheet, row, name, text, Code.DIARY_DOSE))


def _asked(sheet: RawSheet, row: int, name: str, text: str, code: Code) -> Finding:
    return finding_of(code, sheet.file, int(sheet.lines[row]), name, text, text=text)
