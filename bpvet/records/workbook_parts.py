"""A workbook's parts looked over before any of them is opened: sizes, depth, what is odd in them.

A workbook is a zip archive of XML. Ten megabytes of it can claim to hold many gigabytes, nest
without end, or name things on other machines. All parts are therefore streamed once through a
parser that keeps nothing, counts everything, and refuses a document type with whatever it would
declare or fetch. On the way it notes what a reading of the values alone would not show: hidden
rows, merged cells, error cells, and formulas without a stored value.
"""

from __future__ import annotations

import io
import re
import xml.parsers.expat
import zipfile
import zlib
from dataclasses import dataclass, field

from bpvet.records.findings import Finding, whole

#: Bytes of all parts together when unpacked, elements in them, and how deep they may nest.
MOST_BYTES = 256 << 20
MOST_ELEMENTS = 12_000_000
MOST_DEEP = 64
#: Rows that a sheet can have.
MOST_ROWS = 1 << 20
_KEPT = 100_000
_CHUNK = 1 << 16
_CELL = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")

_MORE_THAN_SAID = "The workbook unpacks to more than it says."
_TOO_MANY = f"The workbook holds more than {MOST_ELEMENTS // 2_000_000} million cells."
SAVE_AS_CSV = "Save the sheet as CSV (UTF-8) and read that."


class _TooMuch(Exception):
    """A part is larger, deeper or otherwise more than is read."""


@dataclass(eq=False)
class Oddities:
    """What is odd in one sheet, by the places of cells such as "B7".

    Parameters
    ----------
    hidden_rows : list of int
        Numbers of the rows that are hidden.
    merged : list of str
        Ranges of merged cells.
    errors : list of str
        Cells that hold an error.
    without_value : dict of (int, int) to str
        By row and column (from 1), cells whose formula has no stored value.
    """

    hidden_rows: list[int] = field(default_factory=list)
    merged: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    without_value: dict[tuple[int, int], str] = field(default_factory=dict)


