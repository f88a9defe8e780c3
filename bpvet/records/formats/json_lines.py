"""JSON lines to cells: an object a line, or a list of objects; each keeps the line it stands on.

Numbers are taken as they are written and never as a machine's numbers, so that the same checks
see the same text as in a CSV file.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa

from bpvet.reasons import reason
from bpvet.records.cells import TEXT, RawSheet, cell_text, falsehood, some_of
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable, shown
from bpvet.records.formats.encodings import as_utf8

#: Different names that the objects of a file may use, and cells that they may make.
MOST_NAMES = 1000
MOST_CELLS = 20_000_000
_BREAK = re.compile(r"\r\n|\r|\n")
_SPACE = re.compile(r"[ \t\r\n]*")
#: What follows a value on a line of its own, and in a list.
_END = re.compile(r"[ \t]*,?[ \t]*(?=[\r\n]|\Z)")
_NEXT = re.compile(r"\s*(,|(?=\])|\Z)")


class Pairs(list[tuple[str, Any]]):
    """An object of JSON as it stands: its pairs in order, names given twice and all."""


class NotJson(str):
    """A number that JSON does not have, such as NaN, as it stands."""


@dataclass(frozen=True)
class NoValue:
    """A line that holds no value: its text, and what is wrong with it."""

    text: str
    why: str


@dataclass(frozen=True, eq=False)
class Document:
    """The values of a text of JSON, each with its line.

    Parameters
    ----------
    values : list of (int, value)
        Line and value, in order; objects are `Pairs`, and lines without a value `NoValue`.
    fault : (int, str) or None
        Line and what is wrong, where the text as a whole cannot be read.
    """

    values: list[tuple[int, Any]] = field(default_factory=list)
    fault: tuple[int, str] | None = None


def document_of(
    file: str, data: bytes, findings: list[Finding], encoding: str | None = None
) -> Document | None:
    """Return the values of a file of JSON, or None with a stopping finding.

    Parameters
    ----------
    file : str
        Name of the file.
    data : bytes
        One value, a value a line, or a list of values.
    findings : list of Finding
        What is to be said of the file as a whole is added here.
    encoding : str, optional
        As in `bpvet.records.formats.separated.read_sheet`.
    """
    text, _ = as_utf8(file, data, encoding, findings)
    if text is None:
        return None
    held = _values(text.decode("utf-8"))
    if held.fault:
        line, why = held.fault
        findings.append(finding_of(Code.UNSOUND_JSON, file, line, stops=True, why=why))
        return None
    return held


def json_sheet(file: str, table: str, held: Document, findings: list[Finding]) -> RawSheet | None:
    """Return a file's objects as cells, or None with a stopping finding.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it belongs to.
    held : Document
        Its values.
    findings : list of Finding
        What is to be said of the file as a whole is added here.
    """
    names: dict[str, str] = {}
    rows: list[dict[str, str]] = []
    broken: dict[int, tuple[str, str]] = {}
    constants: dict[str, list[int]] = {}
    for line, value in held.values:
        row: dict[str, str] = {}
        text, why = _why_no_row(value)
        if why:
            broken[len(rows)] = text, why
        rows.append(row)
        for name, cell in () if why else value:
            if name not in names:
                names[name] = falsehood(name)
            row[name] = cell_text(cell, names[name])
            if isinstance(cell, NotJson):
                constants.setdefault(name, []).append(line)
        if len(names) > MOST_NAMES:
            break
    if len(names) > MOST_NAMES or len(names) * len(rows) > MOST_CELLS:
        findings.append(finding_of(Code.TOO_MANY_NAMES, file, stops=True))
        return None
    for name, where in constants.items():
        code, lines = Code.NOT_JSON_NUMBERS, some_of(where)
        findings.append(finding_of(code, file, where[0], printable(name), lines=lines))
    if not names:
        findings.append(finding_of(Code.NO_OBJECT, file, stops=True))
        return None
    return RawSheet(
        file,
        table,
        tuple(printable(name) for name in names),
        tuple(pa.array([row.get(name, "") for row in rows], TEXT) for name in names),
        np.array([line for line, _ in held.values], dtype=np.int64),
        broken,
        separator="",
        header_line=None,
    )


def _why_no_row(value: Any) -> tuple[str, str]:
    """Return a value's text and why it cannot be a row; two blanks where it can."""
    if isinstance(value, NoValue):
        return value.text, value.why
    why = "" if isinstance(value, Pairs) and value else reason("row.no_names")
    seen = set()
    for name, cell in value if isinstance(value, Pairs) else ():
        if name in seen:
            why = reason("row.name_twice", name=shown(printable(name), 30))
        seen.add(name)
        if isinstance(cell, Pairs | list):
            code = "row.holds_object" if isinstance(cell, Pairs) else "row.holds_list"
            why = reason(code, name=shown(printable(name), 30))
    if not why:
        return "", ""
    return printable(_as_text(value)[:500]), why


