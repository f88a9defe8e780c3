"""Cells to values: words, numbers, pressures and dates; what is none of them becomes a finding."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.facts.protocol import MMHG_PER_KPA
from bpvet.facts.words import QUANTITIES_OF
from bpvet.frozen import field_names
from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.row_findings import AS_IT_STANDS, WRITTEN, near_names
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Outcome, finding_of
from bpvet.records.parsing.arrow import arrow_of
from bpvet.records.parsing.columns import constant, distinct, each, is_text, of_texts
from bpvet.records.parsing.dates import (
    EARLIEST,
    EARLIEST_BIRTH,
    NAT,
    Moments,
    dates_of_either_order,
    moments,
)
from bpvet.records.parsing.numbers import NO_SOUND, NO_SOUND_CODE, numbers
from bpvet.records.parsing.packed import PackedNumbers, packed_numbers, packed_times
from bpvet.records.parsing.packed import Values as Values
from bpvet.records.read_options import DATE_ORDERS
from bpvet.records.tables import SUMMARY, TABLES, Column

#: Some columns of a table, by name.
_Some = dict[str, Any]
Mask = NDArray[np.bool_]

#: Words under "excluded" that say that the reading counts.
_DENIALS = ("no", "false", "0")
#: Kinds of columns whose cells may be bounds.
BOUNDED = ("quantity", "bounded")
#: What an instrument shows in place of a number when it fails: a zero, a code, dashes.
FAILED = re.compile(
    r"[-+]?0+(?:[.,]0*)?|(?:e|er|err|error|fail|failed|failure)[ .:#_-]?\d{0,3}|[-–—_*.]{2,}",
    re.IGNORECASE,
)
#: Columns that hold a pressure, and so are in the unit of the file.
PRESSURES = ("systolic", "diastolic", "mean", "systolic_sd", "target_systolic")


def parse(checked: CheckedTable) -> Values:
    """Return a table's columns as values; every cell that is none is reported in the table.

    Parameters
    ----------
    checked : CheckedTable
        The table's cells.

    Returns
    -------
    Values
        Our columns, in the contract's order. A ``quantity`` and a ``bounded`` have their bound
        beside them under ``…_bound``; a ``moment`` has ``timed`` and ``date``; readings have
        ``summary_n`` and ``summary_sd`` too.
    """
    if checked.n == 0:
        # Most folders lack some table: its values are made once.
        return Values(_of_no_rows(checked.table))
    return _parsed(checked)


@cache
def _of_no_rows(table: str) -> Values:
    return _parsed(CheckedTable(table, []))


def _parsed(checked: CheckedTable) -> Values:
    values = Values()
    passed_over = np.zeros(checked.n, dtype=bool)
    for column in TABLES[checked.table]:
        if not checked.given(column.name):
            values.update(_not_given(checked, column))
            continue
        if column.needed:
            blank = checked.blank(column.name) & checked.has(column.name) & ~checked.broken
            checked.report(blank, column.name, Code.BLANK_CELL, Outcome.ROW)
        if column.kind == "text":
            values[column.name] = checked.cells(column.name)
        elif column.kind == "word":
            values[column.name] = _words(checked, column)
        elif column.kind in ("date", "moment"):
            values.update(_dates(checked, column))
        else:
            skip = passed_over
            if "method" in values:
                only = _not_given_by_doppler(checked, values, column)
                failed = _failed(checked, values, column)
                skip = failed if only is None else failed | only
            values.update(_numbers(checked, column, skip))
    if checked.table == "readings":
        values["excluded"] = _excluded(checked)
        # Of which rows a number lower than any animal has is set aside, the check of it tells.
        values["below_gauge"] = constant(False, checked.n, bool)
        values.update(_summaries(checked))
        if checked.reading_in_line.any():
            values["reading"] = _order(checked, values["reading"])
    return values


def _not_given(checked: CheckedTable, column: Column) -> _Some:
    """Return the values of a column that no file has."""
    n = checked.n
    if column.kind in ("text", "word"):
        return {column.name: checked.cells(column.name)}
    if column.kind in ("date", "moment"):
        never, no = constant(NAT, n, "datetime64[ns]"), constant(False, n, bool)
        beside = {"timed": no, "date": never, "zoned": no}
        return {column.name: never} | (beside if column.kind == "moment" else {})
    bound = {f"{column.name}_bound": checked.no_bounds} if column.kind in BOUNDED else {}
    return {column.name: checked.no_numbers, **bound}


def file_rows(checked: CheckedTable, mask: Mask) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Yield each file that has rows in the mask, with those rows."""
    if len(checked.files) == 1:
        rows = np.flatnonzero(mask)
        if len(rows):
            yield 0, rows
        return
    for file in np.unique(checked.file[mask]).tolist():
        yield file, np.flatnonzero(mask & (checked.file == file))


