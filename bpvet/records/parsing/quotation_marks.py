"""Quotation marks in a text with separators: whether they are sound, and what to make of others."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

LINE_BREAK = r"\r\n|\r|\n"
#: A quoted cell longer than this is taken for a quotation mark that was never closed.
LONGEST_CELL = 100_000


def marks_are_sound(text: bytes, separator: str) -> bool:
    """Whether every quotation mark opens a cell, closes one, or is doubled within one."""
    if b'"' not in text:
        return True
    at = np.frombuffer(text, np.uint8)
    marks = np.flatnonzero(at == ord('"'))
    if len(marks) % 2:
        return False
    edges = np.zeros(256, bool)
    edges[[ord(separator), 10, 13]] = True
    opening, closing = marks[0::2], marks[1::2]
    before = edges[at[np.maximum(opening - 1, 0)]] | (opening == 0)
    after = edges[at[np.minimum(closing + 1, len(at) - 1)]]
    doubled = closing[:-1] + 1 == opening[1:]
    before[1:] |= doubled
    after[:-1] |= doubled
    return bool(before.all() and after.all())


def records_of_text(text: str, separator: str) -> Iterator[tuple[int, list[str] | None, str]]:
    """Yield (line, fields, text) for each record; fields are None where marks do not close."""
    sep = re.escape(separator)
    quoted = re.compile(rf'"((?:[^"]|""){{0,{LONGEST_CELL}}}+)"(?={sep}|\r|\n|\Z)')
    bare = re.compile(rf"[^{sep}\r\n]*")
    end = re.compile(LINE_BREAK)
    position, line = 0, 1
    while position < len(text):
        start = position
        fields: list[str] | None = []
        while True:
            cell = (
                quoted.match(text, position)
                if text.startswith('"', position)
                else bare.match(text, position)
            )
            if cell is None or fields is None:
                fields = None
                break
            value = cell.group(1).replace('""', '"') if cell.re is quoted else cell.group()
            fields.append(value)
            position = cell.end()
            if not text.startswith(separator, position):
                break
            position += 1
        if fields is None:
            # Give up this line only, so that an unclosed mark cannot swallow the rest.
            position = start
            stop = end.search(text, position)
        else:
            stop = end.match(text, position)
        finish = stop.start() if stop else len(text)
        raw = text[start:finish]
        yield line, fields, raw
        line += len(end.findall(raw)) + 1
        position = stop.end() if stop else len(text)
