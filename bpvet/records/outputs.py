"""Whether a path may be written: never what was read, nor what would be read next time.

One rule for every command and report; no option overrides it. Standard library only.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from urllib.parse import unquote

from bpvet.errors import BpvetError, CallError, RecordsError
from bpvet.frozen import dataclass
from bpvet.records.findings import Finding
from bpvet.records.folder import BOOKS, existing, files_of, table_of
from bpvet.records.headings.settled import FILE_NAME

_URL = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]*://", re.ASCII)
#: What databases keep beside their file.
_BESIDE = ("", "-wal", "-shm", "-journal", ".wal")


@dataclass(frozen=True)
class Inputs:
    """The files that a command reads.

    Parameters
    ----------
    files : tuple of Path
        Records, what names their columns, priors, a database: as far as they are files.
    folder : Path or None
        The folder of records, or the one that a single file lies in.
    state : tuple
        What tells whether one of them was changed since.
    asked : tuple
        What `inputs_of` was called with.
    """

    files: tuple[Path, ...]
    folder: Path | None
    state: tuple[tuple[str, ...], ...]
    asked: tuple[object, object, tuple[object, ...]]

    def refuse(self, path: Path) -> None:
        """Raise a `CallError` where a path may not be written.

        Parameters
        ----------
        place : Path
            The file to write, there or not.
        """
        for file in self.files:
            if _is_same(path, file):
                raise CallError(
                    f'"{path}" is read by this command, and what is read is never written over. '
                    "Name another file."
                )
        name = _bare(path.name)
        if name.lower() == FILE_NAME:
            raise CallError(
                f'"{path}": a file of this name says how the records beside it are read. Name '
                "another file."
            )
        if name.lower().endswith(BOOKS) and self._among_records(path.parent):
            raise CallError(
                f'"{path}": a workbook in a folder of records may be read as its tables, and none '
                "is written there. Name another folder, or another kind of file."
            )
        if table := table_of(name):
            raise CallError(
                f'"{path}": in a folder of records a file of this name is read as the table '
                f"“{table}”, and results are no records. Name another file."
            )

    def _among_records(self, folder: Path) -> bool:
        """Return whether a folder is that of the records, or holds files that are read as such."""
        if self.folder is not None and _is_same(folder, self.folder):
            return True
        try:
            names = [entry.name for entry in os.scandir(folder)]
        except OSError:
            return True
        return any(table_of(name) or name.lower() == FILE_NAME for name in names)


def inputs_of(path: object, columns: object = None, others: Iterable[object] = ()) -> Inputs:
    """Return the files that reading some records reads.

    Parameters
    ----------
    path, columns
        As `bpvet.read` takes them.
    others : iterable of str or path
        Further files that are read, such as priors; None among them is passed over.
    """
    others = tuple(others)
    named = [Path(str(file)) for file in others if file is not None]
    if isinstance(columns, str) and columns.lower().endswith(".toml") and "=" not in columns:
        named.append(Path(columns))
    folder = _folder_of(path)
    files = tuple(dict.fromkeys((*_read_at(path), *named)))
    return Inputs(files, folder, _state(files), (path, columns, others))


def refuse_changed(before: Inputs) -> None:
    """Raise a `RecordsError` where a file that was read has been changed since."""
    if before.state != inputs_of(*before.asked).state:
        raise RecordsError(
            "The records were changed while the report was being made. Run it again; nothing was "
            "written."
        )


def _folder_of(path: object) -> Path | None:
    text = str(path)
    if text == "-" or _URL.match(text):
        return None
    path = Path(text)
    return path if path.is_dir() else path.parent


def _read_at(path: object) -> Iterator[Path]:
    text = str(path)
    if text == "-":
        yield from _piped()
        return
    if _URL.match(text):
        yield from _database(text)
        return
    try:
        path = existing(text)
        if not path.is_dir():
            yield from (beside for end in _BESIDE if (beside := Path(f"{path}{end}")).exists())
            yield path.parent / FILE_NAME
            return
        findings = list[Finding]()
        yield from (file for _, file in files_of(path, findings))
        yield path / FILE_NAME
    except BpvetError:
        return  # reading says what is wrong


def _piped() -> Iterator[Path]:
    """Yield the file that the standard input comes from, where the system tells its name."""
    for name in ("/proc/self/fd/0", "/dev/fd/0"):
        path = Path(name)
        try:
            if path.is_file():
                yield path
                return
        except OSError:
            continue


def _database(url: str) -> Iterator[Path]:
    """Yield the files that a database's URL may stand for, as far as they are there."""
    rest = unquote(url.partition("://")[2])
    bare = rest.partition("?")[0].partition("/")[2].removeprefix("file:")
    for end in _BESIDE:
        path = Path(f"{bare}{end}")
        try:
            if bare and path.is_file():
                yield path
        except (OSError, ValueError):
            continue


def _is_same(path: Path, file: Path) -> bool:
    """Return whether two paths are one file, by any of its names."""
    try:
        return os.path.samefile(path, file)
    except (OSError, ValueError):
        return os.path.realpath(path) == os.path.realpath(file)


def _bare(name: str) -> str:
    """Return a name as the system will keep it."""
    if sys.platform == "win32":
        return name.partition(":")[0].rstrip(". ")
    return name


def _state(files: Iterable[Path]) -> tuple[tuple[str, ...], ...]:
    states = []
    for file in files:
        try:
            status = file.stat()
            marks = (status.st_size, status.st_mtime_ns, status.st_ino)
        except (OSError, ValueError):
            marks = (0, 0, 0)
        states.append((str(file), *map(str, marks)))
    return tuple(sorted(states))
