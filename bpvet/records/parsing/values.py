"""Cells to values: words, numbers, pressures and dates; what is none of them becomes a finding."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields
from functools import cache
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.facts.protocol import MMHG_PER_KPA
from bpvet.facts.words import QUANTITIES_OF
from bpvet.records.checked_table import CheckedTable as Ledger
from bpvet.records.checks.row_findings import in_turn
from bpvet.records.findings import shown
from bpvet.records.headings.near_names import either, hints
from bpvet.records.headings.settled import WHICH_ORDER
from bpvet.records.parsing.columns import constant, distinct, each, is_text, of_texts
from bpvet.records.parsing.dates import (
    EARLIEST,
    EARLIEST_BIRTH,
    NAT,
    Moments,
    both_readings,
    moments,
    why_not_a_date,
)
from bpvet.records.parsing.numbers import number_mend, numbers, why_not_a_number
from bpvet.records.read_options import DATE_ORDERS
from bpvet.records.tables import SUMMARY, TABLES, Column

#: A table's columns: arrays of numbers or dates, or pyarrow arrays of text, each (n,).
Values = dict[str, Any]
Mask = NDArray[np.bool_]

LEAVE_OUT = 'Correct it; if the reading should not count, say why under "excluded".'
ISO_MEND = (
    "Write dates as YYYY-MM-DD; in a spreadsheet give the column the format yyyy-mm-dd and save "
    "it as CSV again."
)
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


def parse(ledger: Ledger) -> Values:
    """Return a table's columns as values; every cell that is none is said in the ledger.

    Parameters
    ----------
    ledger : Ledger
        The table's cells.

    Returns
    -------
    dict
        Our columns, in the contract's order. A ``quantity`` and a ``bounded`` have their bound
        beside them under ``…_bound``; a ``moment`` has ``timed`` and ``date``; readings have
        ``summary_n`` and ``summary_sd`` too.
    """
    if ledger.n == 0:
        # Most folders lack some table: its values are made once.
        return dict(_of_no_rows(ledger.table))
    return _parsed(ledger)


@cache
def _of_no_rows(table: str) -> Values:
    return _parsed(Ledger(table, []))


def _parsed(ledger: Ledger) -> Values:
    values: Values = {}
    passed_over = np.zeros(ledger.n, dtype=bool)
    for column in TABLES[ledger.table]:
        if not ledger.given(column.name):
            values.update(_not_given(ledger, column))
            continue
        if column.needed:
            _say_blank(ledger, column)
        if column.kind == "text":
            values[column.name] = ledger.cells(column.name)
        elif column.kind == "word":
            values[column.name] = _words(ledger, column)
        elif column.kind in ("date", "moment"):
            values.update(_dates(ledger, column))
        else:
            skip = passed_over
            if "method" in values:
                only = _not_given_by_doppler(ledger, values, column)
                failed = _failed(ledger, values, column)
                skip = failed if only is None else failed | only
            values.update(_numbers(ledger, column, skip))
    if ledger.table == "readings":
        values["excluded"] = _excluded(ledger)
        values.update(_summaries(ledger))
        values["reading"] = _order(ledger, values["reading"])
    return values


def _not_given(ledger: Ledger, column: Column) -> Values:
    """Return the values of a column that no file has."""
    n = ledger.n
    if column.kind in ("text", "word"):
        return {column.name: ledger.cells(column.name)}
    if column.kind in ("date", "moment"):
        never, no = constant(NAT, n, "datetime64[ns]"), constant(False, n, bool)
        beside = {"timed": no, "date": never, "zoned": no}
        return {column.name: never} | (beside if column.kind == "moment" else {})
    bound = {f"{column.name}_bound": ledger.no_bounds} if column.kind in BOUNDED else {}
    return {column.name: ledger.no_numbers, **bound}


def file_rows(ledger: Ledger, mask: Mask) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Yield each file that has rows in the mask, with those rows."""
    if len(ledger.files) == 1:
        rows = np.flatnonzero(mask)
        if len(rows):
            yield 0, rows
        return
    for file in np.unique(ledger.file[mask]).tolist():
        yield file, np.flatnonzero(mask & (ledger.file == file))


