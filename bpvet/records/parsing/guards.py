"""Apostrophes that our own tables put before what a spreadsheet would take for a formula.

They are taken off again, one a place, and it is said once a column; see `bpvet.spreadsheets`.
"""

from __future__ import annotations

from functools import partial

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bpvet.frozen import replace
from bpvet.records.cells import RawSheet
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.parsing.columns import changed, holds_letter, which
from bpvet.spreadsheets import GUARDS, unguarded

_ANY = "|".join(f"(?:{pattern})" for pattern, _ in GUARDS)


def without_guards(sheet: RawSheet, findings: list[Finding]) -> RawSheet:
    """Return a sheet whose texts stand as they were before they were made safe to open.

    Parameters
    ----------
    sheet : RawSheet
        Of a text file or a workbook.
    findings : list of Finding
        What is to be said of a column is added here.
    """
    columns = []
    for heading, cells in zip(sheet.header, sheet.columns, strict=True):
        if holds_letter(cells, "'"):
            found = which(cells, partial(pc.match_substring_regex, pattern=_ANY))
            if found.any():
                findings.append(_finding(sheet, heading, cells, np.flatnonzero(found)))
                cells = changed(cells, _taken_off)
        columns.append(cells)
    return replace(sheet, header=tuple(map(unguarded, sheet.header)), columns=tuple(columns))


def _taken_off(texts: pa.Array) -> pa.Array:
    for pattern, kept in GUARDS:
        texts = pc.replace_substring_regex(texts, pattern, kept)
    return texts


def _finding(sheet: RawSheet, heading: str, cells: pa.Array, rows: np.ndarray) -> Finding:
    text = cells[int(rows[0])].as_py()
    return finding_of(
        Code.APOSTROPHE,
        sheet.file,
        int(sheet.lines[rows[0]]),
        unguarded(heading).strip(),
        text,
        such_as=unguarded(text),
        cells=len(rows),
    )
