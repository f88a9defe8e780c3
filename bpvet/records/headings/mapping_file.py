"""The small TOML file beside the records: what it may say.

It says how files are written, for all files, for a table or for one file; what is wrong in it is
refused by its line.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.frozen import dataclass, field
from bpvet.reading_back import ReadBackError, text_of_file, toml_table
from bpvet.records.findings import printable, shown
from bpvet.records.formats.encodings import encoding_trouble
from bpvet.records.headings.near_names import did_you_mean, either, nearest
from bpvet.records.headings.settled import FILE_AN_ANIMAL, UNUSED
from bpvet.records.read_options import DATE_ORDERS, UNITS
from bpvet.records.tables import TABLES, column_named, known_columns

#: Layouts that a file of readings may have, as they are said.
LAYOUTS = {
    "plain": "one row a reading",
    "wide": "one row a session, its readings side by side",
    "list": "one row a session, its readings in one cell",
    "summary": "one row a session, its mean and count",
    "across": "one column a date",
    "chart": "one chart line a session",
}
_KEYS = ("columns", "dates", "unit", "encoding", "layout", "every_row")


@dataclass(frozen=True)
class Convention:
    """What is settled for one file, one table, or all.

    Parameters
    ----------
    columns : mapping of str to str
        Their headings to our names, or to `UNUSED`.
    dates, unit : str
        As in `ReadOptions`; "" where nothing is said.
    encoding : str
        Of a file that is not UTF-8 and bears no mark; "" where nothing is said.
    layout : tuple of str
        Values of `LAYOUTS`, or `FILE_AN_ANIMAL`: what the file is said to be.
    every_row : mapping of str to str
        Cells, by our column names, that hold for every row of a file without the column.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    dates: str = ""
    unit: str = ""
    encoding: str = ""
    layout: tuple[str, ...] = ()
    every_row: Mapping[str, str] = field(default_factory=dict)

    def over(self, fallback: Convention) -> Convention:
        """Return this convention, and `other` where this one says nothing."""
        return Convention(
            {**fallback.columns, **self.columns},
            self.dates or fallback.dates,
            self.unit or fallback.unit,
            self.encoding or fallback.encoding,
            self.layout or fallback.layout,
            {**fallback.every_row, **self.every_row},
        )


def not_ours(name: str) -> str:
    """Return what is wrong with a name that a heading is to be read as, "" if nothing."""
    if name == UNUSED or any(column_named(table, name) == name for table in TABLES):
        return ""
    names = [known for table in TABLES for known in known_columns(table)]
    return f'"{name}" is not a column known here. {did_you_mean(nearest(name, names))}'.rstrip()


def line_of(text: str, key: str) -> int | None:
    """Return the line of a TOML text on which a key stands, None if it cannot be found."""
    bare = re.escape(key)
    quoted = rf"\"{bare}\"|'{bare}'|(?<![\w\-\"']){bare}(?![\w\-\"'])"
    for number, line in enumerate(text.splitlines(), start=1):
        if re.search(rf"(?:{quoted})\s*(?:=|\.|\])", line):
            return number
    return None


def text_of(path: Path) -> str:
    """Return the text of a file.

    Raises
    ------
    CallError
        It cannot be read, or is no text of a length that names columns.
    """
    name = printable(path.name)
    try:
        return text_of_file(path)
    except OSError as error:
        raise CallError(f"{name} cannot be read: {error.strerror}.") from None
    except ReadBackError as error:
        raise CallError(f"{name} {error}.") from None


@dataclass(frozen=True)
class MappingFile:
    """What a TOML file says.

    Parameters
    ----------
    everywhere : Convention
        Of all files.
    tables, files : mapping of str to Convention
        Of a table, and of one file.
    """

    everywhere: Convention = field(default_factory=Convention)
    tables: Mapping[str, Convention] = field(default_factory=dict)
    files: Mapping[str, Convention] = field(default_factory=dict)

    @property
    def parts(self) -> tuple[Convention, ...]:
        """All that it says."""
        return (self.everywhere, *self.tables.values(), *self.files.values())


def parsed(name: str, text: str) -> MappingFile:
    """Return what a TOML text says.

    Raises
    ------
    CallError
        It is no TOML, or says something that is not understood; the line is named.
    """
    name = printable(name)
    try:
        entries = toml_table(text)
    except ReadBackError as error:
        raise CallError(f"{name} {error}.") from None
    tables = {table: entries.pop(table) for table in TABLES if table in entries}
    files = entries.pop("file", {})
    reader = _Reader(name, text)
    if not isinstance(files, dict):
        reader.refuse("file", 'write [file."visits.csv"] and what holds for that file below it.')
    return MappingFile(
        reader.convention(entries, (*_KEYS, *TABLES, "file")),
        {table: reader.convention(entries, _KEYS, table) for table, entries in tables.items()},
        {
            str(file): reader.convention(entries, _KEYS, str(file))
            for file, entries in files.items()
        },
    )


@dataclass(frozen=True)
class _Reader:
    """Reads the parts of one TOML file, and refuses what is wrong by its line."""

    name: str
    text: str

    def refuse(self, key: str, words: str) -> None:
        """Raise the `CallError` that names the line of a key."""
        line = line_of(self.text, key)
        path = self.name if line is None else f"{self.name}, line {line}"
        raise CallError(f"{path}: {words}")

    def convention(self, entries: Any, known: Sequence[str], key: str = "") -> Convention:
        """Return one part of the file as a convention."""
        if not isinstance(entries, dict):
            self.refuse(key, f'"{key}" is a table: write [{key}] and what holds for it below.')
        for name in entries:
            if name not in known:
                hint = did_you_mean(nearest(name, known))
                self.refuse(name, f'"{name}" is not known here. {hint}'.rstrip())
        return Convention(
            self._texts(entries, "columns"),
            self._one_of(entries, "dates", tuple(DATE_ORDERS)),
            self._one_of(entries, "unit", UNITS),
            self._encoding(entries.get("encoding", "")),
            self._layout(entries.get("layout", ())),
            self._texts(entries, "every_row"),
        )

    def _one_of(self, entries: Mapping[str, Any], key: str, words: Sequence[str]) -> str:
        value = entries.get(key, "")
        if value != "" and value not in words:
            self.refuse(key, f"{key} is {either(words)}, not {shown(str(value))}.")
        return str(value)

    def _encoding(self, value: Any) -> str:
        if not isinstance(value, str):
            self.refuse("encoding", 'encoding is a text such as "cp1252".')
        if value and (wrong := encoding_trouble(value)):
            self.refuse("encoding", wrong)
        return str(value)

    def _layout(self, value: Any) -> tuple[str, ...]:
        words = (*LAYOUTS.values(), FILE_AN_ANIMAL)
        given = tuple(value) if isinstance(value, list | tuple) else (value,)
        for word in given:
            if word not in words:
                self.refuse("layout", f"layout is {either(words)}, not {shown(str(word))}.")
        return given

    def _texts(self, entries: Mapping[str, Any], key: str) -> dict[str, str]:
        """Return a table of texts; in ``columns`` the values, else the keys, are our names."""
        entries = entries.get(key, {})
        if not isinstance(entries, dict):
            self.refuse(key, f"{key} is a table of texts.")
        for left, right in entries.items():
            if not isinstance(right, str):
                self.refuse(left, f"{shown(left)} is given a text in quotation marks.")
            if wrong := not_ours(right if key == "columns" else left):
                self.refuse(left, wrong)
        if key == "columns":
            return {left.strip(): right for left, right in entries.items()}
        return dict(entries)
