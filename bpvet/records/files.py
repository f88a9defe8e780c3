"""Files to cells: which files a path stands for, their text, their rows with true line numbers.

Everything is text here. Fields are counted for each row: a row with one field too many or too
few is never shifted or padded, it is kept as an empty row with a finding.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.errors import CallError, RecordsError
from bpvet.records.encodings import as_utf8, check_encoding
from bpvet.records.findings import Finding, printable, shown, whole
from bpvet.records.rows import Rows, rows_of
from bpvet.records.suggest import did_you_mean, nearest
from bpvet.records.tables import TABLES, column_named

READINGS_FILE = re.compile(r"readings.*\.csv", re.IGNORECASE)
#: Endings of files that may hold records in a form that is not read (yet).
OTHER_TABLES = (".csv", ".tsv", ".xls", ".xlsx", ".ods", ".parquet", ".json", ".jsonl")
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}


@dataclass(frozen=True, eq=False)
class RawSheet:
    """One file's cells as text, each with its place.

    Parameters
    ----------
    file, table : str
        Name of the file without its folder; the table it belongs to.
    header : tuple of str
        Headings as they stand.
    columns : tuple of pyarrow arrays of text (n,)
        Cells as they stand, a column each.
    lines : array of int (n,)
        Line in the file where each row starts.
    broken : dict of int to (str, str)
        Rows whose fields do not fit the header: the line's text and what is wrong with it.
    separator, encoding : str
        What was understood of the file.
    header_line : int or None
        Line of the header; None for a data frame.
    """

    file: str
    table: str
    header: tuple[str, ...]
    columns: tuple[pa.Array, ...]
    lines: NDArray[np.int64]
    broken: dict[int, tuple[str, str]] = field(default_factory=dict)
    separator: str = "comma"
    encoding: str = "UTF-8"
    header_line: int | None = 1


@dataclass(frozen=True, eq=False)
class Loaded:
    """What a path held: sheets in reading order, findings about whole files, the digest."""

    source: str
    sheets: tuple[RawSheet, ...]
    findings: tuple[Finding, ...]
    digest: str


def load(
    path: str | os.PathLike[str],
    columns: Iterable[str] = (),
    encoding: str | None = None,
) -> Loaded:
    """Read a record folder, or a single readings file, as text.

    Parameters
    ----------
    path : str or path
        A folder of ``readings*.csv``, ``animals.csv``, ``treatments.csv``, ``labs.csv`` and
        ``observations.csv``, or one readings file of any name.
    columns : iterable of str
        Other people's headings that the caller has named; they help to tell the separator.
    encoding : str, optional
        Encoding of the files that are not UTF-8 and bear no mark, such as ``cp1252``.

    Raises
    ------
    CallError
        The path does not exist, or the encoding is unknown.
    RecordsError
        The folder may not be read.
    """
    check_encoding(encoding)
    place = _existing(path)
    findings: list[Finding] = []
    named = _files_of(place, findings) if place.is_dir() else [("readings", place)]
    sheets: list[RawSheet] = []
    digest = hashlib.sha256()
    seen: dict[bytes, str] = {}
    for table, file in named:
        data = _bytes_of(file, findings)
        if data is None:
            continue
        content = hashlib.sha256(data).digest()
        name = file.name.encode("utf-8", "surrogateescape")
        digest.update(f"{len(name)} {len(data)} ".encode() + name + content)
        if table == "readings" and data and content in seen:
            findings.append(_same_twice(file.name, seen[content]))
            continue
        seen[content] = file.name
        sheet = read_sheet(file.name, table, data, findings, columns, encoding)
        if sheet is not None:
            sheets.append(sheet)
    return Loaded(printable(place.name), tuple(sheets), tuple(findings), digest.hexdigest())


def read_sheet(
    file: str,
    table: str,
    data: bytes,
    findings: list[Finding],
    columns: Iterable[str] = (),
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
    columns, encoding
        As in `load`.
    """
    file = printable(file)
    text, code = as_utf8(file, data, encoding, findings)
    if text is None:
        return None
    if not re.search(rb"\S", text):
        findings.append(whole(file, "The file is empty.", "Put a header and rows in it.", "empty"))
        return None
    separator = _separator(table, text, set(columns))
    rows = rows_of(text, separator)
    sheet = RawSheet(
        file,
        table,
        rows.header,
        rows.columns,
        rows.lines,
        rows.broken,
        SEPARATORS[separator],
        code,
        rows.header_line,
    )
    _say_blank_rows(file, rows, findings)
    if b'"' in text:
        _say_swallowed_rows(sheet, separator, findings)
    if len(sheet.lines) == 0:
        findings.append(
            whole(
                file,
                "The file has a header and no rows.",
                "Add a row for each reading." if table == "readings" else "Nothing to do.",
                "no rows",
                stops=False,
            )
        )
    return sheet


def _existing(path: str | os.PathLike[str]) -> Path:
    try:
        place = Path(os.fspath(path))
        place.stat()
    except TypeError:
        raise CallError(f"A path is a text, not {type(path).__name__}.") from None
    except FileNotFoundError:
        raise CallError(_no_such_path(Path(path))) from None
    except PermissionError:
        raise RecordsError(
            f'"{printable(str(path))}" may not be read: permission denied.'
        ) from None
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise CallError(f'"{printable(str(path))[:200]}" is not a path: {words}.') from None
    # Resolved for its name only, so that "." has one; nothing of the path is kept.
    return place if place.name else place.resolve()


