"""A workbook's parts looked over before any of them is opened: sizes, depth, what is odd in them.

A workbook is a zip archive of XML. Ten megabytes of it can claim to hold many gigabytes, nest
without end, or name things on other machines. All parts are therefore streamed through a parser
that keeps nothing and refuses a document type with whatever it would declare or fetch, and
everything is counted. On the way it is noted what a reading of the values alone would not show:
hidden rows, merged cells, error cells, and formulas without a stored value. Parts of plain XML are
looked at many tags at once (`plain_sheets`), any other tag by tag.
"""

from __future__ import annotations

import io
import re
import struct
import xml.parsers.expat
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.formats.workbook.names import RELATIONS, WORKBOOK
from bpvet.records.formats.workbook.oddities import Oddities, Reach
from bpvet.records.formats.workbook.plain_sheets import (
    KEPT,
    MOST_ROWS,
    Plain,
    PlainSheet,
    PlainTexts,
)
from bpvet.records.formats.workbook.tags import Unusual

#: Bytes of all parts together when unpacked, elements in them, and how deep they may nest.
MOST_BYTES = 256 << 20
MOST_ELEMENTS = 12_000_000
#: Elements that any workbook may have; more only if it has as many bytes. Sheets that people fill
#: pack one element into two bytes or more.
_SOME_ELEMENTS = 3_000_000
MOST_DEEP = 64
#: Bytes of the texts of a sheet's cells, those that they share counted wherever they stand.
MOST_TEXT = 128 << 20
_CHUNK = 1 << 18
_LOCAL_HEADER = b"PK\3\4"
TEXTS = "xl/sharedStrings.xml"
_READ_BY_NAME = {WORKBOOK, RELATIONS, TEXTS, "xl/styles.xml"}
_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")


class NotOpened(Exception):
    """It is no workbook, or one of which no more is read: the finding's code and values."""

    def __init__(self, code: Code, **values: float) -> None:
        super().__init__(code, values)
        self.code, self.values = code, tuple(values.items())


@dataclass(eq=False)
class Parts:
    """What the parts of a workbook were found to hold, by their names.

    Parameters
    ----------
    oddities : dict of str to Oddities
        What is odd in each part.
    reaches : dict of str to Reach
        How far each sheet of plain XML reaches.
    kept : dict of str to bytes
        The parts that list the sheets.
    usual : bool
        Whether the archive, and all of its parts but the sheets, are in the usual form.
    """

    oddities: dict[str, Oddities] = field(default_factory=dict)
    reaches: dict[str, Reach] = field(default_factory=dict)
    kept: dict[str, bytes] = field(default_factory=dict)
    usual: bool = False