def _words(checked: CheckedTable, column: Column) -> pa.Array:
    """Return a column in which only certain words may stand, "" for others."""
    texts, code = distinct(checked.cells(column.name))
    ours = {word.casefold(): word for word in column.words}
    plain = [" ".join(text.casefold().split()) for text in texts]
    other = dict(column.meant)
    meant = [other.get(text, "") for text in plain]
    _report_meant(checked, column, meant, code)
    read = [ours.get(text, word) for text, word in zip(plain, meant, strict=True)]
    bad = np.array([text != "" and not word for text, word in zip(texts, read, strict=True)], bool)
    rows = np.flatnonzero(each(bad, code)) if bad.any() else np.zeros(0, dtype=np.int64)
    checked.report(
        rows,
        column.name,
        Code.UNKNOWN_WORD,
        _outcome(column),
        written=WRITTEN,
        name=column.name,
        words=tuple(column.words),
        near=near_names(column.words, lambda: checked.raw(column.name).take(arrow_of(rows))),
    )
    return of_texts(read, code)


def _report_meant(
    checked: CheckedTable, column: Column, meant: Sequence[str], code: NDArray[np.integer]
) -> None:
    """Report the cells whose word (m,) is read as one of ours, by the word of each row (n,)."""
    for word in dict.fromkeys(filter(None, meant)):
        these = np.array([other == word for other in meant], dtype=bool)
        rows = np.flatnonzero(each(these, code))
        checked.report(rows, column.name, Code.MEANT_WORD, written=WRITTEN, word=word)


def _numbers(checked: CheckedTable, column: Column, passed_over: Mask) -> _Some:
    """Return a column of numbers, NaN where there is none, and its bounds."""
    bounded = column.kind in BOUNDED
    read = numbers(checked.cells(column.name), bounds=bounded, sounds=column.kind == "quantity")
    decimal = read.comma
    if decimal.any():
        decimal = decimal & _commas_agree(checked, read.point, read.thousand)
    for file, rows in file_rows(checked, decimal):
        checked.decimal_commas.append(
            f"{checked.files[file]}: {checked.heading(column.name, int(rows[0]))}"
        )
    bad = read.bad
    if read.comma.any():
        bad = bad | (read.comma & ~decimal)
    if bad.any():
        bad = bad & ~passed_over
    checked.report(bad, column.name, Code.NOT_A_NUMBER, _outcome(column), written=WRITTEN)
    _report_soundless(checked, column, read.bound)
    gone = bad | passed_over if bad.any() else passed_over
    value: Any
    bound = read.bound
    if gone.any() or _converts(checked, column.name):
        value = np.where(gone, np.nan, in_mmhg(checked, column.name, read.value))
        value = packed_numbers(value, read.few, read.code)
        bound = np.where(gone, 0, bound).astype(np.int8)
    else:
        value = PackedNumbers(read.few, read.code, np.zeros(0, np.int64), np.zeros(0))
    return {column.name: value} | ({f"{column.name}_bound": bound} if bounded else {})


def _report_soundless(checked: CheckedTable, column: Column, bound: NDArray[np.int8]) -> None:
    """Report the cells that are read as "no sound" and are written otherwise."""
    rows = np.flatnonzero(bound == NO_SOUND_CODE)
    if len(rows):
        texts = checked.raw_at(column.name, rows)
        otherwise = [" ".join(text.casefold().split()) != NO_SOUND for text in texts]
        rows = rows[np.array(otherwise, dtype=bool)]
        checked.report(rows, column.name, Code.MEANT_WORD, written=WRITTEN, word=NO_SOUND)


def _outcome(column: Column) -> Outcome:
    return Outcome.ROW if column.spoils else Outcome.CELL


