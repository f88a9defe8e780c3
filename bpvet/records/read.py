"""The road from a path, or from data frames, to `Records`."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from bpvet.facts.words import METHODS, SPECIES
from bpvet.records.checks import check
from bpvet.records.dates import date_of, today
from bpvet.records.files import Loaded, load
from bpvet.records.findings import Finding
from bpvet.records.frames import frame_digest, frame_of, sheet_of
from bpvet.records.headers import LAYOUTS, Sheet, check_mapping, mapping_of, translate
from bpvet.records.ledger import Ledger
from bpvet.records.numbers import distinct
from bpvet.records.records import Records
from bpvet.records.rows import joined
from bpvet.records.tables import TABLES
from bpvet.records.values import Values, parse


def read(
    path: str | os.PathLike[str],
    columns: Mapping[str, str] | str | None = None,
    as_of: object = None,
    *,
    encoding: str | None = None,
) -> Records:
    """Read and check a record folder, or a single readings file.

    Nothing is dropped in silence and nothing is guessed: a row or a cell that cannot be used is
    set aside with a finding. The input is never written to.

    Parameters
    ----------
    path : str or path
        A folder of CSV files (``readings*.csv``, ``animals.csv``, ``treatments.csv``,
        ``labs.csv``, ``observations.csv``), or one readings file of any name.
    columns : mapping or str, optional
        Other people's headings: ``{"Pet ID": "animal"}`` or ``"Pet ID=animal,When=taken_at"``.
    as_of : date or text, optional
        The date to look at, YYYY-MM-DD; today if left out. Rows dated later are set aside.
    encoding : str, optional
        Encoding of the files that are not UTF-8 and bear no mark, such as ``cp1252``.

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
    mapping = mapping_of(columns)
    day = _day(as_of)
    loaded = load(path, mapping, encoding)
    check_mapping(mapping, list(loaded.sheets))
    return records_of(loaded, mapping, day)


def records_of_frames(frames: Mapping[str, pd.DataFrame | None], as_of: object = None) -> Records:
    """Return records from data frames by table; see `Records.from_frames`."""
    day = _day(as_of)
    sheets = [
        sheet_of(table, frame)
        for table, frame in frames.items()
        if frame is not None or table == "readings"
    ]
    findings = [
        Finding("readings", None, "", "", "The table has no rows.", "", kind="no rows")
        for sheet in sheets
        if sheet.table == "readings" and len(sheet.lines) == 0
    ]
    loaded = Loaded("data frames", tuple(sheets), tuple(findings), frame_digest(sheets))
    return records_of(loaded, {}, day)


def records_of(loaded: Loaded, mapping: Mapping[str, str], as_of: np.datetime64) -> Records:
    """Return records from cells: headers, values and checks in turn.

    Parameters
    ----------
    loaded : Loaded
        What the files, or the frames, held.
    mapping : mapping of str to str
        Other people's headings to our names.
    as_of : datetime64[D]
        The date to look at.
    """
    findings = list(loaded.findings)
    sheets = [translate(sheet, mapping, findings) for sheet in loaded.sheets]
    ledgers = {
        table: Ledger(table, [sheet for sheet in sheets if sheet.table == table])
        for table in TABLES
    }
    values = {table: parse(ledger) for table, ledger in ledgers.items()}
    animals, others = check(ledgers, values, as_of)
    frames = {
        table: animals if table == "animals" else frame_of(ledger, values[table])
        for table, ledger in ledgers.items()
    }
    findings += others
    for ledger in ledgers.values():
        findings += ledger.findings
    return Records(
        _tables=frames,
        findings=_in_order(findings, [sheet.file for sheet in sheets]),
        as_of=as_of,
        source=loaded.source,
        digest=loaded.digest,
        _understood=_understood(sheets, ledgers, values, animals),
        _reread=partial(records_of, loaded, dict(mapping)),
    )


def _day(as_of: object) -> np.datetime64:
    return today() if as_of is None else date_of(as_of, "as_of")


def _in_order(findings: list[Finding], files: list[str]) -> tuple[Finding, ...]:
    """Return the findings by file in order of reading, then by line; whole files come first."""
    place = {file: i for i, file in enumerate(files)}

    def key(finding: Finding) -> tuple[int, int]:
        return place.get(finding.file, -1), finding.line or 0

    return tuple(sorted(findings, key=key))


def _understood(
    sheets: Sequence[Sheet],
    ledgers: Mapping[str, Ledger],
    values: Mapping[str, Values],
    animals: pd.DataFrame,
) -> dict[str, Any]:
    """Return what was made of the input, as plain JSON values."""
    readings = values["readings"]
    words, code = distinct(readings["method"])
    counts = np.bincount(code, minlength=len(words))
    methods = {w: int(n) for w, n in zip(words, counts, strict=True) if w in METHODS}
    pairs = pc.unique(joined(ledgers["readings"].cells("method"), readings["method"])).to_pylist()
    written = dict(pair.split("\x1f", 1) for pair in pairs)
    species = animals["species"].value_counts()
    timed, zoned = int(readings["timed"].sum()), int(readings["zoned"].sum())
    dated = int((~np.isnat(readings["date"])).sum())
    dates = f"YYYY-MM-DD in {dated} rows, {timed} of them with a time of day"
    if zoned:
        dates += f"; {zoned} have a time zone, and their local date and time are used"
    return {
        "layout": {sheet.file: LAYOUTS[sheet.layout] for sheet in sheets if sheet.layout},
        "separator": {sheet.file: sheet.separator for sheet in sheets},
        "decimal_commas": [one for ledger in ledgers.values() for one in ledger.decimal_commas],
        "dates": dates,
        "unit": "mmHg",
        "encoding": {sheet.file: sheet.encoding for sheet in sheets},
        "methods": methods,
        "methods_as_written": {text: word for text, word in written.items() if word},
        "animals": {
            "in all": len(animals),
            **{kind: int(species.get(kind, 0)) for kind in SPECIES},
            "unknown species": int(species.get("", 0)),
        },
        "tables": {table: ledger.n for table, ledger in ledgers.items() if ledger.files},
        "unknown_columns": {sheet.file: list(sheet.unknown) for sheet in sheets if sheet.unknown},
    }