def _say_blank(ledger: Ledger, column: Column) -> None:
    blank = ledger.blank(column.name) & ledger.has(column.name) & ~ledger.broken
    ledger.say(
        blank,
        column.name,
        "The cell is blank, and the row cannot be used without it.",
        "Fill it in.",
        "blank",
        "row",
    )


def _words(ledger: Ledger, column: Column) -> pa.Array:
    """Return a column in which only certain words may stand, "" for others."""
    texts, code = distinct(ledger.cells(column.name))
    ours = {word.casefold(): word for word in column.words}
    read = [ours.get(" ".join(text.casefold().split()), "") for text in texts]
    bad = np.array([text != "" and not word for text, word in zip(texts, read, strict=True)], bool)
    what = column.name.replace("_", " ")

    hint = hints(column.words)

    def mend(value: str) -> str:
        return f"Write {either(column.words)}. {hint(value.strip())}".rstrip()

    rows = np.flatnonzero(each(bad, code)) if bad.any() else np.zeros(0, dtype=np.int64)
    ledger.say(
        rows,
        column.name,
        lambda value: f"{shown(value.strip())} is not a {what} known here.",
        in_turn(mend, lambda: ledger.raw(column.name).take(pa.array(rows))),
        "unknown word",
        "row" if column.spoils else "cell",
    )
    return of_texts(read, code)


def _numbers(ledger: Ledger, column: Column, passed_over: Mask) -> Values:
    """Return a column of numbers, NaN where there is none, and its bounds."""
    bounded = column.kind in BOUNDED
    read = numbers(ledger.cells(column.name), bounds=bounded, sounds=column.kind == "quantity")
    decimal = read.comma
    if decimal.any():
        decimal = decimal & _commas_agree(ledger, read.point, read.thousand)
    for file, rows in file_rows(ledger, decimal):
        ledger.decimal_commas.append(
            f"{ledger.files[file]}: {ledger.heading(column.name, int(rows[0]))}"
        )
    bad = (read.bad | (read.comma & ~decimal)) & ~passed_over
    outcome = "row" if column.spoils else "cell"
    ledger.say(
        bad,
        column.name,
        lambda v: why_not_a_number(v.strip()),
        lambda v: number_mend(v.strip()),
        "not a number",
        outcome,
    )
    gone = bad | passed_over
    value, bound = in_mmhg(ledger, column.name, read.value), read.bound
    if gone.any():
        value, bound = np.where(gone, np.nan, value), np.where(gone, 0, bound).astype(np.int8)
    return {column.name: value} | ({f"{column.name}_bound": bound} if bounded else {})


