"""A path to cells: its files in any of the forms that are read, each as text with true lines.

Everything is text here. A row whose cells cannot be told apart is never shifted or padded, it is
kept as an empty row with a finding.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from bpvet.errors import CallError
from bpvet.frozen import replace
from bpvet.records.cells import Loaded as Loaded
from bpvet.records.cells import RawSheet as RawSheet
from bpvet.records.entries.files import table_of_added
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable
from bpvet.records.folder import bytes_of, existing, files_of
from bpvet.records.formats.blocks import is_large
from bpvet.records.formats.database import database_sheets, is_url, sqlite_sheets
from bpvet.records.formats.forms import form_of
from bpvet.records.formats.separated import read_large, read_sheet
from bpvet.records.headings.non_data_rows import without_non_data_rows
from bpvet.records.parsing.guards import without_guards

STANDARD_INPUT = "standard input"
#: Letters of a heading; a longer one is a line of text, or something else, and is cut.
LONGEST_HEADING = 300
#: Forms that are known and not read, and what is reported of them.
_NOT_READ = {
    "old workbook": Code.OLD_WORKBOOK,
    "protected file": Code.PROTECTED_FILE,
    "old feather": Code.OLD_FEATHER,
    "PDF": Code.PDF,
    "picture": Code.PICTURE,
    "text document": Code.TEXT_DOCUMENT,
    "markup": Code.MARKUP,
    "gzip": Code.GZIP,
}


def load(
    path: str | os.PathLike[str],
    columns: Mapping[str, str] | None = None,
    encoding: Callable[[str, str], str | None] | None = None,
    query: str | None = None,
    beside: Mapping[str, bytes] | None = None,
) -> Loaded:
    """Read a record folder, a single file, a database or the standard input, as text.

    Parameters
    ----------
    path : str or path
        A folder of files named after the tables; one file of any name; "-" for the standard
        input; or the URL of a database.
    columns : mapping of str to str, optional
        Other people's headings to our names; they help to tell a file's header.
    encoding : callable, optional
        Gives the encoding of a file that is not UTF-8 and bears no mark, such as ``cp1252``, by
        its table and its name; None where none is known.
    query : str, optional
        One SELECT that gives the readings, for a database.
    beside : mapping of str to bytes, optional
        Content of files, by name, that are taken to lie in the folder too.

    Raises
    ------
    CallError
        The path does not exist, or an option is wrong.
    RecordsError
        The folder or the database may not be read.
    """
    mapping = columns or {}
    findings: list[Finding] = []
    if is_url(path):
        source, sheets, digest = database_sheets(str(path), query, findings)
        return Loaded(source, _finished(sheets, mapping, findings), tuple(findings), digest)
    digest_of = hashlib.sha256()
    found: list[RawSheet] = []
    seen: dict[bytes, str] = {}
    for table, name, content in _contents(path, findings, beside or {}):
        file = printable(name)
        reported: list[Finding] = []
        code = encoding(table, file) if encoding else None
        read = _read_one(file, table, content, reported, mapping, code, query)
        if read is None:
            findings += reported
            continue
        sheets, size, sha256 = read
        plain = name.encode("utf-8", "surrogateescape")
        digest_of.update(f"{len(plain)} {size} ".encode() + plain + sha256)
        if table == "readings" and size and sha256 in seen:
            # It is read all the same: each of its rows is set aside as a copy, and none is lost.
            findings.append(finding_of(Code.SAME_FILE_TWICE, file, same_as=printable(seen[sha256])))
        seen.setdefault(sha256, name)
        findings += reported
        found += sheets
    source = STANDARD_INPUT if path == "-" else printable(existing(path).name)
    return Loaded(
        source, _finished(found, mapping, findings), tuple(findings), digest_of.hexdigest()
    )


def _read_one(
    file: str,
    table: str,
    content: bytes | Path,
    findings: list[Finding],
    mapping: Mapping[str, str],
    encoding: str | None,
    query: str | None,
) -> tuple[list[RawSheet], int, bytes] | None:
    """Return the tables, the size and the sha256 of one file; None where it cannot be read.

    `content` is what it holds, or of a large file its place: such a one is read a block at a time,
    if it can be. The rest is as in `sheets_of`.
    """
    if isinstance(content, Path):
        large = read_large(file, table, content, findings, mapping) if query is None else None
        if large is not None:
            sheet, size, sha256 = large
            return [without_guards(sheet, findings)], size, sha256
        if query is None and _is_json(content):
            from bpvet.records.formats.json_lines import read_large_lines

            lines = read_large_lines(file, table, content, findings)
            if lines is not None:
                return lines
        data = bytes_of(content, findings)
        if data is None:
            return None
        content = data
    sheets = sheets_of(file, table, content, findings, mapping, encoding, query)
    return sheets, len(content), hashlib.sha256(content).digest()


def _is_json(path: Path) -> bool:
    try:
        with path.open("rb") as opened:
            return form_of(opened.read(10_000)) == "json"
    except OSError:
        return False


def sheets_of(
    file: str,
    table: str,
    data: bytes,
    findings: list[Finding],
    mapping: Mapping[str, str],
    encoding: str | None = None,
    query: str | None = None,
) -> list[RawSheet]:
    """Return the tables that one file's bytes hold, whatever its name claims it to be.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it holds if it does not say otherwise.
    data : bytes
        The file's content; it is not altered.
    findings : list of Finding
        What is to be said of the file as a whole is added here.
    encoding : str, optional
        Encoding of the file if it is not UTF-8 and bears no mark.
    mapping, query
        As in `load`.
    """
    # What reads a form is loaded where a file has it.
    form = form_of(data)
    if query is not None and form != "sqlite":
        raise CallError("A query is for a database: give its URL, such as sqlite:///clinic.db.")
    if form in _NOT_READ:
        findings.append(finding_of(_NOT_READ[form], file, stops=True))
        return []
    if form == "archive":
        from bpvet.records.formats.workbook.sheets import workbook_sheets

        sheets = workbook_sheets(file, table, data, findings, mapping)
        return [without_guards(read, findings) for read in sheets]
    if form == "sqlite":
        return sqlite_sheets(file, data, query, findings)
    sheet: RawSheet | None
    if form in ("parquet", "arrow", "arrow stream"):
        from bpvet.records.formats.arrow_tables import arrow_sheet

        sheet = arrow_sheet(file, table, form, data, findings)
    elif form == "json":
        from bpvet.records.formats.fhir.rows import fhir_sheets, holds_resources
        from bpvet.records.formats.json_lines import document_of, json_sheet

        document = document_of(file, data, findings, encoding)
        if document is not None and holds_resources(document):
            return fhir_sheets(file, document, findings)
        sheet = None if document is None else json_sheet(file, table, document, findings)
    else:
        sheet = read_sheet(file, table, data, findings, mapping, encoding)
        sheet = sheet and without_guards(sheet, findings)
    return [] if sheet is None else [sheet]


def _contents(
    path: str | os.PathLike[str], findings: list[Finding], beside: Mapping[str, bytes]
) -> Iterator[tuple[str, str, bytes | Path]]:
    """Yield (table, name, content) of each file that a path stands for; of large ones the place."""
    if path == "-":
        if sys.stdin is None:
            raise CallError("There is no standard input to read.")
        yield "readings", STANDARD_INPUT, sys.stdin.buffer.read()
        return
    there = existing(path)
    single = [("readings", there)]
    for table, file in files_of(there, findings, beside) if there.is_dir() else single:
        data: bytes | Path | None = beside.get(file.name)
        if data is None:
            data = file if is_large(file) else bytes_of(file, findings)
        if data is not None:
            yield table, file.name, data


def _finished(
    sheets: list[RawSheet], mapping: Mapping[str, str], findings: list[Finding]
) -> tuple[RawSheet, ...]:
    """Return sheets without comments and totals, after saying these; say which have no rows."""
    kept = []
    for sheet in sheets:
        if not table_of_added(sheet.file):
            # In a file of ours every row is one.
            sheet = without_non_data_rows(sheet, mapping, findings)
        sheet = _with_short_headings(sheet, mapping, findings)
        kept.append(sheet)
        if len(sheet.lines) == 0:
            readings = sheet.table == "readings"
            findings.append(finding_of(Code.HEADER_ONLY, sheet.file, readings=readings))
    return tuple(kept)


def _with_short_headings(
    sheet: RawSheet, mapping: Mapping[str, str], findings: list[Finding]
) -> RawSheet:
    """Return a sheet whose headings can be shown: those without end are cut, and that is said."""
    long = [len(head) > LONGEST_HEADING and head.strip() not in mapping for head in sheet.header]
    if not any(long):
        return sheet
    first = sheet.header[long.index(True)]
    findings.append(
        finding_of(
            Code.LONG_HEADING,
            sheet.file,
            sheet.header_line,
            "",
            first,
            headings=sum(long),
            longest=LONGEST_HEADING,
            such_as=first[: LONGEST_HEADING + 1],
        )
    )
    cut = (
        f"{head[:LONGEST_HEADING]}…" if too else head
        for head, too in zip(sheet.header, long, strict=True)
    )
    return replace(sheet, header=tuple(cut))
