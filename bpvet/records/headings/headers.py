"""Other people's headers to ours, and a session side by side to one row a reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.words import READING_QUANTITIES
from bpvet.frozen import dataclass, replace
from bpvet.records.cells import RawSheet
from bpvet.records.entries.diary import TABLET, WHEN, is_diary
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.headings.layouts import laid_out
from bpvet.records.headings.mapping_file import LAYOUTS, Convention
from bpvet.records.headings.near_names import nearest
from bpvet.records.headings.settled import FILE_AN_ANIMAL
from bpvet.records.parsing.arrow import arrow_of, scalar_of
from bpvet.records.parsing.columns import (
    TEXT,
    blanks,
    coded,
    constant,
    end_to_end,
    is_blank,
    joined,
    uncoded,
)
from bpvet.records.tables import (
    ADDED,
    TABLES,
    UNUSED_TABLES,
    WIDE,
    column_named,
    known_columns,
)


@dataclass(frozen=True, eq=False)
class Sheet:
    """One file under our headers, one row a reading.

    Parameters
    ----------
    file, table : str
        Name of the file; the table it belongs to.
    columns : dict of str to pyarrow arrays of text (n,)
        Our columns that the file has, then unknown ones under their own heading.
    headings : dict of str to tuple of str
        The heading in the file of each column; for readings side by side, one for each value
        that `parts` may have.
    lines : array of int (n,)
        Line in the file.
    parts : array of int (n,)
        0, or which of the readings side by side (from 1) this row was.
    places : array of int (n,)
        Which of several headings the row's reading stood under, where dates head the columns.
    several : array of bool (n,)
        Whether the row came from a line with two or more readings side by side.
    summary : array of bool (n,)
        Whether the systolic cell came from ``systolic_mean``.
    whole : pyarrow array of text (n,) or None
        What rows must be equal in to be copies, beside their cells: for readings side by side all
        of the line's readings; else what the file itself tells them apart by.
    broken : dict of int to (str, str)
        As in `RawSheet`.
    layout : str
        A key of `LAYOUTS`, or "" for tables other than readings.
    unknown : tuple of str
        Names of the unknown columns.
    refused : Finding or None
        Why no row of this file can be used.
    separator, encoding : str
        As in `RawSheet`.
    dates : str
        ``ymd``, ``dmy`` or ``mdy`` where it was said, else "".
    unit : str
        Unit of the file's pressures: ``mmHg`` or ``kPa``; "" where it was not said.
    """

    file: str
    table: str
    columns: dict[str, pa.Array]
    headings: dict[str, tuple[str, ...]]
    lines: NDArray[np.integer]
    parts: NDArray[np.int64]
    places: NDArray[np.int64]
    several: NDArray[np.bool_]
    summary: NDArray[np.bool_]
    whole: pa.Array | None
    broken: dict[int, tuple[str, str]]
    layout: str
    unknown: tuple[str, ...]
    refused: Finding | None
    separator: str
    encoding: str
    dates: str = ""
    unit: str = ""


def translate(raw: RawSheet, convention: Convention, findings: list[Finding]) -> Sheet:
    """Return a file's cells under our headers, one row a reading.

    Parameters
    ----------
    raw : RawSheet
        Cells as they stand.
    convention : Convention
        What is settled for the file; its headings go before our own names.
    findings : list of Finding
        Findings about the header are added here.
    """
    laid = laid_out(raw, convention, findings)
    raw = laid.sheet
    names, unknown = _names(raw, laid.mapping, findings)
    refused = _refusal(raw, names, unknown, findings)
    columns: dict[str, pa.Array] = {}
    headings: dict[str, tuple[str, ...]] = {}
    for name, heading, cells in zip(names, raw.header, raw.columns, strict=True):
        if name and name not in columns:
            columns[name] = cells
            headings[name] = laid.headings.get(name, (heading.strip(),))
    n = len(raw.columns[0]) if raw.columns else 0
    wide = [name for name in columns if raw.table == "readings" and WIDE.fullmatch(name)]
    layout = ""
    if raw.table == "readings":
        by_header = "wide" if wide else "summary" if "systolic_mean" in columns else "plain"
        layout = laid.layout or by_header
        refused = refused or _not_as_stated(raw, convention, layout, findings)
    sheet = Sheet(
        file=raw.file,
        table=raw.table,
        columns=columns,
        headings=headings,
        lines=np.asarray(raw.lines),
        parts=constant(0, n, np.int64),
        places=laid.places,
        several=constant(False, n, bool),
        summary=constant(False, n, bool),
        whole=raw.distinguishing,
        broken=dict(raw.broken),
        layout=layout,
        unknown=tuple(unknown),
        refused=refused,
        separator=raw.separator,
        encoding=raw.encoding,
        dates=convention.dates,
        unit=convention.unit,
    )
    if not refused:
        sheet = _means(_side_by_side(sheet, wide) if wide else sheet)
    return replace(sheet, columns={name: coded(cells) for name, cells in sheet.columns.items()})


def _names(
    raw: RawSheet, mapping: Mapping[str, str], findings: list[Finding]
) -> tuple[list[str], list[str]]:
    """Return a name for each column ("" to pass it over), and the unknown names among them."""
    names: list[str] = []
    unknown: list[str] = []
    taken = {*known_columns(raw.table), *ADDED[raw.table]}
    for number, (heading, cells) in enumerate(zip(raw.header, raw.columns, strict=True), start=1):
        bare = heading.strip()
        mapped = mapping.get(bare, "")
        name = column_named(raw.table, mapped if mapped else bare)
        if not name and not bare and is_blank(cells).all():
            names.append("")
            continue
        if not name:
            name = bare or f"column {number}"
            if name in taken:
                name = next(n for k in range(2, 10**6) if (n := f"{name} ({k})") not in taken)
            unknown.append(name)
            taken.add(name)
        names.append(name)
    # What a diary says of the tablet is told on its own.
    strange = [name for name in unknown if not (is_diary(raw) and name in (TABLET, WHEN))]
    if strange:
        heads = tuple(_heads(raw, names, strange[:20]))
        findings.append(
            finding_of(
                Code.UNKNOWN_COLUMNS, raw.file, raw.header_line, heads=heads, many=len(strange)
            )
        )
    return names, unknown


def _heads(raw: RawSheet, names: list[str], some: list[str]) -> list[str]:
    """Return how columns of some names are headed in the file, blank headings by their name."""
    heads = {name: head.strip() for name, head in zip(names, raw.header, strict=True)}
    return [heads[name] or name for name in some]


def _refusal(
    raw: RawSheet, names: list[str], unknown: list[str], findings: list[Finding]
) -> Finding | None:
    """Return why the whole file cannot be used, after reporting it; None where it can."""
    before = len(findings)
    counts = Counter(name for name in names if name)
    for name, count in counts.items():
        if count > 1:
            heads = tuple(h.strip() for h, n in zip(raw.header, names, strict=True) if n == name)
            findings.append(_header(raw, heads[0], Code.DOUBLED_COLUMN, name=name, heads=heads))
    for column in TABLES[raw.table]:
        if column.required and column.name not in counts:
            near = _near(raw, column.name, _heads(raw, names, unknown))
            heads = tuple(head.strip() for head in raw.header[:12] if head.strip())
            readings = raw.table == "readings"
            found = {"name": column.name, "near": near, "heads": heads, "readings": readings}
            findings.append(_header(raw, "", Code.MISSING_COLUMN, **found))
    if raw.table == "readings":
        by_name = {n: h.strip() for h, n in zip(raw.header, names, strict=True) if n}
        _check_layout(raw, by_name, findings)
    return findings[before] if len(findings) > before else None


def _not_as_stated(
    raw: RawSheet, convention: Convention, layout: str, findings: list[Finding]
) -> Finding | None:
    """Return why a file cannot be used that is not laid out as was stated; None where it is."""
    stated = [word for word in convention.layout if word != FILE_AN_ANIMAL]
    if not stated or LAYOUTS[layout] in stated:
        return None
    found = _header(raw, "", Code.LAYOUT_NOT_AS_STATED, stated=stated[0], layout=LAYOUTS[layout])
    findings.append(found)
    return found


def _near(raw: RawSheet, name: str, unknown: list[str]) -> tuple[str, ...]:
    """Return the unknown headings that may stand for a column of ours."""
    near = tuple(head for head in unknown if name in nearest(head, known_columns(raw.table), n=1))
    return near or nearest(name, unknown, n=1)


def _check_layout(raw: RawSheet, heads: Mapping[str, str], findings: list[Finding]) -> None:
    """Report which columns contradict each other, or that none holds a reading.

    Parameters
    ----------
    heads : mapping of str to str
        The heading of each column, by our name.
    """
    wide = [name for name in heads if WIDE.fullmatch(name)]
    plain = [name for name in heads if name in READING_QUANTITIES]
    if wide and plain:
        heads_of = tuple(heads[name] for name in plain)
        findings.append(
            _header(raw, "", Code.READINGS_TWICE, pair=(plain[0], wide[0]), heads=heads_of)
        )
    elif plain and "systolic_mean" in heads:
        pair, heads_of = (plain[0], "systolic_mean"), (heads["systolic_mean"],)
        findings.append(_header(raw, "", Code.READINGS_TWICE, pair=pair, heads=heads_of))
    elif "systolic_mean" in heads and "systolic_n" not in heads and not wide:
        findings.append(_header(raw, "", Code.MEAN_WITHOUT_COUNT))
    elif not (wide or plain or "systolic_mean" in heads):
        findings.append(_header(raw, "", Code.NO_READING_COLUMN))


def _header(raw: RawSheet, column: str, code: Code, **values: Any) -> Finding:
    stops = raw.table not in UNUSED_TABLES
    return finding_of(code, raw.file, raw.header_line, column, stops=stops, **values)


def _side_by_side(sheet: Sheet, wide: list[str]) -> Sheet:
    """Return the sheet with one row for each filled reading, and one for a line without any."""
    n = len(sheet.lines)
    number_of = {name: int(name.rpartition("_")[2]) for name in wide}
    parts = sorted(set(number_of.values()))
    filled = np.zeros((n, len(parts)), dtype=bool)
    for name, number in number_of.items():
        filled[:, parts.index(number)] |= ~is_blank(sheet.columns[name])
    bare: NDArray[np.bool_] = np.asarray(~filled.any(axis=1))
    several = filled.sum(axis=1) >= 2
    filled[bare, 0] = True
    rows, column = np.nonzero(filled)
    index = arrow_of(rows)
    others = [name for name in sheet.columns if name not in wide]
    columns = {name: sheet.columns[name].take(index) for name in others}
    headings = {name: sheet.headings[name] for name in others}
    blank = blanks(n)
    for quantity in READING_QUANTITIES:
        mine = [f"{quantity}_{nth}" for nth in parts]
        if any(name in number_of for name in mine):
            stacked = end_to_end([sheet.columns.get(name, blank) for name in mine])
            columns[quantity] = stacked.take(arrow_of(column * n + rows))
            headings[quantity] = tuple(
                sheet.headings.get(f"{quantity}_{nth}", (quantity,))[0]
                for nth in range(parts[-1] + 1)
            )
    new = np.full(n, -1)
    first = np.flatnonzero(np.diff(rows, prepend=-1))
    new[rows[first]] = first
    whole = joined(*[sheet.columns[name] for name in wide])
    return replace(
        sheet,
        columns=columns,
        headings=headings,
        lines=sheet.lines[rows],
        parts=np.where(bare[rows], 0, np.array(parts)[column]),
        places=sheet.places[rows],
        several=several[rows],
        summary=sheet.summary[rows],
        whole=whole.take(index),
        broken={int(new[row]): why for row, why in sheet.broken.items()},
    )


def _means(sheet: Sheet) -> Sheet:
    """Return the sheet with ``systolic_mean`` as the systolic of rows that hold no reading."""
    if "systolic_mean" not in sheet.columns:
        return sheet
    mean = sheet.columns["systolic_mean"]
    blank = blanks(len(mean))
    summary = (sheet.parts == 0) & ~is_blank(mean)
    columns = dict(sheet.columns)
    others = columns.get("systolic", blank)
    columns["systolic"] = pc.if_else(arrow_of(summary), uncoded(mean), uncoded(others))
    columns["systolic_mean"] = pc.if_else(arrow_of(summary), scalar_of(""), uncoded(mean)).cast(
        TEXT
    )
    headings = dict(sheet.headings)
    headings["systolic"] = headings["systolic_mean"] + headings.get("systolic", ())[1:]
    return replace(sheet, columns=columns, headings=headings, summary=summary)