def in_mmhg(ledger: Ledger, column: str, value: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return a column's numbers (n,), pressures of files in kPa multiplied to mmHg."""
    if column not in PRESSURES or "kPa" not in ledger.units:
        return value
    return np.where(ledger.in_kilopascal(), value * MMHG_PER_KPA, value)


def _commas_agree(ledger: Ledger, point: Mask, thousand: Mask) -> Mask:
    """Return the rows (n,) whose file shows that its commas in this column are decimal.

    They are if no cell of the column has a point, and none has exactly three digits after the
    comma (which might be a thousands mark).
    """
    files = np.ones(len(ledger.files), dtype=bool)
    files[ledger.file[point | thousand]] = False
    agree: Mask = files[ledger.file]
    return agree


def _not_given_by_doppler(ledger: Ledger, values: Values, column: Column) -> Mask | None:
    """Set aside what a Doppler flow detector cannot have given; return those cells (n,)."""
    if column.kind != "quantity" or column.name in QUANTITIES_OF["doppler"]:
        return None
    cells: Mask = ~ledger.blank(column.name)
    cells &= is_text(values["method"], "doppler")
    what = column.name.replace("_", " ")
    ledger.say(
        cells,
        column.name,
        f"A Doppler flow detector gives no {what}.",
        "If another instrument gave it, enter that as a reading of its own method"
        + (', or under "counted_pulse".' if column.name == "heart_rate" else "."),
        "not given by Doppler",
        "cell",
    )
    return cells


def _failed(ledger: Ledger, values: Values, column: Column) -> Mask:
    """Set aside rows in which the instrument failed; return the cells (n,) that show it.

    An error code or a zero beside a systolic pressure says that the reading failed. It was taken,
    so that it counts as taken; one that the clinic has excluded stays so.
    """
    none = np.zeros(ledger.n, dtype=bool)
    if column.kind != "quantity" or column.name == "systolic":
        return none
    texts, code = distinct(ledger.cells(column.name))
    failed = np.array([FAILED.fullmatch(text) is not None for text in texts], dtype=bool)
    if not failed.any():
        return none
    cells: Mask = failed[code] & is_text(values["method"], "oscillometric")
    cells &= ~ledger.blank("systolic") & _excluded_is_blank(ledger)
    what = column.name.replace("_", " ")
    ledger.say(
        cells,
        column.name,
        lambda value: f"The instrument gave {shown(value.strip())} for the {what}: it failed.",
        "Nothing to do if the reading failed; otherwise correct the cell.",
        "instrument failed",
        "row",
    )
    return cells


def _excluded_is_blank(ledger: Ledger) -> Mask:
    texts, code = distinct(ledger.cells("excluded"))
    counts = [text == "" or text.casefold() in _DENIALS for text in texts]
    return np.array(counts, dtype=bool)[code]


def _dates(ledger: Ledger, column: Column) -> Values:
    """Return a column of dates as datetime64[ns], NaT where there is none."""
    read = _moments(ledger, column)
    outcome = "row" if column.spoils else "cell"
    refused = _refuse_swappable(ledger, column, read.swappable)
    bad = read.bad & ~refused
    rows = np.flatnonzero(bad)
    stated = np.array(ledger.dates, dtype=object)[ledger.file[rows]]
    for order in ("", *DATE_ORDERS):
        ledger.say(
            rows[stated == order],
            column.name,
            lambda value, order=order: why_not_a_date(value.strip(), order),  # type: ignore[misc]
            ISO_MEND,
            "not a date",
            outcome,
        )
    date = read.date
    earliest = EARLIEST_BIRTH if column.name == "birth_date" else EARLIEST
    early = date < earliest
    ledger.say(
        early,
        column.name,
        lambda value: f"{shown(value.strip())} is before {earliest.astype(object).year}.",
        "Correct the year; a date left open is a blank cell.",
        "early date",
        outcome,
    )
    moment, timed = read.moment, read.timed
    if early.any():
        date = np.where(early, np.datetime64("NaT"), date)
        moment, timed = np.where(early, NAT, moment), timed & ~early
    midnight = date.astype("datetime64[ns]")
    if column.kind == "date":
        return {column.name: midnight}
    return {column.name: moment, "timed": timed, "date": midnight, "zoned": read.zoned}


def _moments(ledger: Ledger, column: Column) -> Moments:
    """Return a column's cells as dates, each file's in the order that was said of it."""
    cells, times = ledger.cells(column.name), column.kind == "moment"
    orders = dict.fromkeys(ledger.dates)
    read = {order: moments(cells, times, order) for order in orders}
    if len(read) == 1:
        return next(iter(read.values()))
    stated = ledger.date_orders()
    found = moments(cells, times)
    for order, one in read.items():
        mine = stated == order
        found = Moments(
            *(
                np.where(mine, getattr(one, part.name), getattr(found, part.name))
                for part in fields(Moments)
            )
        )
    return found


def _refuse_swappable(ledger: Ledger, column: Column, swappable: Mask) -> Mask:
    """Refuse a column by name in which day and month may be swapped; return its rows (n,).

    A few such cells in a column of other dates are told one by one instead.
    """
    refused = np.zeros(ledger.n, dtype=bool)
    for file, rows in file_rows(ledger, swappable):
        filled = ~ledger.blank(column.name) & (ledger.file == file)
        if 2 * len(rows) < filled.sum():
            continue
        texts = ledger.cells(column.name).take(pa.array(rows)).to_pylist()
        # A cell that can be read in two ways shows the trouble best.
        best = next((i for i, text in enumerate(texts) if " or " in both_readings(text)), 0)
        both = both_readings(texts[best]) or "no date of either order"
        reason = f"{shown(texts[best])} could be {both}; dates are never guessed."
        if column.spoils:
            reason += f" All {len(rows)} rows with such a date are set aside."
        else:
            reason += f" All {len(rows)} such dates are set aside."
        ledger.say_of_file(
            file,
            column.name,
            reason,
            WHICH_ORDER,
            "day or month first",
            stops=column.spoils,
            row=int(rows[best]),
        )
        refused[rows] = True
        if column.spoils:
            ledger.put_aside(
                rows, f"{ledger.heading(column.name, int(rows[0]))}: day or month first?"
            )
    return refused


def _excluded(ledger: Ledger) -> pa.Array:
    """Return the reasons for exclusion; "no", "false" and "0" are none, and are said."""
    texts, code = distinct(ledger.cells("excluded"))
    denied = np.array([text.casefold() in _DENIALS for text in texts], bool)
    ledger.say(
        np.flatnonzero(each(denied, code)) if denied.any() else np.zeros(0, dtype=np.int64),
        "excluded",
        lambda value: f"{shown(value.strip())} is taken to mean that the reading counts.",
        "Leave the cell blank for a reading that counts; write the reason for one that does not.",
        "not excluded",
    )
    if not denied.any():
        return ledger.cells("excluded")
    read = ["" if text.casefold() in _DENIALS else text for text in texts]
    return of_texts(read, code)


def _summaries(ledger: Ledger) -> Values:
    """Return the count and SD behind rows that give a mean; say what other rows have of them."""
    if not any(map(ledger.given, SUMMARY)):
        return {"summary_n": constant(0, ledger.n, np.int64), "summary_sd": ledger.no_numbers}
    for name in SUMMARY:
        ledger.say(
            ~ledger.blank(name) & ~ledger.summary,
            name,
            "It is not used: the row gives no mean, or its readings stand beside it.",
            "Nothing to do.",
            "mean beside readings",
        )
    read = numbers(ledger.cells("systolic_n"), bounds=False)
    whole = (read.value >= 1) & (read.value <= 1000) & (read.value == np.round(read.value))
    ledger.say(
        ledger.summary & ~whole,
        "systolic_n",
        lambda v: f"{shown(v)} is not a count of readings." if v else "The count is missing.",
        "Write how many readings are behind the mean.",
        "not a count",
        "row",
    )
    count = np.where(ledger.summary & whole, read.value, 0).astype(np.int64)
    spread = numbers(ledger.cells("systolic_sd"), bounds=False)
    given = ledger.summary & ~ledger.blank("systolic_sd")
    useful = (spread.value >= 0) & ~spread.bad & (count >= 2)
    comma = spread.comma & ~_commas_agree(ledger, spread.point, spread.thousand)
    useful &= ~comma
    ledger.say(
        given & ~useful,
        "systolic_sd",
        lambda value: f"{shown(value)} is not a standard deviation of two or more readings.",
        "Write the standard deviation in mmHg, or leave the cell blank.",
        "not a spread",
        "cell",
    )
    sd = in_mmhg(ledger, "systolic_sd", spread.value)
    return {"summary_n": count, "summary_sd": np.where(given & useful, sd, np.nan)}


def _order(ledger: Ledger, reading: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the place of each reading; side by side, it is that of its column."""
    beside = ledger.part > 0
    if not beside.any():
        return reading
    ledger.say(
        beside & ~ledger.blank("reading"),
        "reading",
        "It is not used: the readings are side by side, and their headings number them.",
        "Nothing to do.",
        "order beside readings",
    )
    return np.where(beside, ledger.part, reading)