def _converts(checked: CheckedTable, column: str) -> bool:
    return column in PRESSURES and "kPa" in checked.units


def in_mmhg(checked: CheckedTable, column: str, value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a column's numbers (n,), pressures of files in kPa multiplied to mmHg."""
    if not _converts(checked, column):
        return value
    return np.where(checked.in_kilopascal(), value * MMHG_PER_KPA, value)


def _commas_agree(checked: CheckedTable, point: Mask, thousand: Mask) -> Mask:
    """Return the rows (n,) whose file shows that its commas in this column are decimal.

    They are if no cell of the column has a point, and none has exactly three digits after the
    comma (which might be a thousands mark).
    """
    files = np.ones(len(checked.files), dtype=bool)
    files[checked.file[point | thousand]] = False
    return files[checked.file]


def _not_given_by_doppler(checked: CheckedTable, values: Values, column: Column) -> Mask | None:
    """Set aside what a Doppler flow detector cannot have given; return those cells (n,)."""
    if column.kind != "quantity" or column.name in QUANTITIES_OF["doppler"]:
        return None
    cells: Mask = ~checked.blank(column.name)
    cells &= is_text(values["method"], "doppler")
    checked.report(cells, column.name, Code.NOT_BY_DOPPLER, Outcome.CELL, name=column.name)
    return cells


def _failed(checked: CheckedTable, values: Values, column: Column) -> Mask:
    """Set aside rows in which the instrument failed; return the cells (n,) that show it.

    An error code or a zero beside a systolic pressure says that the reading failed. It was taken,
    so that it counts as taken; one that the clinic has excluded stays so.
    """
    none = np.zeros(checked.n, dtype=bool)
    if column.kind != "quantity" or column.name == "systolic":
        return none
    texts, code = distinct(checked.cells(column.name))
    failed = np.array([FAILED.fullmatch(text) is not None for text in texts], dtype=bool)
    if not failed.any():
        return none
    cells: Mask = failed[code] & is_text(values["method"], "oscillometric")
    reasons, which = distinct(checked.cells("excluded"))
    counts = [reason == "" or reason.casefold() in _DENIALS for reason in reasons]
    cells &= ~checked.blank("systolic") & np.array(counts, dtype=bool)[which]
    checked.report(
        cells,
        column.name,
        Code.INSTRUMENT_FAILED,
        Outcome.ROW,
        written=WRITTEN,
        name=column.name,
    )
    return cells


def _dates(checked: CheckedTable, column: Column) -> _Some:
    """Return a column of dates as datetime64[ns], NaT where there is none."""
    read = _moments(checked, column)
    outcome = _outcome(column)
    refused = _refuse_swappable(checked, column, read.swappable)
    bad = read.bad & ~refused
    rows = np.flatnonzero(bad)
    stated = np.array(checked.dates, dtype=object)[checked.file[rows]]
    for order in ("", *DATE_ORDERS):
        checked.report(
            rows[stated == order],
            column.name,
            Code.NOT_A_DATE,
            outcome,
            written=WRITTEN,
            order=order,
        )
    date = read.date
    earliest = EARLIEST_BIRTH if column.name == "birth_date" else EARLIEST
    early = date < earliest
    year = earliest.astype(object).year
    checked.report(early, column.name, Code.EARLY_DATE, outcome, written=WRITTEN, year=year)
    moment, timed = read.moment, read.timed
    if early.any():
        date = np.where(early, np.datetime64("NaT"), date)
        moment, timed = np.where(early, NAT, moment), timed & ~early
    if column.kind == "date":
        return {column.name: date.astype("datetime64[ns]")}
    packed = packed_times(moment, date) or (moment, date.astype("datetime64[ns]"))
    return {column.name: packed[0], "timed": timed, "date": packed[1], "zoned": read.zoned}


def _moments(checked: CheckedTable, column: Column) -> Moments:
    """Return a column's cells as dates, each file's in the order that was said of it."""
    cells, times = checked.cells(column.name), column.kind == "moment"
    orders = dict.fromkeys(checked.dates)
    read = {order: moments(cells, times, order) for order in orders}
    if len(read) == 1:
        return next(iter(read.values()))
    stated = checked.date_orders()
    found = moments(cells, times)
    for order, in_order in read.items():
        mine = stated == order
        found = Moments(
            *(
                np.where(mine, getattr(in_order, field), getattr(found, field))
                for field in field_names(Moments)
            )
        )
    return found


def _refuse_swappable(checked: CheckedTable, column: Column, swappable: Mask) -> Mask:
    """Refuse a column by name in which day and month may be swapped; return its rows (n,).

    A few such cells in a column of other dates are told one by one instead.
    """
    refused = np.zeros(checked.n, dtype=bool)
    for file, rows in file_rows(checked, swappable):
        filled = ~checked.blank(column.name) & (checked.file == file)
        if 2 * len(rows) < filled.sum():
            continue
        texts = checked.cells(column.name).take(arrow_of(rows)).to_pylist()
        # A cell that can be read in two ways shows the trouble best.
        best = next((i for i, text in enumerate(texts) if len(dates_of_either_order(text)) > 1), 0)
        shows = int(rows[best])
        checked.report_file(
            file,
            column.name,
            Code.DAY_OR_MONTH,
            shows,
            stops=column.spoils,
            such_as=texts[best],
            dates=len(rows),
            rows=column.spoils,
        )
        refused[rows] = True
        if column.spoils:
            heading = checked.heading(column.name, int(rows[0]))
            checked.put_aside(
                rows, finding_of(Code.WHICH_FIRST, checked.files[file], heading=heading)
            )
    return refused


def _excluded(checked: CheckedTable) -> pa.Array:
    """Return the reasons for exclusion; "no", "false" and "0" are none, and are said."""
    texts, code = distinct(checked.cells("excluded"))
    denied = np.array([text.casefold() in _DENIALS for text in texts], bool)
    rows = np.flatnonzero(each(denied, code)) if denied.any() else np.zeros(0, dtype=np.int64)
    checked.report(rows, "excluded", Code.NOT_EXCLUDED, written=WRITTEN)
    wordless = np.array([text != "" and not any(map(str.isalnum, text)) for text in texts], bool)
    if wordless.any():
        rows = np.flatnonzero(each(wordless, code))
        checked.report(rows, "excluded", Code.EXCLUDED_UNSAID, written=WRITTEN)
    if not denied.any():
        return checked.cells("excluded")
    read = ["" if text.casefold() in _DENIALS else text for text in texts]
    return of_texts(read, code)


def _summaries(checked: CheckedTable) -> _Some:
    """Return the count and SD behind rows that give a mean; say what other rows have of them."""
    if not any(map(checked.given, SUMMARY)):
        return {"summary_n": constant(0, checked.n, np.int64), "summary_sd": checked.no_numbers}
    for name in SUMMARY:
        rows = ~checked.blank(name) & ~checked.summary
        checked.report(rows, name, Code.MEAN_BESIDE_READINGS)
    read = numbers(checked.cells("systolic_n"), bounds=False)
    whole = (read.value >= 1) & (read.value <= 1000) & (read.value == np.round(read.value))
    not_whole = checked.summary & ~whole
    checked.report(not_whole, "systolic_n", Code.NOT_A_COUNT, Outcome.ROW, cell=AS_IT_STANDS)
    count = np.where(checked.summary & whole, read.value, 0).astype(np.int64)
    spread = numbers(checked.cells("systolic_sd"), bounds=False)
    given = checked.summary & ~checked.blank("systolic_sd")
    useful = (spread.value >= 0) & ~spread.bad & (count >= 2)
    comma = spread.comma & ~_commas_agree(checked, spread.point, spread.thousand)
    useful &= ~comma
    useless = given & ~useful
    checked.report(useless, "systolic_sd", Code.NOT_A_SPREAD, Outcome.CELL, cell=AS_IT_STANDS)
    sd = in_mmhg(checked, "systolic_sd", spread.value)
    return {"summary_n": count, "summary_sd": np.where(given & useful, sd, np.nan)}


def _order(checked: CheckedTable, reading: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the place of each reading; side by side, it is that of its column."""
    beside = checked.reading_in_line > 0
    numbered = beside & ~checked.blank("reading")
    checked.report(numbered, "reading", Code.ORDER_BESIDE_READINGS)
    return np.where(beside, checked.reading_in_line, reading)
