"""Workbooks (.xlsx) to cells: which sheets are tables, and their values as a CSV would hold them.

A formula stands for its stored value, and is never worked out; nothing that a workbook names is
opened.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping, Sequence
from itertools import islice

from bpvet.records.cells import RawSheet, cell_text, some_of
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable
from bpvet.records.formats.workbook.archive import looked_over
from bpvet.records.formats.workbook.columns import sheet_columns
from bpvet.records.formats.workbook.oddities import Oddities
from bpvet.records.formats.workbook.tags import Unusual
from bpvet.records.formats.workbook.values import (
    MOST_CELLS,
    Row,
    Sheet,
    TooWide,
    unusual_sheets,
    usual_sheets,
)
from bpvet.records.headings.header_row import LOOKED_AT, Heading, heading_of, report_heading
from bpvet.records.tables import TABLES, column_named

_READINGS = re.compile(r"readings.*", re.IGNORECASE | re.DOTALL)


def workbook_sheets(
    file: str, table: str, data: bytes, findings: list[Finding], mapping: Mapping[str, str]
) -> list[RawSheet]:
    """Return a workbook's tables: the sheets with their names, or else the sheet of readings.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it holds where no sheet bears a table's name.
    data : bytes
        The file's content; it is not altered.
    findings : list of Finding
        What is to be said of the workbook as a whole is added here.
    mapping : mapping of str to str
        Other people's headings to our names.
    """
    parts = looked_over(file, data, findings)
    if parts is None:
        return []
    before = len(findings)
    try:
        try:
            return _opened(file, table, usual_sheets(data, parts), findings, mapping)
        except Unusual:
            del findings[before:]
        with warnings.catch_warnings():
            # They tell of features that cells do not need, such as drop-down lists.
            warnings.simplefilter("ignore")
            return _opened(file, table, unusual_sheets(data, parts), findings, mapping)
    except TooWide:
        findings.append(finding_of(Code.SHEET_TOO_WIDE, file, stops=True, most=MOST_CELLS))
    except (MemoryError, RecursionError):
        raise
    except Exception:
        # The library raises whatever it stumbles over; none of it is told to a reader.
        findings.append(finding_of(Code.WORKBOOK_DAMAGED, file, stops=True))
    return []


def _opened(
    file: str,
    table: str,
    sheets: Sequence[Sheet],
    findings: list[Finding],
    mapping: Mapping[str, str],
) -> list[RawSheet]:
    tops = {sheet.title: list(islice(sheet.rows(), LOOKED_AT)) for sheet in sheets}
    chosen = _chosen(table, tops, mapping)
    if unread := [name for name in tops if tops[name] and name not in chosen]:
        first, more = _first(unread, 10)
        findings.append(finding_of(Code.SHEETS_NOT_READ, file, names=first, more=more))
    read = []
    for sheet in sheets:
        if sheet.title not in chosen:
            continue
        name = f"{file}, sheet {printable(sheet.title)}"
        if sheet.hidden:
            findings.append(finding_of(Code.HIDDEN_SHEET, name))
        top = tops[sheet.title]
        if not top:
            stops = chosen[sheet.title] == "readings"
            findings.append(finding_of(Code.EMPTY_SHEET, name, stops=stops))
            continue
        read.append(_sheet(name, chosen[sheet.title], sheet, top, findings, mapping))
    if not chosen:
        findings.append(finding_of(Code.EMPTY_WORKBOOK, file, stops=True))
    return read


def _chosen(
    table: str, tops: Mapping[str, list[Row]], mapping: Mapping[str, str]
) -> dict[str, str]:
    """Return the table of each sheet that is read."""
    named = {}
    for name in tops:
        plain = name.strip().casefold()
        if plain in TABLES or _READINGS.fullmatch(plain):
            named[name] = plain if plain in TABLES else "readings"
    if named:
        return named
    filled = {name: rows for name, rows in tops.items() if rows}
    known = {
        name: table
        for name, rows in filled.items()
        if _holds(table, _heading(rows, table, mapping).cells, mapping)
    }
    return known or dict.fromkeys(list(filled)[:1], table)


def _holds(table: str, heads: Sequence[str], mapping: Mapping[str, str]) -> bool:
    """Return whether a header has two of the columns that the table cannot do without."""
    names = {column_named(table, mapping.get(head.strip(), head)) for head in heads}
    required = [column.name for column in TABLES[table] if column.required]
    return sum(name in names for name in required) >= min(2, len(required))


def _heading(rows: Sequence[Row], table: str, mapping: Mapping[str, str]) -> Heading:
    width = max(len(cells) for _, cells in rows)
    # A row may reach far over blank cells.
    texts = [["" if cell == "" else cell_text(cell) for cell in cells] for _, cells in rows]
    return heading_of([cells + [""] * (width - len(cells)) for cells in texts], table, mapping)


def _sheet(
    file: str,
    table: str,
    sheet: Sheet,
    top: list[Row],
    findings: list[Finding],
    mapping: Mapping[str, str],
) -> RawSheet:
    """Return one sheet's cells as text."""
    heading = _heading(top, table, mapping)
    above = [
        (line, ", ".join(filter(None, map(cell_text, cells))))
        for line, cells in top[: heading.first]
    ]
    line = top[heading.first][0]
    report_heading(file, above, heading, line, findings)
    header = [*heading.cells]
    while header and not header[-1].strip():
        header.pop()
    last = top[heading.first + heading.rows - 1][0]
    columns, lines = sheet_columns(sheet.blocks(last), header, sheet.odd)
    header += [""] * (len(columns) - len(header))
    _report_odd(file, header, last, sheet.odd, findings)
    return RawSheet(
        file,
        table,
        tuple(header),
        columns,
        lines,
        separator="",
        encoding="",
        header_line=line,
    )


