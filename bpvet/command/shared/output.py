"""What commands print: text that fits the terminal, JSON, progress; and where they may write.

Standard library only.
"""

from __future__ import annotations

import os
import re
import sys

from bpvet.command.shared.terminal import columns
from bpvet.errors import CallError
from bpvet.printing import escaped

TYPE_CHECKING = False
if TYPE_CHECKING:
    from pathlib import Path
    from typing import Any

    from bpvet.records.outputs import Inputs

_WIDEST = 100
_NARROWEST = 40
#: A line break, and what joins the parts of one sign.
HARMLESS = "\n\u200d"
_UNBROKEN = "\u00a0"
#: The space between a number and its unit, and within a date.
_KEPT_TOGETHER = r"(?<=\d) (?=%|mmHg|/min|[A-Z][a-z]+ \d{4})"


def print_json(value: Any) -> None:
    """Print one JSON value; NaN in it is a mistake of ours and an error.

    Other letters than ASCII are written as escapes, so that any terminal and pipe can take them.
    """
    import json

    print(json.dumps(value, allow_nan=False, indent=2))


def say(message: str, quiet: bool = False) -> None:
    """Say something that is no result: to the error stream, unless silence was asked for."""
    if not quiet:
        print(escaped(message, kept=HARMLESS), file=sys.stderr)


def progress(message: str, quiet: bool = False) -> None:
    """Say what takes long: to a terminal only."""
    if sys.stderr.isatty():
        say(message, quiet)


def wrapped(text: str, indent: str = "", first: str | None = None) -> str:
    """Return text in lines that fit the terminal.

    Parameters
    ----------
    text : str
        One paragraph.
    indent, first : str
        What each line begins with, and the first (as the others by default).
    """
    kept = re.sub(_KEPT_TOGETHER, _UNBROKEN, printable(text))
    pieces = re.findall(" +|[^ ]+", kept.replace("\n", " "))
    pieces.reverse()
    lines: list[str] = []
    while pieces:
        start = indent if lines or first is None else first
        if lines and pieces[-1][0] == " ":
            pieces.pop()
        width, line = terminal_width() - len(start), ""
        # A word that is longer than any line stands on a line of its own.
        while pieces and (len(line) + len(pieces[-1]) <= width or not line):
            line += pieces.pop()
        line = line.rstrip(" ")
        lines += [f"{start}{line}"] if line else []
    return "\n".join(lines).replace(_UNBROKEN, " ")


def printable(text: str) -> str:
    """Return text whose letters can do nothing to a terminal but show; line breaks stay.

    Examples
    --------
    >>> printable("a\\x1b[2Jb")
    'a [2Jb'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c in HARMLESS else " " for c in text)


def counted(count: int, word: str) -> str:
    """Return a count with its word.

    Examples
    --------
    >>> counted(1, "finding"), counted(0, "row")
    ('1 finding', '0 rows')
    """
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def terminal_width() -> int:
    """Return the width for text: that of the terminal, within what can be read."""
    return max(_NARROWEST, min(columns(), _WIDEST))


def writable(
    path: str | Path,
    inputs: Inputs | None,
    force: bool = False,
    replaceable: bool = True,
) -> Path:
    """Return the path of a file that may be written; what was left unfinished there is told.

    Parameters
    ----------
    path : str or path
    inputs : Inputs or None
        What the command reads, which is never written over; None for a command whose purpose is
        to add records, and which replaces nothing.
    force : bool
        Whether a file that is there already may be replaced.
    replaceable : bool
        Whether the command has such an option, which is then named.

    Raises
    ------
    CallError
        It is read, or would be read as records; it is there already and may not be replaced, is
        a folder, or its folder is not there.
    """
    from pathlib import Path

    from bpvet.locks import unwritable

    target = Path(path)
    try:
        if target.is_dir():
            raise CallError(f'"{target}" is a folder. Name a file in it.')
        if target.exists() and not target.is_file():
            raise CallError(f'"{target}" is not an ordinary file. Name another file.')
        if inputs is not None:
            inputs.refuse(target)
        if not target.parent.is_dir():
            raise CallError(f'The folder "{target.parent}" does not exist. Make it first.')
        tell_recovered(target.parent)
        if not force and (target.exists() or target.is_symlink()):
            if replaceable:
                raise CallError(
                    f'"{target}" already exists. Name another file, or replace it with --force.'
                )
            raise CallError(f'"{target}" already exists. Name another file.')
    except (OSError, ValueError) as error:
        raise unwritable(target, error) from None
    return target


def tell_recovered(folder: Path) -> None:
    """Finish or take back what an earlier command left unfinished in a folder, and say so."""
    from bpvet.publishing import recovered

    for sentence in recovered(folder):
        say(printable(sentence))


def handles_left(count: int) -> bool:
    """Return whether this process may open so many more files."""
    handles: list[int] = []
    try:
        for _ in range(count):
            handles.append(os.open(os.devnull, os.O_RDONLY))
    except OSError:
        return False
    finally:
        for handle in handles:
            os.close(handle)
    return True
