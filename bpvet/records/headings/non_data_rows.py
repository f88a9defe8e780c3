"""Rows that belong to no table: comments, totals, and the header again.

They are known by how they are built, passed over, and reported; no row goes missing in silence. A
row that has what its table needs is never taken for one of them, whatever its animal is called.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.records.cells import RawSheet, some_of
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.parsing.arrow import arrow_of, numpy_of, text_column
from bpvet.records.parsing.columns import is_blank, is_text, trimmed, which
from bpvet.records.tables import TABLES, column_named

Mask = NDArray[np.bool_]

#: How the label of a total begins, and what may follow the word.
_LABEL = (
    r"(grand |sub[- ]?)?(totals?|sum|mean|average|avg|median|count|maximum|minimum|std|sd"
    r"|standard deviation|summe|gesamt|mittelwert|durchschnitt|somme|moyenne|totale|media|promedio)"
)
TOTAL = (
    rf"(?i)^{_LABEL}"
    r"([.:=(\s]*$|[.:=(\s]+([0-9(=]|of\b|for\b|all\b|n\b|value|pressure|reading|row|count|dev"
    r"|systolic|diastolic|sbp|bp\b).*$)"
)


def without_non_data_rows(
    sheet: RawSheet, mapping: Mapping[str, str], findings: list[Finding]
) -> RawSheet:
    """Return a sheet without the rows that belong to no table, after reporting them.

    Parameters
    ----------
    sheet : RawSheet
        Cells as they stand.
    mapping : mapping of str to str
        Other people's headings to our names.
    findings : list of Finding
        One finding for each kind of such rows is added here.
    """
    if len(sheet.lines) == 0 or not sheet.columns:
        return sheet
    broken = np.zeros(len(sheet.lines), dtype=bool)
    broken[list(sheet.broken)] = True
    unread = _Unread.of(sheet)
    comment = _comments(sheet, unread)
    total = _totals(sheet, mapping, broken, unread) & ~comment
    again = _headers(sheet, broken) & ~comment & ~total
    nothing = _empty(sheet, broken)
    if nothing.any():
        first, rows = int(sheet.lines[np.argmax(nothing)]), int(nothing.sum())
        findings.append(finding_of(Code.EMPTY_ROWS, sheet.file, first, rows=rows))
    for mask, code in (
        (comment, Code.COMMENT_ROWS),
        (total, Code.TOTAL_ROWS),
        (again, Code.HEADER_AGAIN),
    ):
        if mask.any():
            findings.append(_found(sheet, np.flatnonzero(mask), code))
    gone = comment | total | again | nothing
    return sheet.rows(np.flatnonzero(~gone)) if gone.any() else sheet


def _found(sheet: RawSheet, rows: NDArray[np.int64], code: Code) -> Finding:
    lines = sheet.lines[rows].tolist()
    first = int(rows[0])
    if first in sheet.broken:
        text = sheet.broken[first][0]
    else:
        cells = [column[first].as_py() for column in sheet.columns]
        text = ", ".join(cell.strip() for cell in cells if cell.strip())
    return finding_of(code, sheet.file, lines[0], "", text, lines=some_of(lines), text=text)


@dataclass(frozen=True, eq=False)
class _Unread:
    """The broken rows of a sheet (k,), and their texts."""

    rows: NDArray[np.int64]
    texts: pa.Array

    @classmethod
    def of(cls, sheet: RawSheet) -> _Unread:
        texts = [text for text, _ in sheet.broken.values()]
        try:
            whole = text_column(texts)
        except UnicodeEncodeError:
            # Lone surrogates cannot be looked at together with others.
            whole = text_column([text.encode("utf-8", "replace").decode() for text in texts])
        return cls(np.fromiter(sheet.broken, np.int64, len(texts)), whole)

    def like(self, pattern: str) -> Iterator[tuple[int, str]]:
        """Yield number and text of the rows that match a pattern, all looked at together."""
        matching = numpy_of(pc.match_substring_regex(self.texts, pattern))
        for at in np.flatnonzero(matching).tolist():
            yield int(self.rows[at]), self.texts[at].as_py()


def _comments(sheet: RawSheet, unread: _Unread) -> Mask:
    """Return the rows (n,) that begin with "#" and hold nothing else."""
    starts = which(sheet.columns[0], lambda cells: pc.match_substring_regex(cells, r"^\s*#"))
    rows = np.flatnonzero(starts)
    alone = np.ones(len(rows), dtype=bool)
    for column in sheet.columns[1:]:
        if not alone.any():
            break
        alone &= is_blank(column.take(arrow_of(rows)))
    found = np.zeros(len(sheet.lines), dtype=bool)
    found[rows[alone]] = True
    for row, text in unread.like(r'^[ \t"]*#'):
        found[row] = text.lstrip(' \t"').startswith("#")
    return found


def _totals(sheet: RawSheet, mapping: Mapping[str, str], broken: Mask, unread: _Unread) -> Mask:
    """Return the rows (n,) that begin with a total's label and lack what every row needs."""
    found = np.zeros(len(sheet.lines), dtype=bool)
    lacking = np.zeros(len(sheet.lines), dtype=bool)
    for column in _needed(sheet, mapping):
        lacking |= is_blank(column)
    rows = np.flatnonzero(lacking & ~broken)
    labelled = np.zeros(len(rows), dtype=bool)
    blank_so_far = np.ones(len(rows), dtype=bool)
    for column in sheet.columns:
        if not blank_so_far.any():
            break
        cells = column.take(arrow_of(rows))
        blank = is_blank(cells)
        if blank.all():
            continue
        texts = trimmed(cells)
        labelled |= blank_so_far & which(texts, lambda some: pc.match_substring_regex(some, TOTAL))
        blank_so_far &= blank
    found[rows[labelled]] = True
    for row, text in unread.like(rf'(?i)^[ \t",;|]*{_LABEL}'):
        label = re.split(r"[,;|\t\r\n]", text.lstrip(' \t",;|'), maxsplit=1)[0].strip(' "')
        found[row] = re.match(TOTAL, label[:80]) is not None
    return found


def _needed(sheet: RawSheet, mapping: Mapping[str, str]) -> list[pa.Array]:
    """Return the columns without which a row means nothing; those nearly full if none is known."""
    required = {column.name for column in TABLES[sheet.table] if column.required}
    bare = map(str.strip, sheet.header)
    names = [column_named(sheet.table, mapping.get(heading, heading)) for heading in bare]
    known = [cells for name, cells in zip(names, sheet.columns, strict=True) if name in required]
    return known or [cells for cells in sheet.columns if is_blank(cells).mean() <= 0.1]


def _headers(sheet: RawSheet, broken: Mask) -> Mask:
    """Return the rows (n,) that repeat the header, as where files were laid end to end."""
    same = ~broken
    for heading, column in zip(sheet.header, sheet.columns, strict=True):
        if not same.any():
            break
        same &= is_text(column, heading)
    return same if any(heading.strip() for heading in sheet.header) else np.zeros_like(same)


def _empty(sheet: RawSheet, broken: Mask) -> Mask:
    """Return the rows (n,) that hold nothing; the readers of sheets of lines leave these out."""
    empty = ~broken if sheet.header_line is None else np.zeros_like(broken)
    for column in sheet.columns:
        if not empty.any():
            break
        empty &= is_blank(column)
    return empty
