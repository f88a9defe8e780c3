"""Lines of the input as they stand, to be shown beside a finding. Standard library only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import islice
from pathlib import Path

from bpvet.command.shared.output import printable, terminal_width

_CODES = {"UTF-8 with a mark": "utf-8-sig", "UTF-8": "utf-8", "UTF-16": "utf-16"}
#: Letters of a line that are looked at.
_LOOKED_AT = 4000


class SourceLines:
    """The input's files, looked into where a finding points.

    Parameters
    ----------
    path : str
        The folder, or the one file.
    encodings : mapping of str to str
        What was understood of each file.
    """

    def __init__(self, path: str, encodings: Mapping[str, str]) -> None:
        self._path = Path(path)
        self._encodings = encodings
        self._found: dict[str, dict[int, str]] = {}

    def look_up(self, positions: Iterable[tuple[str, int | None]]) -> None:
        """Read the lines at some places (file and line number), each file once."""
        wanted: dict[str, set[int]] = {}
        for file, number in positions:
            if number is not None:
                wanted.setdefault(file, set()).add(number)
        for file, numbers in wanted.items():
            self._found[file] = self._read(file, numbers)

    def line(self, file: str, number: int | None, value: str = "") -> str:
        """Return a line fit to be printed, cut to the terminal around the value; "" for none."""
        if number is None:
            return ""
        if number not in self._found.get(file, {}):
            self.look_up([(file, number)])
        source = self._found[file].get(number, "")
        if len(source) > _LOOKED_AT:
            # Of a line of megabytes only what is about the value is looked at.
            at = max(0, source.find(value) - _LOOKED_AT // 2)
            source = ("…" if at else "") + source[at : at + _LOOKED_AT] + "…"
        text, value = printable(source.strip("\r\n")), printable(value)
        width = terminal_width() - 8
        start = 0
        if value and text.find(value) + len(value) > width:
            start = max(0, min(text.find(value) - width // 2, len(text) - width + 1))
        end = start + width - (start > 0)
        cut = text[start : end - 1] + "…" if end < len(text) else text[start:]
        return f"…{cut}" if start else cut

    def _read(self, file: str, numbers: set[int]) -> dict[int, str]:
        """Return some of a file's lines, counted as the reading of records counts them."""
        path = self._path / file if self._path.is_dir() else self._path
        code = _CODES.get(self._encodings.get(file, ""), self._encodings.get(file, "utf-8"))
        found: dict[int, str] = {}
        try:
            with path.open(encoding=code, errors="replace") as lines:
                for number, line in enumerate(islice(lines, max(numbers)), 1):
                    if number in numbers:
                        found[number] = line
        except (OSError, LookupError):
            return {}
        return found