def looked_over(file: str, data: bytes, findings: list[Finding]) -> dict[str, Oddities] | None:
    """Return what is odd in each part of a workbook, or None where it is not to be opened.

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
            reason, mend = _not_a_workbook(archive)
            if not reason:
                return _scanned(archive)
    except _TooMuch as error:
        reason, mend = str(error), SAVE_AS_CSV
    except xml.parsers.expat.ExpatError:
        reason, mend = "A part of the workbook is not sound XML.", SAVE_AS_CSV
    except NotImplementedError:
        reason, mend = "The workbook is packed in a way that is not read.", SAVE_AS_CSV
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, RuntimeError):
        # The library raises these and no others for what is not sound in an archive.
        reason = "This is a workbook or an archive that is damaged: it cannot be unpacked."
        mend = "Open it in a spreadsheet program and save it again, or take another copy."
    findings.append(whole(file, reason, mend, "workbook not read"))
    return None


def _not_a_workbook(archive: zipfile.ZipFile) -> tuple[str, str]:
    """Return why an archive is not opened and what to do, or two blanks."""
    parts = archive.infolist()
    names = [part.filename for part in parts]
    if any(part.flag_bits & 1 for part in parts):
        return "The archive is protected by a password.", "Save it without a password."
    if "xl/workbook.bin" in names:
        return "This is a binary workbook (.xlsb), which is not read.", "Save it as .xlsx or CSV."
    if "content.xml" in names and "mimetype" in names:
        return "This is an OpenDocument sheet, which is not read.", "Save it as .xlsx or CSV."
    if "word/document.xml" in names:
        mend = "Copy its table into a spreadsheet program and save it as .xlsx or CSV."
        return "This is a text document (.docx), not a table.", mend
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        return "This is an archive, and not a workbook.", "Unpack it and read what is in it."
    if len(set(names)) < len(names):
        return "The workbook is damaged: two of its parts bear one name.", SAVE_AS_CSV
    if sum(part.file_size for part in parts) > MOST_BYTES:
        return (
            f"The workbook unpacks to more than {MOST_BYTES >> 20} MB, which is not read.",
            SAVE_AS_CSV,
        )
    return "", ""


def _scanned(archive: zipfile.ZipFile) -> dict[str, Oddities]:
    """Stream every part of XML once; return what is odd in each sheet."""
    found: dict[str, Oddities] = {}
    size = elements = 0
    parts = [
        part
        for part in archive.infolist()
        if part.filename.lower().endswith((".xml", ".rels", ".vml"))
    ]
    _count(archive, parts)
    for part in parts:
        scan = _Scan(sheet=part.filename.startswith("xl/worksheets/"), so_far=elements)
        with archive.open(part) as stream:
            while chunk := stream.read(_CHUNK):
                size += len(chunk)
                if size > MOST_BYTES:
                    raise _TooMuch(_MORE_THAN_SAID)
                scan.feed(chunk)
        scan.feed(b"", last=True)
        elements = scan.elements
        found[part.filename] = scan.oddities
    return found


def _count(archive: zipfile.ZipFile, parts: list[zipfile.ZipInfo]) -> None:
    """Refuse what holds far too many elements before any is parsed, which takes much longer."""
    size = opened = 0
    for part in parts:
        with archive.open(part) as stream:
            while chunk := stream.read(_CHUNK):
                size += len(chunk)
                opened += chunk.count(b"<") - chunk.count(b"</")
                if opened > MOST_ELEMENTS:
                    raise _TooMuch(_TOO_MANY)
                if size > MOST_BYTES:
                    raise _TooMuch(_MORE_THAN_SAID)


class _Scan:
    """One part streamed through a parser that counts, and notes what is odd in a sheet."""

    def __init__(self, sheet: bool, so_far: int) -> None:
        self.oddities = Oddities()
        self.elements = so_far
        self._depth = 0
        self._row = 0
        self._cell = ""
        self._formula = self._value = False
        parser = xml.parsers.expat.ParserCreate()
        parser.StartDoctypeDeclHandler = self._refuse
        parser.EntityDeclHandler = self._refuse
        parser.StartElementHandler = self._start_in_sheet if sheet else self._start
        parser.EndElementHandler = self._end_in_sheet if sheet else self._end
        self._parser = parser

    def feed(self, chunk: bytes, last: bool = False) -> None:
        """Take the next bytes of the part."""
        self._parser.Parse(chunk, last)

    def _refuse(self, *_: object) -> None:
        raise _TooMuch("A part of the workbook declares a document type, which no workbook needs.")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self.elements += 1
        self._depth += 1
        if self._depth > MOST_DEEP:
            raise _TooMuch("The parts of the workbook are nested deeper than any sheet's are.")
        if self.elements > MOST_ELEMENTS:
            raise _TooMuch(_TOO_MANY)

    def _end(self, name: str) -> None:
        self._depth -= 1

    def _start_in_sheet(self, name: str, attributes: dict[str, str]) -> None:
        self._start(name, attributes)
        local = name.rpartition(":")[2]
        if local == "c":
            self._cell = attributes.get("r", "")
            self._formula = self._value = False
            if attributes.get("t") == "e" and len(self.oddities.errors) < _KEPT:
                self.oddities.errors.append(self._cell)
        elif self._formula and local == "v":
            # An empty element is no value; the text is looked at where it matters only.
            self._parser.CharacterDataHandler = self._found
        elif local == "f":
            self._formula = True
        elif local == "row":
            self._start_row(attributes)
        elif local == "mergeCell" and len(self.oddities.merged) < _KEPT:
            self.oddities.merged.append(attributes.get("ref", ""))

    def _start_row(self, attributes: dict[str, str]) -> None:
        given = attributes.get("r", str(self._row + 1))
        self._row = int(given) if given.isdecimal() and len(given) < 9 else MOST_ROWS + 1
        if self._row > MOST_ROWS:
            raise _TooMuch(f"A row of the workbook is numbered above {MOST_ROWS:,}.")
        if attributes.get("hidden") in ("1", "true"):
            self.oddities.hidden_rows.append(self._row)

    def _found(self, text: str) -> None:
        self._value = True
        self._parser.CharacterDataHandler = None

    def _end_in_sheet(self, name: str) -> None:
        self._depth -= 1
        if self._formula and name.rpartition(":")[2] == "c":
            place = _CELL.fullmatch(self._cell)
            if not self._value and place:
                if len(self.oddities.without_value) > _KEPT:
                    raise _TooMuch("Next to no formula of the workbook has a stored value.")
                self.oddities.without_value[int(place[2]), _number(place[1])] = self._cell
            self._formula = False
            self._parser.CharacterDataHandler = None


def _number(letters: str) -> int:
    """Return a column's number from its letters.

    Examples
    --------
    >>> _number("A"), _number("AA")
    (1, 27)
    """
    number = 0
    for letter in letters:
        number = number * 26 + ord(letter) - 64
    return number
