"""Adding an entry to a record folder: a new file of its own, never an edit, and safely.

What the folder would be with the new file in it is read before the file is there, by the same
road as ever: what would be set aside, read as something else, or make other rows copies, is
refused; what the check would ask about is asked first. Then the file is written whole, under the
folder's lock, and only if what was judged still holds.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Hashable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from bpvet.errors import CallError, RecordsError
from bpvet.frozen import dataclass, replace
from bpvet.locks import unwritable
from bpvet.publishing import publish
from bpvet.records.entries.files import ENTRY, added_csv, added_name, new_entry
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, Outcome, shown
from bpvet.records.folder import BOOKS, existing, files_of
from bpvet.records.outputs import inputs_of
from bpvet.records.parsing.numbers import BOUND_SIGNS
from bpvet.records.read import read, read_with
from bpvet.records.records import Records
from bpvet.records.tables import TABLES

#: Findings that stop the work of a folder that is only beginning.
_BEGINNING = (
    *(Code.NO_READINGS_FILE, Code.NO_READINGS_TABLE, Code.NO_PRESSURES, Code.NO_ROWS),
    *(Code.HEADER_ONLY, Code.EMPTY_FILE, Code.EMPTY_SHEET, Code.EMPTY_WORKBOOK),
)
#: Findings that say that a row stands there twice.
_TWICE = (
    *(Code.SAVED_TWICE, Code.DUPLICATE, Code.SAME_FILE_TWICE, Code.PERHAPS_DUPLICATE),
    Code.SAME_VALUE_AGAIN,
)
#: Findings that say that a date lies in the future.
_FUTURE = (Code.FUTURE_DATE, Code.BORN_IN_FUTURE, Code.LEFT_IN_FUTURE)
#: Findings up to which those that come with an entry are looked for among all.
_MANY = 20_000
#: What the in-room sum has told already, at the reading itself.
_REPORTED_IN_ROOM = (Code.UNUSUAL_READING, Code.UNUSUAL_LAB, Code.GAUGES_CEILING)


@dataclass(frozen=True, eq=False)
class Entry:
    """What was added to a folder.

    Parameters
    ----------
    table, entry : str
        The table, and the id by which it can be taken back.
    file : Path
        The new file.
    rows : tuple of mapping of str to str
        Its rows, by our columns.
    notes : tuple of str
        What the check asks about it, and what was accepted.
    """

    table: str
    entry: str
    file: Path
    rows: tuple[Mapping[str, str], ...]
    notes: tuple[str, ...]


#: Judges the records as they would be: the name of the new file in them; raises what is wrong.
Judge = Callable[[Records, str], Sequence[str]]


def record_folder(path: str | os.PathLike[str]) -> Path:
    """Return a folder that entries may be added to.

    Raises
    ------
    CallError
        It is not there, is a file, cannot be written into, or keeps its records in a workbook or
        in another form that no file can be added to.
    RecordsError
        It may not be read.
    """
    folder = existing(path)
    if not folder.is_dir():
        raise CallError(
            f'"{folder}" is a file, and what is there is never changed. Name a folder of records.'
        )
    if not os.access(folder, os.W_OK | os.X_OK):
        raise CallError(f'"{folder}" is read-only: nothing can be added there.')
    findings = list[Finding]()
    books = [file for _, file in files_of(folder, findings) if file.suffix.lower() in BOOKS]
    if books:
        raise CallError(
            f'The records of "{folder}" are in a workbook ("{books[0].name}"), and a workbook is '
            "never changed. Enter it there, or save its sheets as CSV files (readings.csv, "
            "animals.csv, …) in a folder of their own."
        )
    if unread := _beside_no_readings(folder):
        raise CallError(
            f'"{folder}" holds "{unread}" and no readings file: whether that holds its records is '
            "not clear. Name a folder of records in CSV files, or an empty one."
        )
    return folder


def usable_records(folder: Path) -> Records:
    """Return the records of a folder, which may be empty as yet.

    Raises
    ------
    RecordsError
        A finding stops the work.
    """
    records = read(folder)
    if any(finding.code not in _BEGINNING for finding in records.stopping):
        return records.require_usable()
    return records


def add_entry(
    folder: Path,
    table: str,
    rows: Sequence[Mapping[str, str]],
    accept: Callable[[Sequence[str]], None],
    judge: Judge | None = None,
) -> Entry:
    """Add rows to a record folder as one entry.

    Parameters
    ----------
    folder : Path
        As `record_folder` gives it.
    table : str
    rows : sequence of mapping of str to str
        Cells by our names: ISO dates, points for decimals, texts of one line.
    accept : callable
        Gets what the check would ask about; raises a `CallError` unless it shall be added all the
        same. It is not called where there is nothing to ask.
    judge : callable, optional
        Gets the records as they would be and the new file's name; returns what is to be asked
        besides, raises a `CallError` for what must not be.

    Raises
    ------
    CallError
        It is refused, or cannot be written; the folder is as it was.
    """
    entry = new_entry()
    name = added_name(table, entry)
    data = added_csv(table, rows, rows[0][ENTRY] if table == "cancelled" else entry)
    seen = inputs_of(folder).state
    notes = _judged(folder, table, name, data, rows, judge)
    if notes:
        accept(notes)
    accepted = set(notes)

    def still_so() -> None:
        if inputs_of(folder).state == seen:
            return
        # Somebody added something meanwhile.
        more = _judged(folder, table, name, data, rows, judge)
        if new := [finding for finding in more if finding not in accepted]:
            raise CallError(f"The records changed meanwhile: {' '.join(new)} Try again.")

    publish(folder, {name: data}, check=still_so)
    file = folder / name
    # Whether the disk holds what was written.
    try:
        on_disk = file.read_bytes()
    except OSError as error:
        raise unwritable(file, error) from None
    if on_disk != data:
        raise RecordsError(f'"{file}" does not hold what was written into it. Look at the disk.')
    return Entry(table, entry, file, tuple(rows), tuple(notes))


def _beside_no_readings(folder: Path) -> str:
    """Return what may hold the records of a folder without readings; "" where nothing does."""
    findings = list[Finding]()
    if any(table == "readings" for table, _ in files_of(folder, findings)):
        return ""
    unread = [
        finding.file
        for finding in findings
        if finding.code in (Code.NAMED_OTHERWISE, Code.OTHER_FORM, Code.FOLDER_INSIDE)
    ]
    return unread[0] if unread else ""


def _judged(
    folder: Path,
    table: str,
    name: str,
    data: bytes,
    rows: Sequence[Mapping[str, str]],
    judge: Judge | None,
) -> list[str]:
    """Return what is to be asked about a new file; raise where it must not be added."""
    before, after = usable_records(folder), read_with(folder, {name: data})
    new = _new(before, after, name, len(rows))
    for finding in new:
        if finding.stops or finding.outcome is not Outcome.KEPT:
            raise _refusal(finding)
        if finding.code is Code.STARTS_TOGETHER:
            # Their stops would not be told apart.
            raise CallError(
                f"{shown(rows[0]['drug'])} from {rows[0]['started_on']} is on record already, and "
                "a second row of that day would be read as one with it; it was not added. When it "
                "stopped, write it into that row; if bpvet added it, take the entry back and add "
                "it again with --until."
            )
    # Rows of other files may become unused, as where these would be its copies.
    for other_table in TABLES:
        if other_table != "animals" and _aside(after, other_table) > _aside(before, other_table):
            raise CallError(
                "Other rows would no longer be used with it, perhaps because this stands in the "
                "records already; it was not added."
            )
    _refuse_misread(after, table, name, rows)
    asks = [
        candidate
        for candidate in new
        if candidate.words.asks and candidate.code not in _REPORTED_IN_ROOM
    ]
    return [*dict.fromkeys(map(_note, asks)), *(judge(after, name) if judge else ())]


def _new(before: Records, after: Records, name: str, rows: int) -> list[Finding]:
    """Return the findings that come with a file of so many rows: about it, or about others."""
    # What is said of the whole folder may now be said of its first file, which is this one.
    old = {
        (finding.kind, finding.reason)
        for finding in before.findings.reported
        if isinstance(finding, Finding)
    }
    if max(len(before.findings), len(after.findings)) > _MANY:
        ours = after.findings.about({name: range(1, rows + 2)})
        found = [finding for finding in ours if finding.file == name]
    else:
        known = Counter(map(str, before.findings))
        found = []
        for finding in after.findings:
            known[str(finding)] -= 1
            if known[str(finding)] < 0:
                found.append(finding)
    return [candidate for candidate in found if (candidate.kind, candidate.reason) not in old]


def _refusal(finding: Finding) -> CallError:
    if finding.code in _TWICE:
        return CallError(
            "This stands in the records already, and would be read twice; it was not added. "
            f"({finding.file}{'' if finding.line is None else f', line {finding.line}'}: "
            f"{finding.reason})"
        )
    if finding.code in _FUTURE:
        return CallError(
            f"{finding.column} {shown(finding.value)} lies in the future, and was not added: "
            "enter what has happened."
        )
    return CallError(f"It would not be used, and was not added. {_note(finding)}")


def _note(finding: Finding) -> str:
    reason = replace(finding, outcome=Outcome.KEPT).reason
    value = f" {shown(finding.value)}" if finding.value.strip() else ""
    where = f"{finding.column}{value}: " if finding.column else ""
    return f"{where}{reason} {finding.mend}".rstrip()


def _aside(records: Records, table: str) -> int:
    return int((getattr(records, table)["set_aside"] != "").sum())


def _refuse_misread(
    after: Records, table: str, name: str, rows: Sequence[Mapping[str, str]]
) -> None:
    """Refuse what would be read as anything else than what it is."""
    if table == "animals":
        frame = after.animals
        frame = frame[frame["animal"].isin([row["animal"] for row in rows])]
    else:
        frame = getattr(after, table)
        frame = frame[frame["file"] == name]
    if len(frame) != len(rows):
        raise CallError("It would be read as other rows than were given; it was not added.")
    for row, read_back in zip(rows, frame.to_dict("records"), strict=True):
        for column in TABLES[table]:
            given = row.get(column.name, "")
            found = _as_written(read_back, column.name, column.kind)
            if given and not _same(given, found, column.kind):
                raise CallError(
                    f"{column.name} {shown(given)} would be read as {shown(found)}; it was not "
                    "added. Write it otherwise."
                )


def _as_written(row: Mapping[Hashable, Any], name: str, kind: str) -> str:
    """Return a value that was read as it would be written."""
    value = row[name]
    bound = str(row.get(f"{name}_bound", ""))
    if bound == "no sound":
        return bound
    if kind in ("date", "moment"):
        return "" if pd.isna(value) else str(np.datetime64(value, "s"))
    if kind in ("number", "quantity", "bounded"):
        number = float(value)
        return "" if np.isnan(number) else f"{BOUND_SIGNS.get(bound, '')}{number:.10g}"
    return str(value)


def _same(given: str, found: str, kind: str) -> bool:
    if kind in ("date", "moment"):
        return bool(found) and np.datetime64(given, "s") == np.datetime64(found, "s")
    if kind in ("number", "quantity", "bounded") and given != found:
        try:
            signs = given[:2] if given[:2] in BOUND_SIGNS.values() else ""
            return found.startswith(signs) and float(given.removeprefix(signs)) == float(
                found.removeprefix(signs)
            )
        except ValueError:
            return False
    return given == found
