"""Small TOML files that are read back, within limits of size, depth and digits.

What such a file may hold is known, so one that is far larger, deeper or longer in its numbers is
none, whatever it holds: it is refused before it takes time or memory. Standard library only.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

#: Bytes of a file; dots of one line of TOML (each opens a table in a table); tables or lists in
#: one another; digits of a number.
MOST_BYTES, MOST_DOTS, DEEPEST, MOST_DIGITS = 1_000_000, 60, 20, 60
_DIGITS = re.compile(rf"(?:[0-9][_.]?){{{MOST_DIGITS + 1}}}")
_HEX = re.compile(rf"0[xob][0-9A-Fa-f_]{{{MOST_DIGITS}}}")


class ReadBackError(ValueError):
    """A file that is not what it is read as; the message goes on after its name: "is …"."""


def text_of_file(path: Path, most: int = MOST_BYTES) -> str:
    """Return the text of a plain file, without a mark of its encoding.

    Raises
    ------
    OSError
        It cannot be read.
    ReadBackError
        It is no plain file, too long, or not UTF-8.
    """
    if path.exists() and not path.is_file():
        # A pipe or a device would never come to its end.
        raise ReadBackError("is no plain file")
    with path.open("rb") as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise ReadBackError(f"is too long: more than {most:,} bytes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ReadBackError("is not UTF-8 text: save it with that encoding") from None


def toml_table(text: str) -> dict[str, Any]:
    """Return a TOML text as a table.

    Raises
    ------
    ReadBackError
        It is no TOML, or beyond the limits; a line is named where it is known.
    """
    import tomllib

    for number, line in enumerate(text.splitlines(), start=1):
        if line.count(".") > MOST_DOTS and not line.lstrip().startswith("#"):
            raise ReadBackError(f"has more than {MOST_DOTS} dots in line {number}")
        if _DIGITS.search(line) or _HEX.search(line):
            raise ReadBackError(f"has a number of more than {MOST_DIGITS} digits in line {number}")
    try:
        table = tomllib.loads(text)
    except RecursionError:
        raise ReadBackError("is nested too deeply") from None
    except ValueError as error:
        # Also what is no TOMLDecodeError, as dates that are none.
        raise ReadBackError(f"is not TOML: {error}") from None
    _refuse_deep(table)
    return table


def _refuse_deep(table: Any) -> None:
    """Raise a `ReadBackError` if tables or lists stand too deeply in one another."""
    level = [table]
    for _ in range(DEEPEST):
        level = [
            member
            for outer in level
            for member in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(member, dict | list)
        ]
        if not level:
            return
    raise ReadBackError("is nested too deeply")
