"""Layouts that people keep, made into rows or into readings side by side before anything is read.

A date may head each column, a session's readings may stand in one cell or in a line for the chart,
an animal may have a file of its own. Nothing is read here: cells are moved as text, and what does
not fit a layout stays as it is, for the checks to say.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.words import READING_QUANTITIES
from bpvet.frozen import dataclass, replace
from bpvet.reasons import reason
from bpvet.records.cells import RawSheet
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Finding, finding_of
from bpvet.records.formats.chart_lines import read_chart_lines
from bpvet.records.headings.mapping_file import Convention
from bpvet.records.headings.settled import FILE_AN_ANIMAL, FILE_NAME
from bpvet.records.parsing.arrow import arrow_of, numpy_of, scalar_of, text_column
from bpvet.records.parsing.columns import TEXT, constant, is_blank, trimmed, uncoded
from bpvet.records.parsing.dates import SWAPPABLE, moments
from bpvet.records.tables import WIDE, column_named

_NUMBER = r"(?:(?:>=|<=|[<>≤≥])\s*)?[0-9]{1,4}(?:\.[0-9]+)?"
#: Two numbers or more in one cell: "165/158/160", "165; 158", "165, 158", "165 158".
_LIST = rf"^{_NUMBER}(?:(?:\s*[/;]\s*|\s*,\s+|\s+){_NUMBER})+$"
_BETWEEN = r"\s*[/;]\s*|\s*,\s+|\s+"
#: Marks that no single number has, so that a cell with one is a list without being said to be.
_SURELY = rf"^{_NUMBER}(?:\s*[/;]\s*{_NUMBER})+$"
#: "165/95", "165/95/118" or "165/95 (118)".
_PAIR = (
    rf"^(?P<systolic>{_NUMBER})\s*/\s*(?P<diastolic>{_NUMBER})"
    rf"(?:\s*[/(]\s*(?P<mean>{_NUMBER})\s*\)?)?$"
)
#: A second number below this part of the first looks like a diastolic pressure.
_LIKE_DIASTOLIC = 0.75
#: Numbers that one cell may hold.
_MOST = 99
#: Columns that a line for the chart can fill.
_OF_CHART = ("animal", "taken_at", "method", "setting", "state")


@dataclass(frozen=True, eq=False)
class Laid:
    """A file of readings after its layout was made plain.

    Parameters
    ----------
    sheet : RawSheet
        Its cells, one row a reading or readings side by side.
    mapping : mapping of str to str
        Headings to our names, those that were made here among them.
    layout : str
        A key of `bpvet.records.headings.conventions.LAYOUTS`; "" where the layout is left to the
        header.
    places : array of int (n,)
        Which of several headings a row's reading stood under; 0 where there is one.
    headings : mapping of str to tuple of str
        These headings by our names; by place.
    """

    sheet: RawSheet
    mapping: Mapping[str, str]
    layout: str
    places: NDArray[np.int64]
    headings: Mapping[str, tuple[str, ...]]


def laid_out(raw: RawSheet, convention: Convention, findings: list[Finding]) -> Laid:
    """Return a file with its layout made plain.

    Parameters
    ----------
    raw : RawSheet
        Cells as they stand; a file of another table than readings has only cells filled in.
    convention : Convention
        What is settled for this file.
    findings : list of Finding
        What is to be said of the layout is added here.
    """
    mapping = dict(convention.columns)
    raw = _filled_in(raw, convention, mapping)
    laid = Laid(raw, mapping, "", constant(0, len(raw.lines), np.int64), {})
    if raw.table != "readings" or not raw.columns:
        return laid
    laid = _across(laid, convention, findings)
    laid = _chart_lines(laid)
    return _in_cells(laid, findings)


def _name(laid: Laid, heading: str) -> str:
    """Return our name for a heading of the readings, "" where it is none of ours."""
    bare = heading.strip()
    return column_named("readings", laid.mapping.get(bare) or bare)


def _place_of(laid: Laid, name: str) -> int | None:
    """Return which column bears our name; None where none does, or more than one."""
    places = [i for i, head in enumerate(laid.sheet.header) if _name(laid, head) == name]
    return places[0] if len(places) == 1 else None


def _filled_in(raw: RawSheet, convention: Convention, mapping: dict[str, str]) -> RawSheet:
    """Return the file with the cells that hold for every row of it, where it lacks the column."""
    fill = {
        name: text
        for name, text in convention.every_row.items()
        if column_named(raw.table, name) == name
    }
    if FILE_AN_ANIMAL in convention.layout and raw.table == "readings":
        stem = re.sub(r"\.[^.]*$", "", raw.file)
        fill["animal"] = re.sub(r"(?i)^readings[\s_\-]*", "", stem) or stem
    have = {column_named(raw.table, mapping.get(h.strip()) or h.strip()) for h in raw.header}
    new = {name: text for name, text in fill.items() if name not in have}
    heads = {f"{name} ({FILE_NAME})": name for name in new}
    mapping.update(heads)
    cells = [pa.repeat(scalar_of(text), len(raw.lines)) for text in new.values()]
    return replace(raw, header=(*raw.header, *heads), columns=(*raw.columns, *cells))


def _across(laid: Laid, convention: Convention, findings: list[Finding]) -> Laid:
    """Return a file in which dates head the columns as one row a reading."""
    raw = laid.sheet
    names = [_name(laid, head) for head in raw.header]
    if "taken_at" in names or any(n in READING_QUANTITIES or WIDE.fullmatch(n) for n in names):
        return laid
    texts = text_column([head.strip() for head in raw.header])
    read = moments(texts, times=True, order=convention.dates)
    dated = np.flatnonzero(~np.isnat(read.date))
    either = [i for i, head in enumerate(raw.header) if re.match(SWAPPABLE, head.strip())]
    if len(dated) < 2:
        if len(either) >= 2 and not convention.dates:
            head, code = raw.header[either[0]].strip(), Code.HEADED_BY_WHICH_DATES
            findings.append(
                finding_of(code, raw.file, raw.header_line, head, head, stops=True, head=head)
            )
        return laid
    filled = np.stack([~is_blank(raw.columns[i]) for i in dated], axis=1)
    bare: NDArray[np.bool_] = np.asarray(~filled.any(axis=1))
    bare[list(raw.broken)] = False
    if bare.any():
        line, rows = int(raw.lines[np.argmax(bare)]), int(bare.sum())
        findings.append(finding_of(Code.NOTHING_UNDER_DATES, raw.file, line, rows=rows))
    filled[list(raw.broken), 0] = True
    row, column = np.nonzero(filled)
    index, n = arrow_of(row), len(raw.lines)
    others = [i for i in range(len(raw.header)) if i not in set(dated.tolist())]
    stacked = pa.concat_arrays([uncoded(raw.columns[i]).cast(TEXT) for i in dated])
    heads = tuple(raw.header[i].strip() for i in dated)
    made = (text_column(heads).take(arrow_of(column)), stacked.take(arrow_of(column * n + row)))
    new = np.full(n, -1)
    first = np.flatnonzero(np.diff(row, prepend=-1))
    new[row[first]] = first
    sheet = replace(
        raw,
        header=(*(raw.header[i] for i in others), "taken_at", "systolic"),
        columns=(*(raw.columns[i].take(index) for i in others), *made),
        lines=raw.lines[row],
        broken={int(new[at]): why for at, why in raw.broken.items()},
    )
    mapping = {**laid.mapping, "taken_at": "taken_at", "systolic": "systolic"}
    return Laid(sheet, mapping, "across", column, {"taken_at": heads, "systolic": heads})


def _chart_lines(laid: Laid) -> Laid:
    """Return a file with lines for the chart as one row a reading."""
    at = _place_of(laid, "chart_line")
    if at is None:
        return laid
    raw = laid.sheet
    found = read_chart_lines(trimmed(uncoded(raw.columns[at])).cast(TEXT))
    index = arrow_of(found.row)
    header: list[str] = []
    columns: list[pa.Array] = []
    of_line = dict(found.columns)
    differs = np.zeros(len(found.row), dtype=bool)
    for i, head in enumerate(raw.header):
        name = _name(laid, head)
        if i == at or name in (*READING_QUANTITIES, "excluded", "reading"):
            continue
        cells = raw.columns[i].take(index)
        if name in _OF_CHART:
            # A heading that stands there twice is refused later, with both its columns.
            of_line.pop(name, None)
            in_line, in_row = found.columns[name], trimmed(uncoded(cells)).cast(TEXT)
            both = pc.and_(
                pc.not_equal(in_line, scalar_of("")), pc.not_equal(in_row, scalar_of(""))
            )
            if name in ("animal", "method", "taken_at"):
                # A line's word differs that is neither its row's nor, for a date and time, its
                # beginning.
                low, high = pc.utf8_lower(in_line), pc.utf8_lower(in_row)
                shorter = pc.min_element_wise(pc.utf8_length(low), pc.utf8_length(high))
                same = pc.equal(low, high)
                day = pc.equal(
                    pc.utf8_slice_codeunits(low, 0, 10), pc.utf8_slice_codeunits(high, 0, 10)
                )
                dated = pc.match_substring_regex(low, r"^[0-9]{4}-[0-9]{2}-[0-9]{2}")
                only_day = pc.and_(pc.equal(shorter, scalar_of(10)), pc.and_(dated, day))
                differs |= _mask(pc.and_(both, pc.invert(pc.or_(same, only_day))))
            cells = pc.if_else(pc.equal(in_row, scalar_of("")), in_line, in_row)
        header.append(head)
        columns.append(cells)
    first = np.flatnonzero(np.diff(found.row, prepend=-1))
    first_reading = np.full(len(raw.lines), -1)
    first_reading[found.row[first]] = first
    moved = {int(first_reading[row]): why for row, why in raw.broken.items()}
    line = raw.columns[at]
    for row in np.flatnonzero(differs).tolist():
        text = str(uncoded(line)[int(found.row[row])].as_py())
        moved[row] = (text, reason("row.other_line"))
    heads = {f"{raw.header[at].strip()}: {name}": name for name in of_line}
    sheet = replace(
        raw,
        header=(*header, *heads),
        columns=(*columns, *of_line.values()),
        lines=raw.lines[found.row],
        broken=moved,
    )
    # Each reading is told on its own, though all stand in one cell.
    twice = (raw.header[at].strip(),) * 2
    headings = dict.fromkeys((*READING_QUANTITIES, "excluded"), twice)
    places = constant(0, len(found.row), np.int64)
    return Laid(sheet, {**laid.mapping, **heads}, "chart", places, headings)


def _in_cells(laid: Laid, findings: list[Finding]) -> Laid:
    """Return a file with several numbers in a cell as readings side by side, or as pressures."""
    pair = _place_of(laid, "systolic_diastolic")
    if pair is not None:
        return _pairs(laid, pair)
    at = _place_of(laid, "systolic_list")
    if at is not None:
        cells = trimmed(uncoded(laid.sheet.columns[at])).cast(TEXT)
        return _lists(laid, at, cells, _mask(pc.match_substring_regex(cells, _LIST)))
    at = _place_of(laid, "systolic")
    names = {_name(laid, head) for head in laid.sheet.header}
    if at is None or "reading" in names or any(WIDE.fullmatch(name) for name in names):
        return laid
    cells = trimmed(uncoded(laid.sheet.columns[at])).cast(TEXT)
    several = _mask(pc.match_substring_regex(cells, _SURELY))
    several[list(laid.sheet.broken)] = False
    unclear = several & _may_be_pressures(laid, cells)
    if unclear.any():
        findings.append(_which_numbers(laid, at, cells, np.flatnonzero(unclear)))
    several &= ~unclear
    return _lists(laid, at, cells, several) if several.any() else laid


def _may_be_pressures(laid: Laid, cells: pa.Array) -> NDArray[np.bool_]:
    """Return which cells (n,) may be systolic over diastolic.

    A Doppler flow detector gives systolic pressures alone, so that its numbers are readings,
    unless the second of two is so low that it looks like a diastolic pressure all the same.
    """
    at = _place_of(laid, "method")
    if at is None:
        return np.ones(len(cells), dtype=bool)
    found = pc.extract_regex(cells, _PAIR)
    numbers = []
    for name in ("systolic", "diastolic"):
        digits = pc.replace_substring_regex(_group(found, name), r"[^0-9.]", "")
        number = pc.cast(
            pc.if_else(pc.equal(digits, scalar_of("")), scalar_of("0"), digits), pa.float64()
        )
        numbers.append(numpy_of(number))
    low = _mask(pc.is_valid(found)) & (numbers[1] < _LIKE_DIASTOLIC * numbers[0])
    method = pc.utf8_lower(trimmed(uncoded(laid.sheet.columns[at])))
    return ~_mask(pc.equal(method, scalar_of("doppler"))) | low


def _which_numbers(laid: Laid, at: int, cells: pa.Array, rows: NDArray[np.int64]) -> Finding:
    raw, head = laid.sheet, laid.sheet.header[at].strip()
    text = cells[int(rows[0])].as_py()
    filled = len(cells) - int(pc.sum(pc.equal(cells, scalar_of(""))).as_py())
    return finding_of(
        Code.SEVERAL_NUMBERS,
        raw.file,
        int(raw.lines[rows[0]]),
        head,
        text,
        stops=2 * len(rows) >= filled,
        cells=len(rows),
        such_as=text,
        head=head,
    )


def _lists(laid: Laid, at: int, cells: pa.Array, several: NDArray[np.bool_]) -> Laid:
    """Return a file with lists of readings in a column as readings side by side."""
    raw, head = laid.sheet, laid.sheet.header[at].strip()
    # A bound's sign and its number stay together.
    closed = pc.replace_substring_regex(cells, r"([<>≤≥]=?)\s+", r"\1")
    split = pc.split_pattern_regex(pc.if_else(arrow_of(several), closed, scalar_of("")), _BETWEEN)
    many = np.where(several, np.diff(numpy_of(split.offsets)), 1)
    several &= many <= _MOST
    many = np.where(several, many, 1)
    width = int(many.max(initial=1))
    parts = []
    for number in range(width):
        piece = pc.list_slice(split, number, number + 1, return_fixed_size_list=True).flatten()
        mine = arrow_of(several & (many > number))
        rest = cells if number == 0 else scalar_of("")
        parts.append(pc.if_else(mine, pc.coalesce(piece, scalar_of("")), rest).cast(TEXT))
    heads = {f"{head}, reading {number + 1}": f"systolic_{number + 1}" for number in range(width)}
    header, columns, mapping = [], [], {**laid.mapping, **heads}
    for i, (old, cells_of) in enumerate(zip(raw.header, raw.columns, strict=True)):
        if i == at:
            header += list(heads)
            columns += parts
            continue
        name = _name(laid, old)
        if name in READING_QUANTITIES:
            # What stands beside a list belongs to its first reading, and to a single one.
            mapping[old.strip()] = f"{name}_1"
        header.append(old)
        columns.append(cells_of)
    sheet = replace(raw, header=tuple(header), columns=tuple(columns))
    layout = laid.layout or "list"
    return Laid(sheet, mapping, layout, laid.places, {})


def _pairs(laid: Laid, at: int) -> Laid:
    """Return a file with "165/95 (118)" in a column as systolic, diastolic and mean."""
    raw, head = laid.sheet, laid.sheet.header[at].strip()
    cells = trimmed(uncoded(raw.columns[at])).cast(TEXT)
    found = pc.extract_regex(cells, _PAIR)
    fits = pc.is_valid(found)
    parts = {"systolic": pc.if_else(fits, _group(found, "systolic"), cells)}
    parts |= {name: _group(found, name) for name in ("diastolic", "mean")}
    names = {_name(laid, old) for i, old in enumerate(raw.header) if i != at}
    parts = {
        name: made
        for name, made in parts.items()
        if name not in names
        and (name != "mean" or pc.any(pc.not_equal(made, scalar_of(""))).as_py())
    }
    heads = {f"{head}: {name}": name for name in parts}
    header = (*raw.header[:at], *heads, *raw.header[at + 1 :])
    columns = (*raw.columns[:at], *(p.cast(TEXT) for p in parts.values()), *raw.columns[at + 1 :])
    sheet = replace(raw, header=header, columns=columns)
    return replace(laid, sheet=sheet, mapping={**laid.mapping, **heads})


def _group(found: pa.StructArray, name: str) -> pa.Array:
    return pc.coalesce(pc.struct_field(found, [name]), scalar_of(""))


def _mask(found: pa.Array) -> NDArray[np.bool_]:
    mask: NDArray[np.bool_] = numpy_of(found)
    return mask.copy()
