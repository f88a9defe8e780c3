"""Other people's headers to ours, and a session side by side to one row a reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.files import RawSheet
from bpvet.records.findings import Finding, shown
from bpvet.records.rows import blanks, joined
from bpvet.records.suggest import did_you_mean, either, nearest
from bpvet.records.tables import (
    ADDED,
    TABLES,
    WIDE,
    column_named,
    known_columns,
)

LAYOUTS = {
    "plain": "one row a reading",
    "wide": "one row a session, its readings side by side",
    "summary": "one row a session, its mean and count",
}


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
    several : array of bool (n,)
        Whether the row came from a line with two or more readings side by side.
    summary : array of bool (n,)
        Whether the systolic cell came from ``systolic_mean``.
    whole : pyarrow array of text (n,) or None
        For readings side by side, all of the line's readings, to tell a line given twice.
    broken : dict of int to (str, str)
        As in `RawSheet`.
    layout : str
        A key of `LAYOUTS`, or "" for tables other than readings.
    unknown : tuple of str
        Names of the unknown columns.
    refused : str
        Why no row of this file can be used, or "".
    separator, encoding : str
        As in `RawSheet`.
    """

    file: str
    table: str
    columns: dict[str, pa.Array]
    headings: dict[str, tuple[str, ...]]
    lines: NDArray[np.int64]
    parts: NDArray[np.int64]
    several: NDArray[np.bool_]
    summary: NDArray[np.bool_]
    whole: pa.Array | None
    broken: dict[int, tuple[str, str]]
    layout: str
    unknown: tuple[str, ...]
    refused: str
    separator: str
    encoding: str


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
        for part in filter(None, (part.strip() for part in columns.split(","))):
            theirs, equals, ours = part.rpartition("=")
            if not equals:
                raise CallError(f'In the columns, "{part}" has no "=": write "Pet ID=animal".')
            pairs.append((theirs, ours))
    elif isinstance(columns, Mapping):
        pairs = [(str(theirs), str(ours)) for theirs, ours in columns.items()]
    else:
        raise CallError('Columns are given as {"Pet ID": "animal"} or "Pet ID=animal,…".')
    mapping: dict[str, str] = {}
    for theirs, ours in ((theirs.strip(), ours.strip()) for theirs, ours in pairs):
        if theirs in mapping:
            raise CallError(f'In the columns, the heading "{theirs}" is given twice.')
        if not any(column_named(table, ours) == ours for table in TABLES):
            names = [name for table in TABLES for name in known_columns(table)]
            hint = did_you_mean(nearest(ours, names))
            raise CallError(f'In the columns, "{ours}" is not a column of ours. {hint}'.rstrip())
        mapping[theirs] = ours
    return mapping


def check_mapping(mapping: Mapping[str, str], sheets: list[RawSheet]) -> None:
    """Raise a `CallError` where a mapped heading stands in none of the files."""
    headings = [head.strip() for sheet in sheets for head in sheet.header]
    for theirs in mapping:
        if headings and theirs not in headings:
            hint = did_you_mean(nearest(theirs, headings))
            raise CallError(f'No file has a column headed "{theirs}". {hint}'.rstrip())


def translate(raw: RawSheet, mapping: Mapping[str, str], findings: list[Finding]) -> Sheet:
    """Return a file's cells under our headers, one row a reading.

    Parameters
    ----------
    raw : RawSheet
        Cells as they stand.
    mapping : mapping of str to str
        Their headings to our names; it goes before our own names.
    findings : list of Finding
        Findings about the header are added here.
    """
    names, unknown = _names(raw, mapping, findings)
    refused = _refusal(raw, names, unknown, findings)
    columns: dict[str, pa.Array] = {}
    headings: dict[str, tuple[str, ...]] = {}
    for name, heading, cells in zip(names, raw.header, raw.columns, strict=True):
        if name and name not in columns:
            columns[name] = cells
            headings[name] = (heading.strip(),)
    n = len(raw.columns[0]) if raw.columns else 0
    wide = [name for name in columns if raw.table == "readings" and WIDE.fullmatch(name)]
    layout = ""
    if raw.table == "readings":
        layout = "wide" if wide else "summary" if "systolic_mean" in columns else "plain"
    sheet = Sheet(
        file=raw.file,
        table=raw.table,
        columns=columns,
        headings=headings,
        lines=np.asarray(raw.lines, dtype=np.int64),
        parts=np.zeros(n, dtype=np.int64),
        several=np.zeros(n, dtype=bool),
        summary=np.zeros(n, dtype=bool),
        whole=None,
        broken=dict(raw.broken),
        layout=layout,
        unknown=tuple(unknown),
        refused=refused,
        separator=raw.separator,
        encoding=raw.encoding,
    )
    if refused:
        return sheet
    return _means(_side_by_side(sheet, wide) if wide else sheet)


def _names(
    raw: RawSheet, mapping: Mapping[str, str], findings: list[Finding]
) -> tuple[list[str], list[str]]:
    """Return a name for each column ("" to pass it over), and the unknown names among them."""
    names: list[str] = []
    unknown: list[str] = []
    for place, (heading, cells) in enumerate(zip(raw.header, raw.columns, strict=True), start=1):
        bare = heading.strip()
        mapped = mapping.get(bare, "")
        name = column_named(raw.table, mapped if mapped else bare)
        if not name and not bare and _blank(cells).all():
            names.append("")
            continue
        if not name:
            name = bare or f"column {place}"
            taken = {*known_columns(raw.table), *ADDED[raw.table], *unknown}
            if name in taken:
                name = next(n for k in range(2, 10**6) if (n := f"{name} ({k})") not in taken)
            unknown.append(name)
        names.append(name)
    if unknown:
        listed = ", ".join(shown(name, 30) for name in unknown[:20])
        more = f" and {len(unknown) - 20} more" if len(unknown) > 20 else ""
        reason = f"Columns that are not ours are kept as text and not used: {listed}{more}."
        mend = 'If one is meant for a column of ours, name it: --columns "Theirs=ours".'
        findings.append(
            Finding(raw.file, raw.header_line, "", "", reason, mend, kind="unknown column")
        )
    return names, unknown