def _as_text(value: Any) -> str:
    """Return a value as it stands, names given twice and all."""
    if not isinstance(value, Pairs):
        return json.dumps(_plain(value), ensure_ascii=False)
    pairs = (
        f"{json.dumps(name, ensure_ascii=False)}: {json.dumps(_plain(cell), ensure_ascii=False)}"
        for name, cell in value[:50]
    )
    return f"{{{', '.join(pairs)}}}"


def _plain(value: Any, deep: int = 0) -> Any:
    if deep > 5:
        return "…"
    if isinstance(value, Pairs):
        return {name: _plain(cell, deep + 1) for name, cell in value}
    return [_plain(cell, deep + 1) for cell in value] if isinstance(value, list) else value


def decoder(pairs: Callable[[list[tuple[str, Any]]], Any] = Pairs) -> json.JSONDecoder:
    """Return a decoder that takes numbers as text.

    Parameters
    ----------
    pairs : function
        Makes an object of its pairs.
    """
    return json.JSONDecoder(
        object_pairs_hook=pairs,
        parse_int=str,
        parse_float=lambda text: cell_text(float(text)),
        parse_constant=NotJson,
    )


def _values(text: str) -> Document:
    """Return the values of a text, one after the other or in a list."""
    held = Document()
    read = decoder()
    place = _skip(text, 0)
    listed = text.startswith("[", place)
    place = _skip(text, place + 1) if listed else place
    line, counted = 1, 0
    by_line = False
    while place < len(text) and not (listed and text[place] == "]"):
        line += _breaks(text, counted, place)
        counted = place
        try:
            value, end = read.raw_decode(text, place)
            follows = (_NEXT if listed else _END).match(text, end)
            if follows is None:
                raise json.JSONDecodeError("more than one value", text, end)
            held.values.append((line, value))
            by_line = by_line or _BREAK.search(text, place, end) is None
            place = _skip(text, follows.end())
        except (json.JSONDecodeError, RecursionError) as error:
            found = _BREAK.search(text, place)
            stop = found.start() if found else len(text)
            bad = text[place:stop]
            if not by_line and not bad.rstrip(" \t,").endswith("}"):
                return Document(fault=_fault(text, error, line))
            deep = isinstance(error, RecursionError)
            why = reason("row.nested" if deep else "row.no_object")
            held.values.append((line, NoValue(printable(bad[:500]), why)))
            by_line = True
            place = _skip(text, stop)
    return held


def _fault(text: str, error: json.JSONDecodeError | RecursionError, line: int) -> tuple[int, str]:
    if isinstance(error, RecursionError):
        return line, reason("json.nested")
    return _breaks(text, 0, error.pos) + 1, error.msg[:1].lower() + error.msg[1:]


def _skip(text: str, place: int) -> int:
    found = _SPACE.match(text, place)
    return found.end() if found else place


def _breaks(text: str, start: int, end: int) -> int:
    """Return the line breaks between two places; a pair of them counts once."""
    return sum(1 for _ in _BREAK.finditer(text, start, end))


def objects(held: Document) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield the objects of a document as plain ones with their lines; of names the last counts."""
    for line, value in held.values:
        if isinstance(value, Pairs):
            yield line, unpaired(value)


def unpaired(value: Any) -> Any:
    """Return a value with plain objects in place of `Pairs`."""
    if isinstance(value, Pairs):
        return {name: unpaired(cell) for name, cell in value}
    return [unpaired(cell) for cell in value] if isinstance(value, list) else value