def looked_over(file: str, data: bytes, findings: list[Finding]) -> Parts | None:
    """Return what the parts of a workbook hold, or None where it is not to be opened.

    Parameters
    ----------
    file : str
        Name of the file, for the findings.
    data : bytes
        Its content.
    findings : list of Finding
        A stopping finding is added here where the workbook is not to be opened.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            _refuse_others(archive)
            return _scanned(archive, data)
    except NotOpened as error:
        findings.append(Finding(file, None, "", "", error.code, error.values, stops=True))
        return None
    except xml.parsers.expat.ExpatError:
        code = Code.UNSOUND_PART
    except NotImplementedError:
        code = Code.UNKNOWN_PACKING
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError):
        # The library raises these and no others for what is not sound in an archive.
        code = Code.ARCHIVE_DAMAGED
    findings.append(finding_of(code, file, stops=True))
    return None


def _refuse_others(archive: zipfile.ZipFile) -> None:
    """Refuse an archive that is no workbook, or one that is not opened."""
    parts = archive.infolist()
    names = [member.filename for member in parts]
    if any(member.flag_bits & 1 for member in parts):
        raise NotOpened(Code.ARCHIVE_PROTECTED)
    if "xl/workbook.bin" in names:
        raise NotOpened(Code.BINARY_WORKBOOK)
    if "content.xml" in names and "mimetype" in names:
        raise NotOpened(Code.OPEN_DOCUMENT)
    if "word/document.xml" in names:
        raise NotOpened(Code.WORD_DOCUMENT)
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        raise NotOpened(Code.NO_WORKBOOK)
    if len(set(names)) < len(names):
        raise NotOpened(Code.PARTS_OF_ONE_NAME)
    if sum(member.file_size for member in parts) > MOST_BYTES:
        raise NotOpened(Code.PARTS_TOO_LARGE, megabytes=MOST_BYTES >> 20)


def _scanned(archive: zipfile.ZipFile, data: bytes) -> Parts:
    """Stream every part of XML once, or twice where it is not plain."""
    found = Parts()
    plain: dict[str, Plain] = {}
    size = elements = 0
    parts = [
        member
        for member in archive.infolist()
        if member.filename.lower().endswith((".xml", ".rels", ".vml"))
    ]
    for member in parts:
        name = member.filename
        size += member.file_size
        try:
            looked = _plainly(member, data, elements)
        except (Unusual, xml.parsers.expat.ExpatError):
            scan = _slowly(member, data, elements)
            elements = scan.elements
            found.oddities[name] = scan.oddities
            continue
        elements += looked.elements + looked.entities
        plain[name] = looked
        found.oddities[name] = looked.oddities if isinstance(looked, PlainSheet) else Oddities()
    if not _is_usual(archive, data) or not _READ_BY_NAME & {*archive.namelist()} <= plain.keys():
        return found
    texts = plain.get(TEXTS)
    lengths = texts.lengths() if isinstance(texts, PlainTexts) else np.zeros(0, dtype=np.int64)
    for name, looked in plain.items():
        if isinstance(looked, PlainSheet) and _has_texts(looked, lengths):
            found.reaches[name] = looked.reach
    found.kept = {name: plain[name].first for name in (WORKBOOK, RELATIONS) if name in plain}
    found.usual = len(found.kept) == 2
    return found


def _plainly(member: zipfile.ZipInfo, data: bytes, so_far: int) -> Plain:
    """Return what a part of plain XML holds."""
    name = member.filename
    is_sheet = name.startswith("xl/worksheets/") and not name.endswith(".rels")
    looked = PlainSheet() if is_sheet else PlainTexts() if name == TEXTS else Plain()
    parser = _parser()
    for chunk in unpacked(data, member):
        parser.Parse(chunk, False)
        looked.feed(chunk)
        _limit(so_far + looked.elements + looked.entities, looked.deepest, len(data))
    parser.Parse(b"", True)
    looked.feed(b"", last=True)
    _limit(so_far + looked.elements + looked.entities, looked.deepest, len(data))
    return looked


def _slowly(member: zipfile.ZipInfo, data: bytes, so_far: int) -> _Scan:
    """Return a part as it is found tag by tag."""
    opened = so_far
    for chunk in unpacked(data, member):
        # What holds far too much is refused before it is parsed, which takes much longer.
        opened += chunk.count(b"<") - chunk.count(b"</")
        _limit(opened, 0, len(data))
    scan = _Scan(member.filename.startswith("xl/worksheets/"), so_far, len(data))
    for chunk in unpacked(data, member):
        scan.feed(chunk)
    scan.feed(b"", last=True)
    return scan


def _limit(elements: int, deepest: int, size: int) -> None:
    most = min(MOST_ELEMENTS, max(_SOME_ELEMENTS, size))
    if elements > most:
        # A cell has its own element and that of its value.
        raise NotOpened(Code.TOO_MANY_CELLS, cells=most / 2)
    if deepest > MOST_DEEP:
        raise NotOpened(Code.NESTED_TOO_DEEPLY)


def _has_texts(sheet: PlainSheet, lengths: NDArray[np.int64]) -> bool:
    """Return whether all shared texts that a sheet names are there; too much text is refused."""
    used = np.flatnonzero(sheet.named)
    if len(used) and used[-1] >= len(lengths):
        return False
    if sheet.text + int((sheet.named[used] * lengths[used]).sum()) > MOST_TEXT:
        raise NotOpened(Code.TOO_MUCH_TEXT, megabytes=MOST_TEXT >> 20)
    return True


def _is_usual(archive: zipfile.ZipFile, data: bytes) -> bool:
    """Return whether all readers of archives find the same parts in this one."""
    names = archive.namelist()
    end = data[-22:]
    return (
        len({name.lower() for name in names}) == len(names)
        and not any("\\" in name for name in names)
        and data[:4] == _LOCAL_HEADER
        and end[:4] == b"PK\5\6"
        and archive.start_dir + int.from_bytes(end[12:16], "little") == len(data) - 22
        and archive.start_dir == int.from_bytes(end[16:20], "little")
        and data.count(b"PK\5\6") == 1
    )


def unpacked(data: bytes, member: zipfile.ZipInfo) -> Iterator[bytes]:
    """Yield the bytes of a part of an archive, which are what the archive says they are.

    Raises
    ------
    NotOpened
        If the part goes on after the size that is said of it.
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError
        If it is damaged, or packed in another way than by DEFLATE.
    """
    head = data[member.header_offset : member.header_offset + 30]
    if head[:4] != _LOCAL_HEADER or len(head) < 30:
        raise zipfile.BadZipFile
    start = member.header_offset + 30 + sum(struct.unpack("<HH", head[26:30]))
    packed = memoryview(data)[start : start + member.compress_size]
    if len(packed) < member.compress_size:
        raise EOFError
    if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        # What `zipfile` raises for these, so that its own refusals and ours end in one message.
        raise NotImplementedError
    size = check = 0
    for chunk in _inflated(packed) if member.compress_type else _cut(packed):
        size += len(chunk)
        check = zlib.crc32(chunk, check)
        if size > min(member.file_size, MOST_BYTES):
            raise NotOpened(Code.MORE_THAN_STATED)
        yield chunk
    if size < member.file_size or check != member.CRC:
        raise zipfile.BadZipFile


def _cut(packed: memoryview) -> Iterator[bytes]:
    for at in range(0, len(packed), _CHUNK):
        yield bytes(packed[at : at + _CHUNK])


def _inflated(packed: memoryview) -> Iterator[bytes]:
    inflate = zlib.decompressobj(-zlib.MAX_WBITS)
    for given in _cut(packed):
        while not inflate.eof:
            yield (out := inflate.decompress(given, _CHUNK))
            given = inflate.unconsumed_tail
            if not given and len(out) < _CHUNK:
                break
    if not inflate.eof:
        raise EOFError


def _parser() -> xml.parsers.expat.XMLParserType:
    parser = xml.parsers.expat.ParserCreate()
    parser.StartDoctypeDeclHandler = parser.EntityDeclHandler = _refuse
    return parser


def _refuse(*_: object) -> None:
    raise NotOpened(Code.DOCUMENT_TYPE)


class _Scan:
    """One part streamed through a parser that counts, and notes what is odd in a sheet."""

    def __init__(self, sheet: bool, so_far: int, size: int) -> None:
        self.oddities = Oddities()
        self.elements = so_far
        self._size = size
        self._depth = 0
        self._row = 0
        self._cell = ""
        self._formula = self._value = False
        parser = _parser()
        parser.StartElementHandler = self._start_in_sheet if sheet else self._start
        parser.EndElementHandler = self._end_in_sheet if sheet else self._end
        self._parser = parser

    def feed(self, chunk: bytes, last: bool = False) -> None:
        """Take the next bytes of the part."""
        self._parser.Parse(chunk, last)

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.elements += 1
        self._depth += 1
        if self._depth > MOST_DEEP or self.elements > _SOME_ELEMENTS:
            _limit(self.elements, self._depth, self._size)

    def _end(self, name: str) -> None:
        self._depth -= 1

    def _start_in_sheet(self, name: str, attributes: dict[str, str]) -> None:
        self._start(name, attributes)
        local = name.rpartition(":")[2]
        if local == "c":
            self._cell = attributes.get("r", "")
            self._formula = self._value = False
            if attributes.get("t") == "e" and len(self.oddities.errors) < KEPT:
                self.oddities.errors.append(self._cell)
        elif self._formula and local == "v":
            # An empty element is no value; the text is looked at where it matters only.
            self._parser.CharacterDataHandler = self._found
        elif local == "f":
            self._formula = True
        elif local == "row":
            given = attributes.get("r", str(self._row + 1))
            self._row = int(given) if given.isdecimal() and len(given) < 9 else MOST_ROWS + 1
            if self._row > MOST_ROWS:
                raise NotOpened(Code.ROW_NUMBER, most=MOST_ROWS)
            if attributes.get("hidden") in ("1", "true"):
                self.oddities.hidden_rows.append(self._row)
        elif local == "mergeCell" and len(self.oddities.merged) < KEPT:
            self.oddities.merged.append(attributes.get("ref", ""))

    def _found(self, text: str) -> None:
        self._value = True
        self._parser.CharacterDataHandler = None

    def _end_in_sheet(self, name: str) -> None:
        self._depth -= 1
        if self._formula and name.rpartition(":")[2] == "c":
            # What is looked at tag by tag is read by openpyxl too.
            from openpyxl.utils import column_index_from_string

            cell = _CELL.fullmatch(self._cell)
            if not self._value and cell:
                if len(self.oddities.without_value) > KEPT:
                    raise NotOpened(Code.NO_STORED_VALUES)
                column = column_index_from_string(cell[1])
                self.oddities.without_value[int(cell[2]), column] = self._cell
            self._formula = False
            self._parser.CharacterDataHandler = None
