"""The road from a path, or from data frames, to `Records`."""

from __future__ import annotations

import hashlib
import os
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from bpvet.facts.protocol import MMHG_PER_KPA
from bpvet.facts.words import METHODS, SPECIES
from bpvet.frozen import replace
from bpvet.reasons import reason
from bpvet.records.cells import Loaded, cells_digest
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import Findings, RowFindings
from bpvet.records.checks.rows import check
from bpvet.records.entries.cancelled import take_out
from bpvet.records.entries.diary import with_diaries
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of, shown
from bpvet.records.formats.files import load
from bpvet.records.headings.conventions import Conventions, conventions
from bpvet.records.headings.headers import Sheet, translate
from bpvet.records.headings.mapping_file import LAYOUTS, Convention
from bpvet.records.made_tables import MadeTables
from bpvet.records.parsing.codes import firsts
from bpvet.records.parsing.columns import distinct
from bpvet.records.parsing.dates import date_of, today
from bpvet.records.parsing.frames import sheet_of
from bpvet.records.parsing.packed import PackedTexts
from bpvet.records.parsing.values import Values, parse
from bpvet.records.read_options import DATE_ORDERS, ReadOptions
from bpvet.records.records import Records
from bpvet.records.tables import TABLES

if TYPE_CHECKING:
    import pandas as pd

    from bpvet.records.animals import Animals


def read(
    path: str | os.PathLike[str],
    columns: Mapping[str, str] | str | None = None,
    as_of: object = None,
    *,
    dates: str | None = None,
    unit: str | None = None,
    encoding: str | None = None,
    query: str | None = None,
) -> Records:
    """Read and check a record folder, a single file, a database or the standard input.

    Nothing is dropped in silence and nothing is guessed: a row or a cell that cannot be used is
    set aside with a finding. The input is never written to.

    Parameters
    ----------
    path : str or path
        A folder of files named after the tables (``readings*``, ``animals``, ``treatments``,
        ``labs``, ``observations``, ``missed``, ``contacts``, ``cancelled``) as CSV, XLSX, Parquet,
        Arrow or JSON lines; one file of any name: readings in any of these forms, a workbook of
        several tables, a FHIR bundle or a SQLite database; "-" for the standard input; or the URL
        of a database. Rows that one of `cancelled` takes back are in no table
        (`Records.cancelled_rows`).
    columns : mapping or str, optional
        Other people's headings: ``{"Pet ID": "animal"}`` or ``"Pet ID=animal,When=taken_at"``;
        or a TOML file that names them. Without it ``bpvet-columns.toml`` is looked for in the
        folder, or beside the file.
    as_of : date or text, optional
        The date to look at, YYYY-MM-DD; today if left out. Rows dated later are set aside.
    dates : str, optional
        ``dmy`` or ``mdy`` (or ``ymd``): the order of dates that are not YYYY-MM-DD.
    unit : str, optional
        ``kPa`` or ``mmHg``: the unit of all pressures; records hold mmHg.
    encoding : str, optional
        Encoding of the files that are not UTF-8 and bear no mark, such as ``cp1252``.
    query : str, optional
        One SELECT that gives the readings, for a database; without it the database's tables
        with our tables' names are read.

    Returns
    -------
    Records
        Findings that stop the work are among its findings; see `Records.require_usable`.

    Raises
    ------
    CallError
        The path does not exist, or an option is wrong.
    RecordsError
        The folder may not be read.
    """
    records = _read(path, ReadOptions(columns, dates, unit, encoding, query), as_of, {})
    # What only the reading needed goes back to the system.
    pa.default_memory_pool().release_unused()
    return records


def read_with(path: str | os.PathLike[str], beside: Mapping[str, bytes]) -> Records:
    """Return what `read` would give of a folder with further files in it.

    Parameters
    ----------
    path : str or path
        A folder.
    beside : mapping of str to bytes
        Their content by name.
    """
    return _read(path, ReadOptions(), None, beside)


def _read(
    path: str | os.PathLike[str], options: ReadOptions, as_of: object, beside: Mapping[str, bytes]
) -> Records:
    settled = conventions(path, options)
    day = _day(as_of)
    loaded = load(path, settled.columns, settled.encoding, options.query, beside)
    if settled.text:
        # Another mapping makes other records of the same files.
        both = f"{loaded.digest} {settled.text}".encode()
        loaded = replace(loaded, digest=hashlib.sha256(both).hexdigest())
    return records_of(loaded, settled, day)


def records_of_frames(frames: Mapping[str, pd.DataFrame | None], as_of: object = None) -> Records:
    """Return records from data frames by table; see `Records.from_frames`."""
    day = _day(as_of)
    sheets = [
        sheet_of(table, frame)
        for table, frame in frames.items()
        if frame is not None or table == "readings"
    ]
    findings = [
        finding_of(Code.NO_ROWS, "readings")
        for sheet in sheets
        if sheet.table == "readings" and len(sheet.lines) == 0
    ]
    loaded = Loaded("data frames", tuple(sheets), tuple(findings), cells_digest(sheets))
    return records_of(loaded, Conventions(Convention()), day)