def _refusal(raw: RawSheet, names: list[str], unknown: list[str], findings: list[Finding]) -> str:
    """Return why the whole file cannot be used, after saying it; "" where it can."""
    before = len(findings)
    counts = Counter(name for name in names if name)
    for name, count in counts.items():
        if count > 1:
            heads = [h.strip() for h, n in zip(raw.header, names, strict=True) if n == name]
            reason = f'The column "{name}" stands there {count} times ({either(heads)}).'
            mend = "Keep one of them, and give the others another heading."
            findings.append(_header(raw, heads[0], reason, mend, "doubled column"))
    for column in TABLES[raw.table]:
        if column.required and column.name not in counts:
            _say_missing(raw, column.name, unknown, findings)
    if raw.table == "readings":
        _check_layout(raw, list(counts), findings)
    return findings[before].reason.rstrip(".") if len(findings) > before else ""


def _say_missing(raw: RawSheet, name: str, unknown: list[str], findings: list[Finding]) -> None:
    near = [head for head in unknown if name in nearest(head, known_columns(raw.table), n=1)]
    near = near or list(nearest(name, unknown, n=1))
    reason = f'The required column "{name}" is missing.'
    if near:
        mend = f'Is it "{near[0]}"? Then say so: --columns "{near[0]}={name}", or rename it.'
    else:
        heads = ", ".join(shown(head.strip(), 30) for head in raw.header[:12] if head.strip())
        mend = f"Add it, or name the column that holds it. The header has: {heads}."
    findings.append(_header(raw, "", reason, mend, "missing column"))


def _check_layout(raw: RawSheet, names: list[str], findings: list[Finding]) -> None:
    """Say which columns contradict each other, or that none holds a reading."""
    wide = [name for name in names if WIDE.fullmatch(name)]
    plain = [name for name in names if name in READING_QUANTITIES]
    if wide and plain:
        reason = f'Both "{plain[0]}" and "{wide[0]}" are there: which holds the readings?'
        mend = "Keep one row a reading, or the readings of a session side by side, not both."
    elif plain and "systolic_mean" in names:
        reason = f'Both "{plain[0]}" and "systolic_mean" are there: which holds the readings?'
        mend = "A file holds readings or means; put the means in a file of their own."
    elif "systolic_mean" in names and "systolic_n" not in names and not wide:
        reason = 'There is a "systolic_mean" without "systolic_n", the count of its readings.'
        mend = "Add the count of readings behind each mean."
    elif not (wide or plain or "systolic_mean" in names):
        reason = "No column holds a reading."
        mend = "Name one systolic (or systolic_1, systolic_2, …, or systolic_mean)."
    else:
        return
    findings.append(_header(raw, "", reason, mend, "layout"))


def _header(raw: RawSheet, column: str, reason: str, mend: str, kind: str) -> Finding:
    return Finding(raw.file, raw.header_line, column, "", reason, mend, stops=True, kind=kind)


def _side_by_side(sheet: Sheet, wide: list[str]) -> Sheet:
    """Return the sheet with one row for each filled reading, and one for a line without any."""
    n = len(sheet.lines)
    place = {name: int(name.rpartition("_")[2]) for name in wide}
    parts = sorted(set(place.values()))
    filled = np.zeros((n, len(parts)), dtype=bool)
    for name, part in place.items():
        filled[:, parts.index(part)] |= ~_blank(sheet.columns[name])
    bare: NDArray[np.bool_] = np.asarray(~filled.any(axis=1))
    several = filled.sum(axis=1) >= 2
    filled[bare, 0] = True
    rows, column = np.nonzero(filled)
    index = pa.array(rows)
    others = [name for name in sheet.columns if name not in wide]
    columns = {name: sheet.columns[name].take(index) for name in others}
    headings = {name: sheet.headings[name] for name in others}
    blank = blanks(n)
    for quantity in READING_QUANTITIES:
        mine = [f"{quantity}_{part}" for part in parts]
        if any(name in place for name in mine):
            stacked = pa.concat_arrays([sheet.columns.get(name, blank) for name in mine])
            columns[quantity] = stacked.take(pa.array(column * n + rows))
            headings[quantity] = tuple(
                sheet.headings.get(f"{quantity}_{part}", (quantity,))[0]
                for part in range(parts[-1] + 1)
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
    summary = (sheet.parts == 0) & ~_blank(mean)
    columns = dict(sheet.columns)
    columns["systolic"] = pc.if_else(pa.array(summary), mean, columns.get("systolic", blank))
    columns["systolic_mean"] = pc.if_else(pa.array(summary), blank, mean)
    headings = dict(sheet.headings)
    headings["systolic"] = headings["systolic_mean"] + headings.get("systolic", ())[1:]
    return replace(sheet, columns=columns, headings=headings, summary=summary)


def _blank(cells: pa.Array) -> NDArray[np.bool_]:
    blank: NDArray[np.bool_] = pc.equal(pc.utf8_trim_whitespace(cells), "").to_numpy(
        zero_copy_only=False
    )
    return blank