def _no_such_path(path: Path) -> str:
    try:
        beside = sorted(entry.name for entry in os.scandir(path.parent))
    except OSError:
        beside = []
    hint = did_you_mean([printable(name) for name in nearest(path.name, beside)])
    return f'There is no file or folder "{printable(str(path))}". {hint}'.rstrip()


def _files_of(folder: Path, findings: list[Finding]) -> list[tuple[str, Path]]:
    """Return the (table, file) pairs of a folder in the order of reading."""
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
    except PermissionError:
        reason = f'The folder "{printable(folder.name)}" may not be read: permission denied.'
        raise RecordsError(reason) from None
    except OSError as error:
        raise RecordsError(f'"{printable(folder.name)}": {error.strerror}.') from None
    names = {f"{table}.csv": table for table in TABLES if table != "readings"}
    found: dict[str, list[Path]] = {table: [] for table in TABLES}
    for entry in entries:
        lower = entry.name.lower()
        if READINGS_FILE.fullmatch(entry.name):
            found["readings"].append(folder / entry.name)
        elif lower in names:
            found[names[lower]].append(folder / entry.name)
        elif lower.endswith(OTHER_TABLES) and not lower.startswith("."):
            findings.append(_not_read(entry.name, [*names, "readings.csv"]))
    if not found["readings"]:
        findings.append(
            Finding(
                printable(folder.name) or "folder",
                None,
                "",
                "",
                "The folder holds no readings file.",
                "Name the file of readings readings.csv; only that one is needed.",
                stops=True,
                kind="no readings file",
            )
        )
    return [(table, file) for table in TABLES for file in found[table]]


def _not_read(name: str, names: Sequence[str]) -> Finding:
    name = printable(name)
    tables = "readings*.csv, animals.csv, treatments.csv, labs.csv and observations.csv"
    hint = did_you_mean(nearest(name.lower(), names, n=1))
    mend = f"If it holds records, save it as CSV under one of these names. {hint}".rstrip()
    return Finding(
        name, None, "", "", f"The file is not read: only {tables} are.", mend, kind="file not read"
    )


def _bytes_of(file: Path, findings: list[Finding]) -> bytes | None:
    name = printable(file.name)
    try:
        return file.read_bytes()
    except IsADirectoryError:
        reason, mend = "This is a folder, not a file.", "Put the file itself here."
    except PermissionError:
        reason, mend = "The file may not be read: permission denied.", "Allow it to be read."
    except OSError as error:
        reason, mend = f"The file cannot be read: {error.strerror}.", "Check the disk or the share."
    findings.append(whole(name, reason, mend, "cannot be read"))
    return None


def _separator(table: str, text: bytes, columns: set[str]) -> str:
    """Return the separator that makes most headings known; a comma where none does."""
    line = re.match(rb"[\r\n]*([^\r\n]*)", text)
    first = line.group(1)[:100_000].decode("utf-8", "replace") if line else ""
    bare = re.sub(r'"[^"]*"', '""', first)
    present = [mark for mark in SEPARATORS if mark in bare]

    def known(mark: str) -> int:
        heads = [head.strip().strip('"') for head in first.split(mark)]
        return sum(head in columns or column_named(table, head) != "" for head in heads)

    if not present:
        return ","
    # max keeps the first of equals, and the comma comes first.
    return max(present, key=known)


def _say_blank_rows(file: str, rows: Rows, findings: list[Finding]) -> None:
    if rows.blank:
        many = f"{len(rows.blank)} rows hold" if len(rows.blank) > 1 else "One row holds"
        reason = f"{many} nothing but separators, and is passed over."
        if len(rows.blank) > 1:
            reason = f"{many} nothing but separators, and are passed over."
        findings.append(
            Finding(file, rows.blank[0], "", "", reason, "Nothing to do.", kind="blank rows")
        )


def _say_swallowed_rows(sheet: RawSheet, separator: str, findings: list[Finding]) -> None:
    """Say which cells hold a line break and then what looks like a whole row of the file."""
    mark = re.escape(separator)
    row = rf"[\r\n][^\r\n]*(?:{mark}[^\r\n]*){{{min(len(sheet.header), 1000) - 1}}}"
    for heading, cells in zip(sheet.header, sheet.columns, strict=True):
        if len(sheet.header) < 2:
            return
        found = pc.match_substring_regex(cells, row).to_numpy(zero_copy_only=False)
        for index in np.flatnonzero(found).tolist():
            text = cells[index].as_py()
            findings.append(
                Finding(
                    sheet.file,
                    int(sheet.lines[index]),
                    heading.strip(),
                    text[:80],
                    f"{shown(text)} spans lines that look like rows of their own. It is one cell.",
                    "Look whether a quotation mark was not closed on that line.",
                    kind="rows in a cell?",
                )
            )


def _same_twice(file: str, other: str) -> Finding:
    reason = f"The file holds exactly what {printable(other)} holds, and is not read."
    return whole(
        printable(file), reason, "Take one of the two out of the folder.", "same file twice"
    )