def records_of(loaded: Loaded, settled: Conventions, as_of: np.datetime64) -> Records:
    """Return records from cells: headers, values and checks in turn.

    Parameters
    ----------
    loaded : Loaded
        What the files, or the frames, held.
    settled : Conventions
        What is settled for each file: other people's headings, the order of dates, the unit.
    as_of : datetime64[D]
        The date to look at.
    """
    findings = [*loaded.findings, *settled.check(loaded.sheets)]
    parts = with_diaries(loaded.sheets, findings)
    sheets = [translate(sheet, settled.of(sheet), findings) for sheet in parts]
    cancelling = _checked_table("cancelled", sheets)
    entries = parse(cancelling)
    cancelled = take_out(sheets, cancelling, entries)
    sheets = cancelled.sheets
    findings += cancelled.findings
    tables = {table: _checked_table(table, sheets) for table in TABLES if table != "cancelled"}
    tables["cancelled"] = cancelling
    values = {table: parse(checked) for table, checked in tables.items() if table != "cancelled"}
    values["cancelled"] = entries
    animals, others = check(tables, values, as_of)
    reported: list[Finding | RowFindings] = [*findings, *others]
    for checked in tables.values():
        reported += checked.findings
    understood = {
        **_understood(sheets, tables, values, animals),
        **settled.understood(loaded.sheets),
    }
    packed: dict[int, PackedTexts] = {}
    for name, checked in tables.items():
        packed |= checked.pack(values[name])
    return Records(
        _tables=MadeTables(tables, values, animals),
        findings=Findings(reported, [sheet.file for sheet in sheets]),
        as_of=as_of,
        source=loaded.source,
        digest=loaded.digest,
        cancelled_rows=cancelled.rows,
        _understood=understood,
        _reread=partial(_again, _with_columns(loaded, packed), settled),
    )


def _again(loaded: Loaded, settled: Conventions, as_of: np.datetime64) -> Records:
    """Return records of the same cells on another date."""
    columns = (column for sheet in loaded.sheets for column in sheet.columns)
    whole = {id(column): column.whole() for column in columns if isinstance(column, PackedTexts)}
    return records_of(_with_columns(loaded, whole), settled, as_of)


def _with_columns(loaded: Loaded, others: Mapping[int, Any]) -> Loaded:
    """Return what was loaded with other columns in place of some, by the identity of these."""
    return replace(
        loaded,
        sheets=tuple(
            replace(
                sheet, columns=tuple(others.get(id(column), column) for column in sheet.columns)
            )
            for sheet in loaded.sheets
        ),
    )


def _checked_table(table: str, sheets: Sequence[Sheet]) -> CheckedTable:
    return CheckedTable(table, [sheet for sheet in sheets if sheet.table == table])


def _day(as_of: object) -> np.datetime64:
    return today() if as_of is None else date_of(as_of, "as_of")


def _unit(checked: CheckedTable) -> str:
    """Return in which unit the pressures stand, and what is done about it."""
    units = checked.units
    doubted = [
        finding.file
        for finding in checked.findings
        if finding.code in (Code.MMHG_AS_KPA, Code.NOT_IN_MMHG) and isinstance(finding, Finding)
    ]
    if doubted:
        if len(doubted) > 1:
            return reason("understood.unit_in_some", files=len(doubted), all=len(units))
        key = "understood.unit_in_one" if len(units) > 1 else "understood.no_unit"
        return reason(key, file=shown(doubted[0]))
    if "kPa" not in units:
        return "mmHg"
    converted = reason("understood.kilopascal", factor=MMHG_PER_KPA)
    return (
        converted if set(units) == {"kPa"} else reason("understood.some_files", converted=converted)
    )


def _understood(
    sheets: Sequence[Sheet],
    tables: Mapping[str, CheckedTable],
    values: Mapping[str, Values],
    animals: Animals,
) -> dict[str, Any]:
    """Return what was made of the input, as plain JSON values."""
    readings = values["readings"]
    words, code = distinct(readings["method"])
    counts = np.bincount(code, minlength=len(words))
    methods = {w: int(n) for w, n in zip(words, counts, strict=True) if w in METHODS}
    texts, written_code = distinct(tables["readings"].cells("method"))
    # Two texts may mean one method, but no text means two.
    met = firsts(written_code, len(texts))
    written = {texts[written_code[row]]: words[code[row]] for row in np.sort(met[met >= 0])}
    species = Counter(animals["species"].tolist())
    timed, zoned = int(readings["timed"].sum()), int(readings["zoned"].sum())
    orders = tables["readings"].dates
    dated = int(readings.given("date").sum())
    ways: list[str] = [
        reason("understood.as_stated", order=DATE_ORDERS[order])
        for order in dict.fromkeys(orders)
        if order
    ]
    ways += ["YYYY-MM-DD"] if "" in orders or not ways else []
    dates: str = reason("understood.dates", ways=" or ".join(ways), rows=dated, timed=timed)
    if zoned:
        dates += reason("understood.zoned", rows=zoned)
    return {
        "layout": {sheet.file: LAYOUTS[sheet.layout] for sheet in sheets if sheet.layout},
        "separator": {sheet.file: sheet.separator for sheet in sheets},
        "decimal_commas": [note for checked in tables.values() for note in checked.decimal_commas],
        "dates": dates,
        "unit": _unit(tables["readings"]),
        "encoding": {sheet.file: sheet.encoding for sheet in sheets},
        "methods": methods,
        "methods_as_written": {text: word for text, word in written.items() if word},
        "animals": {
            "in all": len(animals),
            **{kind: species[kind] for kind in SPECIES},
            "unknown species": species[""],
        },
        "tables": {table: checked.n for table, checked in tables.items() if checked.files},
        "unknown_columns": {sheet.file: list(sheet.unknown) for sheet in sheets if sheet.unknown},
    }
