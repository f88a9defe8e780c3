"""Which files a path stands for."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from bpvet.errors import CallError, RecordsError
from bpvet.records.entries.files import table_of_added
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable
from bpvet.records.headings.near_names import did_you_mean, nearest
from bpvet.records.tables import TABLES

#: Endings of files that are read, where the name is that of a table.
ENDINGS = (
    *("csv", "tsv", "xlsx", "xlsm", "parquet", "feather", "arrow", "jsonl", "ndjson", "json"),
)
#: Endings of files that may hold records too, and are said to be passed over.
_OTHER_ENDINGS = ("xls", "xlsb", "ods", "db", "sqlite", "sqlite3", "txt.gz", "csv.gz", "zip")
#: What the list of whom to see leaves beside its page, as reports leave JSON: no records.
_WRITTEN = ("due.csv", "due-columns.csv")
#: A folder inside the records is looked into, and so many below it.
_DEEP = 2
#: Endings of workbooks: one of any name may hold the tables of its folder.
BOOKS = (".xlsx", ".xlsm")
READINGS_FILE = re.compile(rf"readings.*\.({'|'.join(ENDINGS)})", re.IGNORECASE | re.DOTALL)
_BY_NAME = {f"{table}.{end}": table for table in TABLES if table != "readings" for end in ENDINGS}


def table_of(name: str) -> str:
    """Return the table that a file of a folder is read as, by its name; "" where it is none.

    Examples
    --------
    >>> table_of("Readings 2024.xlsx"), table_of("labs.csv"), table_of("letter.csv")
    ('readings', 'labs', '')
    """
    if READINGS_FILE.fullmatch(name):
        return "readings"
    return _BY_NAME.get(name.lower(), "") or table_of_added(name)


def existing(path: str | os.PathLike[str]) -> Path:
    """Return a path that is there.

    Raises
    ------
    CallError
        It is not there, or is no path; near names are suggested.
    RecordsError
        It may not be read.
    """
    try:
        text = os.fspath(path)
        if not text:
            raise CallError("The path is blank.")
        found = Path(text)
        found.stat()
    except TypeError:
        raise CallError(f"A path is a text, not {type(path).__name__}.") from None
    except FileNotFoundError:
        there = Path(path)
        try:
            beside = sorted(entry.name for entry in os.scandir(there.parent))
        except OSError:
            beside = []
        hint = did_you_mean([printable(entry_name) for entry_name in nearest(there.name, beside)])
        raise CallError(
            f'There is no file or folder "{printable(str(there))}". {hint}'.rstrip()
        ) from None
    except PermissionError:
        raise RecordsError(f'"{printable(str(path))}" cannot be read: permission denied.') from None
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise CallError(f'"{printable(str(path))[:200]}" is not a path: {words}.') from None
    # Resolved for its name only, so that "." has one; nothing of the path is kept.
    return found if found.name else found.resolve()


def files_of(
    folder: Path, findings: list[Finding], beside: Iterable[str] = ()
) -> list[tuple[str, Path]]:
    """Return the (table, file) pairs of a folder in the order of reading.

    Parameters
    ----------
    folder : Path
        A folder.
    findings : list of Finding
        Files that are not read, and a want of readings, are said here.
    beside : iterable of str
        Names of files that are taken to be there too.

    Raises
    ------
    RecordsError
        The folder may not be read.
    """
    try:
        entries = sorted({*(entry.name for entry in os.scandir(folder)), *beside})
    except PermissionError:
        raise RecordsError(
            f'The folder "{printable(folder.name)}" cannot be read: permission denied.'
        ) from None
    except OSError as error:
        raise RecordsError(f'"{printable(folder.name)}": {error.strerror}.') from None
    found: dict[str, list[Path]] = {table: [] for table in TABLES}
    others: list[str] = []
    inside: list[Finding] = []
    for entry in entries:
        if table := table_of(entry):
            found[table].append(folder / entry)
        elif _may_hold_records(entry.lower()):
            others.append(entry)
        elif (folder / entry).is_dir() and (such_as := _records_inside(folder / entry)):
            inside.append(
                finding_of(Code.FOLDER_INSIDE, f"{printable(entry)}/", such_as=printable(such_as))
            )
    books = [name for name in others if name.lower().endswith(BOOKS)]
    if not found["readings"] and len(books) == 1:
        # One workbook of any name holds the tables as its sheets.
        found["readings"].append(folder / books[0])
        others.remove(books[0])
    findings += [*(_not_read(name) for name in others), *inside]
    if not found["readings"]:
        findings.append(_no_readings(folder, others))
    return [(table, file) for table in TABLES for file in found[table]]


def bytes_of(file: Path, findings: list[Finding]) -> bytes | None:
    """Return a file's content, or None with a stopping finding."""
    name = printable(file.name)
    try:
        return file.read_bytes()
    except IsADirectoryError:
        findings.append(finding_of(Code.FOLDER_NOT_FILE, name, stops=True))
    except PermissionError:
        findings.append(finding_of(Code.NOT_PERMITTED, name, stops=True))
    except OSError as error:
        why = str(error.strerror)
        findings.append(finding_of(Code.DISK_REFUSES, name, stops=True, why=why))
    return None


def _may_hold_records(name: str) -> bool:
    # A spreadsheet program keeps a lock file of this name beside an open workbook.
    hidden = name.startswith((".", "~$"))
    return not hidden and name.endswith(tuple(f".{end}" for end in (*ENDINGS, *_OTHER_ENDINGS)))


def _records_inside(folder: Path, deep: int = _DEEP) -> str:
    """Return a file of a folder inside the records that may hold some too; "" where none does."""
    if folder.name.startswith("."):
        return ""
    try:
        entries = sorted(os.scandir(folder), key=lambda entry: entry.name)
        files = [entry.name for entry in entries if entry.is_file()]
        folders = [entry.name for entry in entries if deep and entry.is_dir()]
    except OSError:
        return ""
    for name in files:
        # A letter leaves its table beside its page, under the same name.
        of_letter = name.lower().endswith(".csv") and f"{name[:-4]}.html" in files
        written_here = of_letter or name.lower() in _WRITTEN or name.lower().endswith(".json")
        if table_of(name) or (_may_hold_records(name.lower()) and not written_here):
            return name
    within = ((name, _records_inside(folder / name, deep - 1)) for name in folders)
    return next((f"{name}/{found}" for name, found in within if found), "")


def _not_read(name: str) -> Finding:
    name = printable(name)
    if not name.lower().endswith(tuple(f".{end}" for end in ENDINGS)):
        return finding_of(Code.OTHER_FORM, name)
    stem, _, end = name.rpartition(".")
    # By the stems: the ending makes a short name look like any other.
    near = tuple(f"{table}.{end}" for table in nearest(stem.lower(), TABLES, n=1))
    return finding_of(Code.NAMED_OTHERWISE, name, near=near)


def _no_readings(folder: Path, others: Sequence[str]) -> Finding:
    names = sorted(entry.name for entry in os.scandir(folder) if not entry.name.startswith("."))
    readable = [printable(name) for name in others if name.lower().endswith(ENDINGS)]
    return finding_of(
        Code.NO_READINGS_FILE,
        printable(folder.name) or "folder",
        stops=True,
        names=tuple(printable(name) for name in names[:5]),
        more=max(len(names) - 5, 0),
        one_of_several=readable[0] if len(readable) > 1 else "",
    )
