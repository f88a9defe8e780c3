"""Writing files: whole or not at all, whatever stops the work. Standard library only."""

from __future__ import annotations

import csv
import io
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from bpvet.errors import CallError

#: What is being written bears such a name until it is whole; a process that was killed may
#: leave one behind, and nobody takes it for a file of the user's.
_BEGINS, _ENDS = ".bpvet-", ".part"
#: What a spreadsheet takes for a formula at the start of a cell.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


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


def write_all(folder: Path, contents: Mapping[str, bytes], replace: bool = False) -> None:
    """Write files into a folder: all beside their places first, then each is moved there.

    A full disk, or an end at any moment, leaves each file as it was or as it shall be.

    Parameters
    ----------
    folder : Path
        It is there.
    contents : mapping of str to bytes
        Content by file name.
    replace : bool
        Whether files of these names may be replaced.

    Raises
    ------
    CallError
        One is there and may not be replaced, or cannot be written; what could be moved before
        that was found stays, whole.
    """
    place, parts = folder, dict[str, str]()
    try:
        for name, content in contents.items():
            place = folder / name
            handle, parts[name] = tempfile.mkstemp(dir=folder, prefix=_BEGINS, suffix=_ENDS)
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(parts[name], 0o666 & ~_umask())
        for name, part in parts.items():
            place = folder / name
            if replace or not _linked(part, place):
                os.replace(part, place)
    except FileExistsError:
        raise CallError(f'"{place}" is there already. Name another file.') from None
    except (OSError, ValueError) as error:
        raise unwritable(place, error) from error
    finally:
        for part in parts.values():
            Path(part).unlink(missing_ok=True)


def csv_bytes(
    heads: Sequence[str], rows: Iterable[Sequence[object]], for_excel: bool = False
) -> bytes:
    """Return a table as CSV: UTF-8, decimal points, blank for what is missing.

    Parameters
    ----------
    heads : sequence of str
    rows : iterable of sequence
        Text, numbers, truth values or None, each row as long as `heads`.
    for_excel : bool
        Whether text that a spreadsheet would take for a formula gets an apostrophe before it.

    Examples
    --------
    >>> csv_bytes(("a", "b"), [("=1", -2.5), (None, True)], for_excel=True)
    b"a,b\\n'=1,-2.5\\n,true\\n"
    """

    def cell(value: object) -> str:
        if value is None:
            return ""
        if isinstance(value, bool):
            return "true" if value else "false"
        if for_excel and isinstance(value, str) and value.startswith(_FORMULA_STARTS):
            return f"'{value}"
        return str(value)

    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(heads)
    table.writerows([cell(value) for value in row] for row in rows)
    return text.getvalue().encode("utf-8", "replace")


def unfinished(name: str) -> bool:
    """Return whether a file of this name is one of ours that never became whole."""
    return name.startswith(_BEGINS) and name.endswith(_ENDS)


def unwritable(path: Path, error: Exception) -> CallError:
    """Return the error that says what cannot be written, and why."""
    why = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return CallError(f'"{path}" cannot be written: {why}.')


def _linked(part: str, place: Path) -> bool:
    """Give a file its name if that is free; False where the disk knows no links."""
    try:
        os.link(part, place)
    except FileExistsError:
        raise
    except OSError:
        if place.exists() or place.is_symlink():
            raise FileExistsError from None
        return False
    return True


def _umask() -> int:
    """Return the mask for new files; it can only be read by setting it."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
