"""Writing files: whole or not at all, whatever stops the work. Standard library only.

Everything is written through `write_all`. Under the folder's lock (``.bpvet-lock``: process and
machine, and locked by the system, so that one left behind is told) all files of a set are staged as
``.bpvet-*.part``, what they replace is linked to a second name, a journal (``.bpvet-journal``) says
which go where with digests of old and new, each is moved, the main one last, the journal goes.
`bpvet.publishing.recovered` finishes a set that has a journal, takes it back where it cannot be
finished, clears what has none, and keeps what somebody changed meanwhile; every command that writes
begins with it (`bpvet.command.shared.output`). `bpvet.records.outputs` alone decides what may be
written.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from bpvet.locks import unfinished as unfinished
from bpvet.locks import unwritable as unwritable
from bpvet.publishing import publish
from bpvet.spreadsheets import guarded

#: What a cell may hold only between quotation marks; semicolons and tabs for those who guess.
_NEEDS_MARKS = re.compile(r'[",;\t\r\n]|^\s|\s$')


def write_whole(path: Path, content: bytes, replace: bool = False) -> None:
    """Write one file, as `write_all` does.

    Parameters
    ----------
    path : Path
        Its folder is there.
    content : bytes
    replace : bool
        Whether a file of that name may be replaced, even one that came into being meanwhile.

    Raises
    ------
    CallError
        It is there and may not be replaced, or cannot be written.
    """
    write_all(path.parent, {path.name: content}, replace)


def write_all(
    folder: Path,
    contents: Mapping[str, bytes],
    replace: bool = False,
    check: Callable[[], None] | None = None,
) -> None:
    """Write files into a folder: all of them or none, as `bpvet.publishing.publish` does.

    A full disk, or an end at any moment, leaves each file as it was or as it shall be; a set that
    was stopped is finished, or taken back, by the next that writes there.

    Parameters
    ----------
    folder : Path
        It is there.
    contents : mapping of str to bytes
        Content by file name, the main one last.
    replace : bool
        Whether files of these names may be replaced.
    check : callable, optional
        Called right before, when no other bpvet can write there; what it raises stops the work.

    Raises
    ------
    CallError
        One is there and may not be replaced, or cannot be written.
    """
    publish(folder, contents, replace, check)


def csv_bytes(heads: Sequence[str], rows: Iterable[Sequence[object]], plain: bool = False) -> bytes:
    """Return a table as CSV: UTF-8, decimal points, blank for what is missing.

    Parameters
    ----------
    heads : sequence of str
    rows : iterable of sequence
        Text, numbers, truth values or None, each row as long as `heads`.
    plain : bool
        Whether text that a spreadsheet would take for a formula stays as it is, for programs;
        otherwise an apostrophe stands before it, which `bpvet.read` takes off again.

    Examples
    --------
    >>> csv_bytes(("a", "b"), [("=1", -2.5), (None, True)])
    b"a,b\\n'=1,-2.5\\n,true\\n"
    """

    def cell(value: object) -> str:
        if value is None:
            return ""
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, str):
            return _quoted(value if plain else guarded(value))
        return str(value)

    lines = (",".join(map(cell, row)) for row in (heads, *rows))
    return "".join(f"{line}\n" for line in lines).encode("utf-8", "replace")


def _quoted(cell: str) -> str:
    """Return a cell in quotation marks where it needs them, whatever breaks a line for whom."""
    return '"' + cell.replace('"', '""') + '"' if _NEEDS_MARKS.search(cell) else cell
