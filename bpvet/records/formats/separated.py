"""Text with separators (CSV) to cells: which separator, which line is the header, which rows."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pyarrow.compute as pc

from bpvet.records.cells import RawSheet
from bpvet.records.findings import Finding, shown, whole
from bpvet.records.formats.encodings import as_utf8
from bpvet.records.formats.rows import LINE_BREAK, MostlyBrokenError, Rows, rows_of
from bpvet.records.headings.header_row import LOOKED_AT, Heading, heading_of, say_heading
from bpvet.records.parsing.columns import which

SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
#: A first line by which spreadsheets say what separates the columns.
_STATED = re.compile(rb'[\r\n]*"?sep=(.)"?[ ]*(?=\r|\n)', re.IGNORECASE)
#: Bytes at the top of a file among which the header is looked for.
_TOP = 200_000
#: As many as a sheet of a workbook holds; a file with more is no table of records.
MOST_COLUMNS = 16_384


def read_sheet(
    file: str,
    table: str,
    data: bytes,
    findings: list[Finding],
    mapping: Mapping[str, str],
    encoding: str | None = None,
) -> RawSheet | None:
    """Return one file's bytes as cells, or None with a stopping finding.

    Parameters
    ----------
    file, table : str
        Name of the file; the table it belongs to.
    data : bytes
        The file's content; it is not altered.
    findings : list of Finding
        Findings about the file as a whole are added here.
    mapping : mapping of str to str
        Other people's headings to our names; they help to tell the header and the separator.
    encoding : str, optional
        Encoding of a file that is not UTF-8 and bears no mark, such as ``cp1252``.
    """
    text, code = as_utf8(file, data, encoding, findings)
    if text is None:
        return None
    if not re.search(rb"\S", text):
        findings.append(whole(file, "The file is empty.", "Put a header and rows in it.", "empty"))
        return None
    separator, heading, top = _layout(text, table, mapping)
    line = top[heading.first][0]
    start = _start_of(text, line)
    if _header_width(text, start, separator) > MOST_COLUMNS:
        reason = f"The header has more than {MOST_COLUMNS:,} cells.".replace(",", " ")
        findings.append(
            whole(file, reason, "Keep the columns that hold records.", "too many columns")
        )
        return None
    try:
        rows = rows_of(text[start:], separator)
    except MostlyBrokenError as error:
        reason = (
            f"{error.broken:,} of the first {error.rows:,} rows do not fit the header (the last of "
            f"these {error.why}), so it is not the table that its header says; no row is used."
        )
        mend = "Look whether the header and the separator are those of the rows, and save it again."
        findings.append(whole(file, reason, mend, "broken lines", line=line))
        return None
    sheet = RawSheet(
        file,
        table,
        rows.header,
        rows.columns,
        rows.lines + line - 1,
        rows.broken,
        SEPARATORS.get(separator, shown(separator)),
        code,
        rows.header_line + line - 1,
    )
    above = [(at, separator.join(cells)) for at, cells in top[: heading.first] if any(cells)]
    if heading.rows == 2:
        sheet = _under_two_lines(sheet, heading)
    say_heading(file, above, heading, line, findings)
    _say_blank_rows(file, rows, line, findings)
    if b'"' in text:
        _say_swallowed_rows(sheet, separator, findings)
    return sheet


def _layout(
    text: bytes, table: str, mapping: Mapping[str, str]
) -> tuple[str, Heading, list[tuple[int, list[str]]]]:
    """Return the separator, the header, and the rows at the top with their lines.

    The separator is the one that makes most headings known; of equals, the one that gives most
    rows the header's number of cells. A comma where none does.
    """
    start = text[:_TOP]
    top = start if len(text) <= _TOP else start[: max(start.rfind(b"\n"), start.rfind(b"\r")) + 1]
    words = (top or start).decode("utf-8", "replace")
    stated = _STATED.match(text)
    if stated:
        marks = [stated.group(1).decode("ascii", "replace")]
    else:
        marks = [mark for mark in SEPARATORS if mark in words] or [","]
    best: tuple[tuple[float, ...], str, Heading, list[tuple[int, list[str]]]] | None = None
    for mark in marks:
        rows = _top_rows(words, mark)
        heading = heading_of([cells for _, cells in rows], table, mapping)
        width = len(heading.cells)
        alike = sum(len(cells) == width for _, cells in rows) / len(rows) if width > 1 else 0.0
        rank = (heading.score, alike, width)
        if best is None or rank > best[0]:
            best = rank, mark, heading, rows
    assert best is not None
    return best[1:]


def _top_rows(text: str, separator: str) -> list[tuple[int, list[str]]]:
    """Return the line and the cells of each row at the top; empty lines are left out."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    rows: list[tuple[int, list[str]]] = []
    line = 1
    try:
        for cells in reader:
            if any(cells) or len(cells) > 1:
                rows.append((line, cells))
            line = reader.line_num + 1
            if len(rows) > LOOKED_AT:
                break
    except csv.Error:
        # A cell too long for the parser; what stands above it is enough.
        pass
    return rows or [(1, [""])]


def _start_of(text: bytes, line: int) -> int:
    """Return the place in the text at which a line starts."""
    place = 0
    breaks = re.compile(LINE_BREAK.encode())
    for _ in range(line - 1):
        found = breaks.search(text, place)
        if found is None:
            return place
        place = found.end()
    return place


def _header_width(text: bytes, start: int, separator: str) -> int:
    """Return the number of cells of the header, marks within quotes counted too."""
    end = re.compile(rb"[\r\n]|$").search(text, start)
    return text.count(separator.encode(), start, end.start() if end else len(text)) + 1


def _under_two_lines(sheet: RawSheet, heading: Heading) -> RawSheet:
    """Return a sheet whose header takes its first row too."""
    return replace(
        sheet,
        header=heading.cells,
        columns=tuple(column.slice(1) for column in sheet.columns),
        lines=sheet.lines[1:],
        broken={row - 1: why for row, why in sheet.broken.items()},
    )


def _say_blank_rows(file: str, rows: Rows, line: int, findings: list[Finding]) -> None:
    if rows.blank:
        reason = "One row holds only separators and was skipped."
        if len(rows.blank) > 1:
            reason = f"{len(rows.blank)} rows hold only separators and were skipped."
        at = rows.blank[0] + line - 1
        findings.append(Finding(file, at, "", "", reason, "Nothing to do.", kind="blank rows"))


def _say_swallowed_rows(sheet: RawSheet, separator: str, findings: list[Finding]) -> None:
    """Say which cells hold a line break and then what looks like a whole row of the file."""
    if len(sheet.header) < 2:
        return
    mark = re.escape(separator)
    row = rf"[\r\n][^\r\n]*(?:{mark}[^\r\n]*){{{min(len(sheet.header), 1000) - 1}}}"
    for heading, cells in zip(sheet.header, sheet.columns, strict=True):
        found = which(cells, lambda texts: pc.match_substring_regex(texts, row))
        for index in np.flatnonzero(found).tolist():
            text = cells[index].as_py()
            findings.append(
                Finding(
                    sheet.file,
                    int(sheet.lines[index]),
                    heading.strip(),
                    text[:80],
                    f"{shown(text)} spans lines that look like rows of their own. It is one cell.",
                    "Check whether a quotation mark was not closed on that line.",
                    kind="rows in a cell?",
                )
            )