def _report_odd(
    file: str, header: Sequence[str], last: int, odd: Oddities, findings: list[Finding]
) -> None:
    """Say what a reading of the values alone would not show.

    Parameters
    ----------
    file : str
        Name of the file and the sheet.
    header : sequence of str
        Its headings.
    last : int
        The last line of the header.
    odd : Oddities
        What is odd in the sheet.
    findings : list of Finding
        The findings are added here.
    """
    hidden = [row for row in odd.hidden_rows if row > last]
    if hidden:
        findings.append(finding_of(Code.HIDDEN_ROWS, file, hidden[0], lines=some_of(hidden)))
    below = [cells for cells in odd.merged if _spans_rows_below(cells, last)]
    if below:
        findings.append(_about(Code.MERGED_CELLS, file, below))
    errors = [cell for cell in odd.errors if _row(cell) > last]
    if errors:
        findings.append(_about(Code.ERROR_CELLS, file, errors))
    columns: dict[int, list[str]] = {}
    for (row, column), cell in odd.without_value.items():
        if row > last:
            columns.setdefault(column, []).append(cell)
    for column, cells in columns.items():
        head = header[column - 1].strip() if column <= len(header) else ""
        findings.append(_about(Code.FORMULAS_UNVALUED, file, cells, head))


def _about(code: Code, file: str, cells: Sequence[str], column: str = "") -> Finding:
    """Return a finding about some cells, at the row of the first of them."""
    first, more = _first(cells, 5)
    return finding_of(code, file, _row(cells[0]), column, cells=first, more=more)


def _first(names: Sequence[str], most: int) -> tuple[tuple[str, ...], int]:
    """Return the first of some names, and how many more there are."""
    return tuple(names[:most]), max(0, len(names) - most)


def _row(cells: str) -> int:
    found = re.match(r"[A-Z]+([0-9]{1,7})", cells)
    return int(found.group(1)) if found else 0


def _spans_rows_below(cells: str, last: int) -> bool:
    start, _, end = cells.partition(":")
    return bool(end) and _row(end) > _row(start) and _row(start) > last
