"""A path to cells: its files in any of the forms that are read, each as text with true lines.

Everything is text here. A row whose cells cannot be told apart is never shifted or padded, it is
kept as an empty row with a finding.
"""

from __future__ import annotations

import hashlib
import os
import sys
from collections.abc import Callable, Iterator, Mapping

from bpvet.errors import CallError
from bpvet.records.arrow_tables import arrow_sheet
from bpvet.records.cells import Loaded as Loaded
from bpvet.records.cells import RawSheet as RawSheet
from bpvet.records.database import database_sheets, is_url, sqlite_sheets
from bpvet.records.fhir_rows import fhir_sheets, holds_resources
from bpvet.records.findings import Finding, printable, whole
from bpvet.records.folder import bytes_of, existing, files_of
from bpvet.records.forms import form_of
from bpvet.records.json_lines import document_of, json_sheet
from bpvet.records.remarks import without_remarks
from bpvet.records.separated import read_sheet
from bpvet.records.workbook import workbook_sheets

STANDARD_INPUT = "standard input"
#: Forms that are known and not read: what is said of them, and what to do.
_NOT_READ = {
    "old workbook": (
        "This is an old workbook (.xls), which is not read.",
        "Open it in a spreadsheet program and save it as .xlsx or CSV.",
    ),
    "protected file": (
        "This workbook is protected by a password.",
        "Open it in a spreadsheet program and save it as .xlsx without a password.",
    ),
    "old feather": (
        "This is a Feather file of the first version, which is not read.",
        "Write it again as Feather version 2, Parquet or CSV.",
    ),
    "PDF": (
        "This is a PDF, not a table.",
        "Ask the program that made it for the table itself, as CSV or .xlsx.",
    ),
    "picture": (
        "This is a picture, not a table.",
        "Type its readings into a table (.xlsx or CSV): animal, taken_at, method and systolic.",
    ),
    "text document": (
        "This is a text document, not a table.",
        "Copy its table into a spreadsheet program and save it as .xlsx or CSV.",
    ),
    "markup": (
        "This is a web page or another marked-up text (HTML or XML), whatever its name says.",
        "Open it in a spreadsheet program and save it as .xlsx or CSV.",
    ),
    "gzip": ("This is a compressed file.", "Unpack it and read what is in it."),
}


def load(
    path: str | os.PathLike[str],
    columns: Mapping[str, str] | None = None,
    encoding: Callable[[str, str], str | None] | None = None,
    query: str | None = None,
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
    for table, name, data in _contents(path, findings):
        content = hashlib.sha256(data).digest()
        plain = name.encode("utf-8", "surrogateescape")
        digest_of.update(f"{len(plain)} {len(data)} ".encode() + plain + content)
        if table == "readings" and data and content in seen:
            findings.append(_same_twice(name, seen[content]))
            continue
        seen[content] = name
        file = printable(name)
        code = encoding(table, file) if encoding else None
        found += sheets_of(file, table, data, findings, mapping, code, query)
    source = STANDARD_INPUT if path == "-" else printable(existing(path).name)
    return Loaded(
        source, _finished(found, mapping, findings), tuple(findings), digest_of.hexdigest()
    )


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
    form = form_of(data)
    if query is not None and form != "sqlite":
        raise CallError("A query is for a database: give its URL, such as sqlite:///clinic.db.")
    if form in _NOT_READ:
        findings.append(whole(file, *_NOT_READ[form], "not text"))
        return []
    if form == "archive":
        return workbook_sheets(file, table, data, findings, mapping)
    if form == "sqlite":
        return sqlite_sheets(file, data, query, findings)
    sheet: RawSheet | None
    if form in ("parquet", "arrow", "arrow stream"):
        sheet = arrow_sheet(file, table, form, data, findings)
    elif form == "json":
        held = document_of(file, data, findings, encoding)
        if held is not None and holds_resources(held):
            return fhir_sheets(file, held, findings)
        sheet = None if held is None else json_sheet(file, table, held, findings)
    else:
        sheet = read_sheet(file, table, data, findings, mapping, encoding)
    return [] if sheet is None else [sheet]


def _contents(
    path: str | os.PathLike[str], findings: list[Finding]
) -> Iterator[tuple[str, str, bytes]]:
    """Yield (table, name, content) of each file that a path stands for."""
    if path == "-":
        if sys.stdin is None:
            raise CallError("There is no standard input to read.")
        yield "readings", STANDARD_INPUT, sys.stdin.buffer.read()
        return
    place = existing(path)
    for table, file in files_of(place, findings) if place.is_dir() else [("readings", place)]:
        data = bytes_of(file, findings)
        if data is not None:
            yield table, file.name, data


def _finished(
    sheets: list[RawSheet], mapping: Mapping[str, str], findings: list[Finding]
) -> tuple[RawSheet, ...]:
    """Return sheets without comments and totals, after saying these; say which have no rows."""
    kept = []
    for sheet in sheets:
        sheet = without_remarks(sheet, mapping, findings)
        kept.append(sheet)
        if len(sheet.lines) == 0:
            mend = "Add a row for each reading." if sheet.table == "readings" else "Nothing to do."
            reason = "The file has a header and no rows."
            findings.append(whole(sheet.file, reason, mend, "no rows", stops=False))
    return tuple(kept)


def _same_twice(file: str, other: str) -> Finding:
    reason = f"The file holds exactly what {printable(other)} holds, and is not read."
    mend = "Take one of the two out of the folder."
    return whole(printable(file), reason, mend, "same file twice")
