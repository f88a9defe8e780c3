"""How other people's files are written: what the options and a small TOML file settle.

The file is called ``bpvet-columns.toml`` and lies beside the records. Options go before it, what
it says of one file before what it says of a table, and that before what it says of all.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from bpvet.errors import CallError
from bpvet.frozen import dataclass, field
from bpvet.records.cells import RawSheet
from bpvet.records.entries.files import table_of_added
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, NamedValues, finding_of, printable
from bpvet.records.formats.encodings import check_encoding
from bpvet.records.headings.mapping_file import (
    Convention,
    MappingFile,
    line_of,
    not_ours,
    parsed,
    text_of,
)
from bpvet.records.headings.near_names import did_you_mean, nearest
from bpvet.records.headings.settled import FILE_NAME
from bpvet.records.read_options import ReadOptions
from bpvet.records.tables import plain_name


@dataclass(frozen=True)
class Conventions:
    """What is settled for each file of a record folder.

    Parameters
    ----------
    options : Convention
        What the caller has said.
    mapping_file : MappingFile
        What the TOML file says.
    name, text : str
        Name of the TOML file, and its text; "" where there is none.
    overruled : tuple of (Code, values)
        What the TOML file says and an option says otherwise, as codes and values of findings.
    """

    options: Convention
    mapping_file: MappingFile = field(default_factory=MappingFile)
    name: str = ""
    text: str = ""
    overruled: tuple[tuple[Code, NamedValues], ...] = ()

    def of(self, sheet: RawSheet) -> Convention:
        """Return what is settled for one file."""
        return self._of(sheet.table, sheet.file)

    def encoding(self, table: str, file: str) -> str | None:
        """Return the encoding that a file has where it is not UTF-8; None where none is said."""
        return self._of(table, file).encoding or None

    def _of(self, table: str, file: str) -> Convention:
        if table_of_added(file):
            # Our own headings, dates and units, whatever the files beside it have.
            return Convention()
        of_file = self.mapping_file.files.get(file, Convention())
        of_table = self.mapping_file.tables.get(table, Convention())
        return self.options.over(of_file).over(of_table).over(self.mapping_file.everywhere)

    @property
    def columns(self) -> dict[str, str]:
        """Every heading that is named anywhere, with our name."""
        parts = (*self.mapping_file.parts, self.options)
        return {theirs: ours for convention in parts for theirs, ours in convention.columns.items()}

    def check(self, sheets: Sequence[RawSheet]) -> list[Finding]:
        """Return what is to be said of the TOML file, given what there is to read.

        Raises
        ------
        CallError
            A heading that the caller has named stands in none of the files.
        """
        headings = [head.strip() for sheet in sheets for head in sheet.header]
        for theirs in self.options.columns:
            if headings and theirs not in headings:
                hint = did_you_mean(nearest(theirs, headings))
                raise CallError(f'No file has a column headed "{theirs}". {hint}'.rstrip())
        findings = []
        for theirs in dict.fromkeys(self.columns):
            if headings and theirs not in headings:
                near = nearest(theirs, headings)
                findings.append(self._finding(Code.NO_SUCH_HEADING, theirs, near))
        known = {sheet.file for sheet in sheets}
        for file in self.mapping_file.files:
            if file not in known:
                findings.append(self._finding(Code.NO_SUCH_FILE, file, nearest(file, known)))
        findings += [Finding(self.name, None, "", "", *found) for found in self.overruled]
        return findings

    def understood(self, sheets: Sequence[RawSheet]) -> dict[str, Any]:
        """Return which file names the columns, and what is read as what, as plain JSON values."""
        used = {
            sheet.file: {
                head.strip(): ours
                for head in sheet.header
                if (ours := self.of(sheet).columns.get(head.strip()))
            }
            | {f"every row: {text}": name for name, text in self.of(sheet).every_row.items()}
            for sheet in sheets
        }
        return {"mapping": {"file": self.name, "columns": {k: v for k, v in used.items() if v}}}

    def _finding(self, code: Code, name: str, near: tuple[str, ...]) -> Finding:
        line = line_of(self.text, name) if name else None
        return finding_of(code, self.name, line, "", name, name=name, near=near)


def conventions(path: object, options: ReadOptions) -> Conventions:
    """Return what is settled for the records at a path.

    Parameters
    ----------
    path : str or path
        As `bpvet.read` takes it; `FILE_NAME` is looked for in the folder, or beside the file.
    options : ReadOptions
        What the caller has said; ``columns`` may be the name of a TOML file.

    Raises
    ------
    CallError
        The TOML file cannot be read or understood, or an option is wrong.
    """
    check_encoding(options.encoding)
    named = options.columns if is_toml(options.columns) else None
    columns = {} if named else mapping_of(options.columns)
    stated = Convention(columns, options.dates or "", options.unit or "", options.encoding or "")
    path_of_file = Path(str(named)) if named else _beside(path)
    if path_of_file is None:
        return Conventions(stated)
    text = text_of(path_of_file)
    mapping_file = parsed(path_of_file.name, text)
    return Conventions(
        stated,
        mapping_file,
        printable(path_of_file.name),
        text,
        tuple(_overruled(mapping_file, stated)),
    )


def is_toml(columns: Mapping[str, str] | str | None) -> bool:
    """Return whether ``columns`` names a TOML file instead of headings."""
    return isinstance(columns, str) and columns.lower().endswith(".toml") and "=" not in columns


def mapping_of(columns: Mapping[str, str] | str | None) -> dict[str, str]:
    """Return {their heading: our name} from a mapping or from ``"Pet ID=animal,When=taken_at"``.

    Raises
    ------
    CallError
        A part without "=", an unknown name of ours, or a heading given twice.
    """
    if columns is None:
        return {}
    if isinstance(columns, str):
        pairs = []
        for pair in filter(None, (piece.strip() for piece in columns.split(","))):
            theirs, equals, ours = pair.rpartition("=")
            if not equals:
                raise CallError(f'In the columns, "{pair}" has no "=": write "Pet ID=animal".')
            pairs.append((theirs, ours))
    elif isinstance(columns, Mapping):
        pairs = [(str(theirs), str(ours)) for theirs, ours in columns.items()]
    else:
        raise CallError('Columns are given as {"Pet ID": "animal"} or "Pet ID=animal,…".')
    mapping: dict[str, str] = {}
    for theirs, ours in ((theirs.strip(), ours.strip()) for theirs, ours in pairs):
        if theirs in mapping:
            raise CallError(f'In the columns, the heading "{theirs}" is given twice.')
        if wrong := not_ours(ours):
            raise CallError(f"In the columns, {wrong}")
        mapping[theirs] = ours
    return mapping


def _beside(path: object) -> Path | None:
    """Return the mapping file that lies beside the records, if there is one."""
    if not isinstance(path, str | Path) or str(path) in ("", "-") or "://" in str(path):
        return None
    try:
        path_of_file = Path(path)
        folder = path_of_file if path_of_file.is_dir() else path_of_file.parent
        found = folder / FILE_NAME
        return found if found.is_file() else None
    except (OSError, ValueError):
        return None


def _overruled(mapping_file: MappingFile, stated: Convention) -> Iterator[tuple[Code, NamedValues]]:
    """Yield what the TOML file says and an option says otherwise."""
    for name, code, word in (
        ("dates", Code.DATES_OVERRULED, "order"),
        ("unit", Code.UNIT_OVERRULED, "unit"),
        ("encoding", Code.ENCODING_OVERRULED, "encoding"),
    ):
        option = getattr(stated, name)
        plain = {"", plain_name(option)}
        if option and any(
            plain_name(getattr(convention, name)) not in plain for convention in mapping_file.parts
        ):
            yield code, ((word, option),)
    for theirs, ours in stated.columns.items():
        if any(convention.columns.get(theirs, ours) != ours for convention in mapping_file.parts):
            yield Code.COLUMN_OVERRULED, (("theirs", theirs), ("ours", ours))
