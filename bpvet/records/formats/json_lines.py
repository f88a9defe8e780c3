"""JSON lines to cells: an object a line, or a list of objects; each keeps the line it stands on.

Numbers are taken as they are written and never as a machine's numbers, so that the same checks
see the same text as in a CSV file.
"""

from __future__ import annotations

import codecs
import json
import re
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.frozen import dataclass, field
from bpvet.reasons import reason
from bpvet.records.cells import TEXT, RawSheet, cell_text, falsehood, some_of
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, printable, shown
from bpvet.records.formats.blocks import BLOCK, Blocks, NotPlainError
from bpvet.records.formats.encodings import as_utf8
from bpvet.records.formats.forms import form_of
from bpvet.records.formats.gathered_columns import GatheredColumn
from bpvet.records.parsing.columns import repeats

#: Different names that the objects of a file may use, and cells that they may make: so many, or so
#: many for each value that the file gives. In a real table most cells are given.
MOST_NAMES = 1000
MOST_CELLS, CELLS_A_VALUE = 20_000_000, 4
#: Bytes of a value that goes over several lines, beyond which the text is read whole.
LONGEST_VALUE = 1 << 22
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
    document = _values(text.decode("utf-8"))
    if document.fault:
        line, why = document.fault
        findings.append(finding_of(Code.UNSOUND_JSON, file, line, stops=True, why=why))
        return None
    return document


def json_sheet(
    file: str, table: str, document: Document, findings: list[Finding]
) -> RawSheet | None:
    """Return a file's objects as cells, or None with a stopping finding.

    Parameters
    ----------
    file, table : str
        Name of the file; the table that it belongs to.
    document : Document
        Its values.
    findings : list of Finding
        What is to be said of the file as a whole is added here.
    """
    columns = _Columns()
    columns.add(document.values)
    return columns.sheet(file, table, findings)


def read_large_lines(
    file: str, table: str, path: Path, findings: list[Finding]
) -> tuple[list[RawSheet], int, bytes] | None:
    """Return the cells, the size and the sha256 of a large file of JSON lines, never held whole.

    Parameters
    ----------
    file, table, findings
        As in `json_sheet`.
    path : Path
        Where it lies.

    Returns
    -------
    list of RawSheet, int, bytes
        One sheet, or none with a stopping finding; None alone, with nothing said, where the whole
        text is needed: for a list, for resources of FHIR, and for what is no JSON.
    """
    columns = _Columns()
    try:
        with path.open("rb", buffering=0) as opened:
            blocks = Blocks(opened, quoted=True, marked=True)
            if form_of(blocks.top) != "json":
                return None
            for values in _values_of_blocks(blocks):
                columns.add(values)
            told: list[Finding] = []
            sheet = columns.sheet(file, table, told)
            size, sha256 = blocks.end()
    except (NotPlainError, OSError):
        return None
    findings += told
    return [] if sheet is None else [sheet], size, sha256


class _Columns:
    """The cells of objects, a column for each name, which grow some objects at a time."""

    def __init__(self) -> None:
        self._names: dict[str, str] = {}
        self._columns: dict[str, GatheredColumn] = {}
        self._coded: dict[str, bool] = {}
        self._lines: list[NDArray[np.int64]] = [np.zeros(0, np.int64)]
        self._broken: dict[int, tuple[str, str]] = {}
        self._constants: dict[str, list[int]] = {}
        self._rows, self._given, self._too_many = 0, 0, False

    def add(self, values: Iterable[tuple[int, Any]]) -> None:
        """Add the next values, each with its line; nothing more once there are too many names."""
        lines: list[int] = []
        rows: list[dict[str, str]] = []
        names = self._names
        for line, value in values:
            if self._too_many or len(names) > MOST_NAMES:
                continue
            lines.append(line)
            row: dict[str, str] = dict(value) if isinstance(value, Pairs) else {}
            # Most objects hold texts, or nothing, under names that are known, each once.
            known = 0 < len(row) == len(value) and row.keys() <= names.keys()
            if known and set(map(type, row.values())) <= {str, type(None)}:
                rows.append(row)
                continue
            row = {}
            text, why = _why_no_row(value)
            if why:
                self._broken[self._rows + len(rows)] = text, why
            rows.append(row)
            for name, cell in () if why else value:
                if name not in names:
                    names[name] = falsehood(name)
                row[name] = cell_text(cell, names[name])
                if isinstance(cell, NotJson):
                    self._constants.setdefault(name, []).append(line)
        many = self._rows + len(rows)
        self._given += sum(map(len, rows))
        most = max(MOST_CELLS, CELLS_A_VALUE * self._given)
        self._too_many |= len(names) > MOST_NAMES or len(names) * many > most
        if self._too_many:
            self._columns.clear()
            return
        for name in names:
            cells = _texts([row.get(name) or "" for row in rows])
            if name not in self._columns:
                self._columns[name], self._coded[name] = GatheredColumn(), repeats(cells)
                if self._rows:
                    self._grow(name, pa.array([""], TEXT).take(pa.array([0] * self._rows)))
            self._grow(name, cells)
        self._lines.append(np.array(lines, dtype=np.int64))
        self._rows = many

    def _grow(self, name: str, cells: pa.Array) -> None:
        self._columns[name].add(cells.dictionary_encode() if self._coded[name] else cells)

    def sheet(self, file: str, table: str, findings: list[Finding]) -> RawSheet | None:
        """Return all cells, or None with a stopping finding; arguments as in `json_sheet`."""
        if self._too_many:
            findings.append(finding_of(Code.TOO_MANY_NAMES, file, stops=True))
            return None
        for name, where in self._constants.items():
            code, lines = Code.NOT_JSON_NUMBERS, some_of(where)
            findings.append(finding_of(code, file, where[0], printable(name), lines=lines))
        if not self._names:
            findings.append(finding_of(Code.NO_OBJECT, file, stops=True))
            return None
        return RawSheet(
            file,
            table,
            tuple(map(printable, self._names)),
            tuple(self._columns[name].taken() for name in self._names),
            np.concatenate(self._lines),
            self._broken,
            separator="",
            header_line=None,
        )


