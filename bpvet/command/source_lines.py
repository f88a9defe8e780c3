"""Lines of the input as they stand, to be shown beside a finding. Standard library only."""

from __future__ import annotations

import io
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from bpvet.command.output import printable, terminal_width

_CODES = {"UTF-8 with a mark": "utf-8-sig", "UTF-8": "utf-8", "UTF-16": "utf-16"}


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
        self._place = Path(path)
        self._encodings = encodings
        self._lines = lru_cache(maxsize=8)(self._read)

    def line(self, file: str, number: int | None, value: str = "") -> str:
        """Return a line fit to be printed, cut to the terminal around the value; "" for none."""
        lines = self._lines(file)
        if number is None or not 1 <= number <= len(lines):
            return ""
        text, value = printable(lines[number - 1].strip("\r\n")), printable(value)
        width = terminal_width() - 8
        start = 0
        if value and text.find(value) + len(value) > width:
            start = max(0, min(text.find(value) - width // 2, len(text) - width + 1))
        end = start + width - (start > 0)
        cut = text[start : end - 1] + "…" if end < len(text) else text[start:]
        return f"…{cut}" if start else cut

    def _read(self, file: str) -> list[str]:
        """Return a file's lines, counted as the reading of records counts them."""
        place = self._place / file if self._place.is_dir() else self._place
        code = _CODES.get(self._encodings.get(file, ""), self._encodings.get(file, "utf-8"))
        try:
            text = place.read_bytes().decode(code, errors="replace")
        except (OSError, LookupError):
            return []
        return io.StringIO(text, newline=None).readlines()
