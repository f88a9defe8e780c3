"""Text with separators (CSV) to cells: which separator, which line is the header, which rows."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from bpvet.frozen import dataclass, replace
from bpvet.records.cells import RawSheet
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, shown
from bpvet.records.formats.blocks import Blocks, NotPlainError, QuotedError
from bpvet.records.formats.encodings import NAMES, as_utf8
from bpvet.records.formats.forms import form_of
from bpvet.records.formats.rows import (
    MostlyBrokenError,
    Rows,
    rows_of,
    rows_of_blocks,
)
from bpvet.records.formats.whole_numbers import NotWholeError
from bpvet.records.headings.header_row import LOOKED_AT, Heading, heading_of, report_heading
from bpvet.records.parsing.columns import which
from bpvet.records.parsing.quotation_marks import LINE_BREAK

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
        findings.append(finding_of(Code.EMPTY_FILE, file, stops=True))
        return None
    laid = _layout(text, table, mapping)
    if laid.too_wide:
        findings.append(finding_of(Code.TOO_MANY_COLUMNS, file, stops=True, most=MOST_COLUMNS))
        return None
    try:
        rows = rows_of(text[laid.start :], laid.separator)
    except MostlyBrokenError as error:
        findings.append(
            finding_of(
                Code.MOSTLY_BROKEN,
                file,
                laid.line,
                stops=True,
                broken=error.broken,
                rows=error.rows,
                why=error.why,
            )
        )
        return None
    sheet = _sheet(file, table, laid, rows, code, findings)
    if b'"' in text:
        _say_swallowed_rows(sheet, laid.separator, findings)
    return sheet


def read_large(
    file: str, table: str, path: Path, findings: list[Finding], mapping: Mapping[str, str]
) -> tuple[RawSheet, int, bytes] | None:
    """Return a large file's cells, its size and its sha256, its text never being held whole.

    Parameters
    ----------
    file, table, findings, mapping
        As in `read_sheet`.
    path : Path
        Where it lies.

    Returns
    -------
    RawSheet, int, bytes
        Or None, with nothing said, where the file is not in the common shape: what is to be said
        of it is found by `read_sheet`.
    """
    quoted, whole = False, True
    while True:
        told: list[Finding] = []
        try:
            with path.open("rb", buffering=0) as opened:
                blocks = Blocks(opened, quoted)
                if form_of(blocks.top) != "text" or not re.search(rb"\S", blocks.top):
                    return None
                laid = _layout(blocks.top, table, mapping)
                if laid.too_wide:
                    return None
                rows = rows_of_blocks(blocks, laid.start, laid.separator, quoted, whole)
                size_and_digest = blocks.end()
        except QuotedError:
            quoted, whole = True, False
            continue
        except NotWholeError:
            whole = False
            continue
        except (NotPlainError, MostlyBrokenError, pa.ArrowInvalid, OSError):
            return None
        sheet = _sheet(file, table, laid, rows, NAMES["utf-8"], told)
        if quoted:
            _say_swallowed_rows(sheet, laid.separator, told)
        findings += told
        return sheet, *size_and_digest


def _sheet(
    file: str, table: str, laid: _Layout, rows: Rows, code: str, findings: list[Finding]
) -> RawSheet:
    """Return rows as a sheet, after saying what stands above the header and what is blank."""
    line, heading, separator = laid.line, laid.heading, laid.separator
    sheet = RawSheet(
        file,
        table,
        rows.header,
        rows.columns,
        rows.lines + (line - 1) if line > 1 else rows.lines,
        rows.broken,
        SEPARATORS.get(separator, shown(separator)),
        code,
        rows.header_line + line - 1,
    )
    above = [(at, separator.join(cells)) for at, cells in laid.top[: heading.first] if any(cells)]
    if heading.rows == 2:
        # The header takes the first row too.
        sheet = replace(
            sheet,
            header=heading.cells,
            columns=tuple(column.slice(1) for column in sheet.columns),
            lines=sheet.lines[1:],
            broken={row - 1: why for row, why in sheet.broken.items()},
        )
    report_heading(file, above, heading, line, findings)
    if rows.blank:
        first = rows.blank[0] + line - 1
        findings.append(finding_of(Code.SEPARATORS_ONLY, file, first, rows=len(rows.blank)))
    return sheet


@dataclass(frozen=True)
class _Layout:
    """How a text is laid out.

    Parameters
    ----------
    separator : str
        One character.
    heading : Heading
        The header.
    top : list of (int, list of str)
        Line and cells of the rows at the top.
    line, start : int
        Where the header stands: its line, and its first byte.
    too_wide : bool
        Whether it has more cells than any table of records.
    """

    separator: str
    heading: Heading
    top: list[tuple[int, list[str]]]
    line: int
    start: int
    too_wide: bool


def _layout(text: bytes, table: str, mapping: Mapping[str, str]) -> _Layout:
    """Return the separator and the header of a text, of which the top is enough.

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
    _, separator, heading, above = best
    line = above[heading.first][0]
    byte = _start_of(text, line)
    # The header's cells, marks within quotes counted too.
    end = re.compile(rb"[\r\n]|$").search(text, byte)
    commas = text.count(separator.encode(), byte, end.start() if end else len(text))
    too_wide = commas + 1 > MOST_COLUMNS
    return _Layout(separator, heading, above, line, byte, too_wide)


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
    offset = 0
    breaks = re.compile(LINE_BREAK.encode())
    for _ in range(line - 1):
        found = breaks.search(text, offset)
        if found is None:
            return offset
        offset = found.end()
    return offset


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
            line = int(sheet.lines[index])
            findings.append(
                finding_of(
                    Code.ROWS_IN_A_CELL, sheet.file, line, heading.strip(), text, such_as=text
                )
            )
