"""Which files a path stands for."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from pathlib import Path

from bpvet.errors import CallError, RecordsError
from bpvet.records.entries.files import table_of_added
from bpvet.records.findings import Finding, printable, whole, worded_finding
from bpvet.records.headings.near_names import did_you_mean, nearest
from bpvet.records.headings.settled import SAY_FILE_AN_ANIMAL
from bpvet.records.tables import TABLES

#: Endings of files that are read, where the name is that of a table.
ENDINGS = (
    *("csv", "tsv", "xlsx", "xlsm", "parquet", "feather", "arrow", "jsonl", "ndjson", "json"),
)
#: Endings of files that may hold records too, and are said to be passed over.
_OTHER_ENDINGS = ("xls", "xlsb", "ods", "db", "sqlite", "sqlite3", "txt.gz", "csv.gz", "zip")
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
        place = Path(text)
        place.stat()
    except TypeError:
        raise CallError(f"A path is a text, not {type(path).__name__}.") from None
    except FileNotFoundError:
        raise CallError(_no_such_path(Path(path))) from None
    except PermissionError:
        raise RecordsError(f'"{printable(str(path))}" cannot be read: permission denied.') from None
    except (OSError, ValueError) as error:
        words = getattr(error, "strerror", None) or str(error)
        raise CallError(f'"{printable(str(path))[:200]}" is not a path: {words}.') from None
    # Resolved for its name only, so that "." has one; nothing of the path is kept.
    return place if place.name else place.resolve()


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
        reason = f'The folder "{printable(folder.name)}" cannot be read: permission denied.'
        raise RecordsError(reason) from None
    except OSError as error:
        raise RecordsError(f'"{printable(folder.name)}": {error.strerror}.') from None
    found: dict[str, list[Path]] = {table: [] for table in TABLES}
    others: list[str] = []
    for entry in entries:
        if table := table_of(entry):
            found[table].append(folder / entry)
        elif _may_hold_records(entry.lower()):
            others.append(entry)
    books = [name for name in others if name.lower().endswith((".xlsx", ".xlsm"))]
    if not found["readings"] and len(books) == 1:
        # One workbook of any name holds the tables as its sheets.
        found["readings"].append(folder / books[0])
        others.remove(books[0])
    findings += [_not_read(name) for name in others]
    if not found["readings"]:
        findings.append(_no_readings(folder, others))
    return [(table, file) for table in TABLES for file in found[table]]


def bytes_of(file: Path, findings: list[Finding]) -> bytes | None:
    """Return a file's content, or None with a stopping finding."""
    name = printable(file.name)
    try:
        return file.read_bytes()
    except IsADirectoryError:
        reason, mend = "This is a folder, not a file.", "Put the file itself here."
    except PermissionError:
        reason, mend = "The file cannot be read: permission denied.", "Allow it to be read."
    except OSError as error:
        reason, mend = f"The file cannot be read: {error.strerror}.", "Check the disk or the share."
    findings.append(whole(name, reason, mend, "cannot be read"))
    return None


def _may_hold_records(name: str) -> bool:
    # A spreadsheet program keeps a lock file of this name beside an open workbook.
    hidden = name.startswith((".", "~$"))
    return not hidden and name.endswith(tuple(f".{end}" for end in (*ENDINGS, *_OTHER_ENDINGS)))


def _no_such_path(path: Path) -> str:
    try:
        beside = sorted(entry.name for entry in os.scandir(path.parent))
    except OSError:
        beside = []
    hint = did_you_mean([printable(name) for name in nearest(path.name, beside)])
    return f'There is no file or folder "{printable(str(path))}". {hint}'.rstrip()


def _not_read(name: str) -> Finding:
    name = printable(name)
    stem, _, end = name.rpartition(".")
    # By the stems: the ending makes a short name look like any other.
    hint = did_you_mean([f"{near}.{end}" for near in nearest(stem.lower(), TABLES, n=1)])
    mend = (
        "If it holds records, name it after its table: readings…, animals, treatments, labs, "
        "observations, missed, contacts or cancelled, as CSV, XLSX, Parquet, Arrow or JSON lines. "
        f"{hint}"
    ).rstrip()
    reason = "The file is not read: its name is not that of a table."
    if not name.lower().endswith(tuple(f".{end}" for end in ENDINGS)):
        reason = "The file is not read: files of this kind are not."
        mend = "If it holds records, save it as CSV or .xlsx under the name of its table."
    return worded_finding(name, None, "", "", reason, mend, kind="file not read")


def _no_readings(folder: Path, others: Sequence[str]) -> Finding:
    names = sorted(entry.name for entry in os.scandir(folder) if not entry.name.startswith("."))
    shown = [printable(name) for name in names[:5]]
    if len(names) > len(shown):
        shown.append(f"{len(names) - len(shown)} more")
    mend = (
        "Name the file of readings readings.csv (or .xlsx, .parquet, .jsonl); only that one is "
        "needed."
    )
    readable = [name for name in others if name.lower().endswith(ENDINGS)]
    if len(readable) > 1:
        mend += (
            " Where each file is of one animal, put readings- before its name, such as "
            f"readings-{printable(readable[0])}, and say so {SAY_FILE_AN_ANIMAL}."
        )
    held = " and ".join(filter(None, [", ".join(shown[:-1]), *shown[-1:]]))
    return worded_finding(
        printable(folder.name) or "folder",
        None,
        "",
        "",
        f"The folder holds no readings file. It {f'holds {held}' if held else 'is empty'}.",
        mend,
        stops=True,
        kind="no readings file",
    )