def _texts(cells: list[str]) -> pa.Array:
    try:
        return pa.array(cells, TEXT)
    except UnicodeEncodeError:
        return pa.array(list(map(cell_text, cells)), TEXT)


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
    offset = _skip(text, 0)
    listed = text.startswith("[", offset)
    reading = _Reading()
    values = list(reading.values(text, offset + 1 if listed else offset, listed=listed))
    return Document(fault=reading.fault) if reading.fault else Document(values)


def _values_of_blocks(blocks: Blocks) -> Iterator[Iterator[tuple[int, Any]]]:
    """Yield the values of lines with their lines, a block at a time; each is used up at once.

    Raises
    ------
    NotPlainError
        They stand in a list or are resources of FHIR, one of them goes on and on, or the text
        cannot be read.
    """
    top = blocks.top.removeprefix(codecs.BOM_UTF8)
    if top.lstrip().startswith(b"["):
        raise NotPlainError
    blocks.skip(len(blocks.top) - len(top))
    reading = _Reading()
    begun, new = b"", b"\n"
    while new:
        new = bytes(blocks.read(BLOCK))
        text = begun + new
        # Of a line break of two letters the second may come with the next block.
        end = max(text.rfind(b"\n"), text.rfind(b"\r", 0, -1)) + 1 if new else len(text)
        begun = text[end:]
        yield reading.values(reading.rest + text[:end].decode("utf-8"), more=bool(new))
        if reading.fault or reading.of_fhir or len(begun) + len(reading.rest) > LONGEST_VALUE:
            raise NotPlainError


class _Reading:
    """Where the reading of a text of JSON stands.

    Attributes
    ----------
    line : int
        Where the next piece of the text begins.
    by_line : bool
        Whether a value has been met that stands on one line.
    of_fhir : bool or None
        Whether the first object names the type of a resource; None before any.
    rest : str
        What is left of the piece, where its last value may go on in the next.
    fault : (int, str) or None
        As in `Document`.
    """

    def __init__(self) -> None:
        self.line, self.by_line, self.rest = 1, False, ""
        self.of_fhir: bool | None = None
        self.fault: tuple[int, str] | None = None
        self._read = decoder()

    def values(
        self, text: str, offset: int = 0, *, listed: bool = False, more: bool = False
    ) -> Iterator[tuple[int, Any]]:
        """Yield the values of the next piece with their lines, none of which is kept.

        Parameters
        ----------
        text : str
            The piece, of whole lines.
        offset : int
            Where it is begun with.
        listed : bool
            Whether the values stand in a list.
        more : bool
            Whether the text goes on: the last value is then left, if it may do so too.
        """
        self.rest = ""
        counted, full = 0, len(text.rstrip(" \t\r\n")) if more else len(text) + 1
        offset = _skip(text, offset)
        while offset < len(text) and not (listed and text[offset] == "]"):
            self.line += _breaks(text, counted, offset)
            counted = offset
            try:
                value, end = self._read.raw_decode(text, offset)
                follows = (_NEXT if listed else _END).match(text, end)
                if follows is None:
                    raise json.JSONDecodeError("more than one value", text, end)
                self.by_line = self.by_line or _BREAK.search(text, offset, end) is None
                offset = _skip(text, follows.end())
                if self.of_fhir is None and isinstance(value, Pairs):
                    self.of_fhir = isinstance(dict(value).get("resourceType"), str)
            except (json.JSONDecodeError, RecursionError) as error:
                if isinstance(error, json.JSONDecodeError) and error.pos >= full:
                    self.rest = text[offset:]
                    return
                found = _BREAK.search(text, offset)
                stop = found.start() if found else len(text)
                bad = text[offset:stop]
                if not self.by_line and not bad.rstrip(" \t,").endswith("}"):
                    self.fault = _fault(text, error, self.line)
                    return
                deep = isinstance(error, RecursionError)
                why = reason("row.nested" if deep else "row.no_object")
                value = NoValue(printable(bad[:500]), why)
                self.by_line = True
                offset = _skip(text, stop)
            yield self.line, value
        self.line += _breaks(text, counted, len(text))


def _fault(text: str, error: json.JSONDecodeError | RecursionError, line: int) -> tuple[int, str]:
    if isinstance(error, RecursionError):
        return line, reason("json.nested")
    return _breaks(text, 0, error.pos) + 1, error.msg[:1].lower() + error.msg[1:]


def _skip(text: str, offset: int) -> int:
    found = _SPACE.match(text, offset)
    return found.end() if found else offset


def _breaks(text: str, start: int, end: int) -> int:
    """Return the line breaks between two places; a pair of them counts once."""
    single = text.count("\n", start, end) + text.count("\r", start, end)
    return single - text.count("\r\n", start, end)


def objects(document: Document) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield the objects of a document as plain ones with their lines; of names the last counts."""
    for line, value in document.values:
        if isinstance(value, Pairs):
            yield line, unpaired(value)


def unpaired(value: Any) -> Any:
    """Return a value with plain objects in place of `Pairs`."""
    if isinstance(value, Pairs):
        return {name: unpaired(cell) for name, cell in value}
    return [unpaired(cell) for cell in value] if isinstance(value, list) else value
