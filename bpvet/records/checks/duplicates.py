"""Readings that stand there twice, and readings that contradict each other.

In one file only rows equal in every cell, among them a time of day or a number of the reading, are
the same reading twice: two equal untimed readings of one session are good data.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import chain

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.records.checked_table import CheckedTable
from bpvet.records.checks.copied_visits import copied_earlier
from bpvet.records.checks.row_findings import OfRow
from bpvet.records.finding_codes import Code
from bpvet.records.findings import Outcome
from bpvet.records.parsing.arrow import arrow_of
from bpvet.records.parsing.codes import Codes, among, as_one, end_to_end_rows, repeated
from bpvet.records.parsing.columns import distinct_cells
from bpvet.records.parsing.packed import PackedTimes
from bpvet.records.parsing.values import Mask, Values
from bpvet.records.tables import SUMMARY, column_names

#: One row in so many is few.
_FEW = 32
#: Rows that are looked at at once, so that they stay in the processor's cache.
_ROWS = 1 << 15
_DAY, _DAY_NS = 86_400, 86_400_000_000_000


def at_one_time(values: Values) -> Codes:
    """Return the rows (k,) whose animal and time another row has too, in order.

    Where times of day are kept they are few, and only these can be copies or contradictions.
    """
    packed = values.packed("taken_at")
    # Of seconds the span is small, so that one number tells animal and time.
    in_seconds = isinstance(packed, PackedTimes)
    moment, day = (packed.seconds, _DAY) if in_seconds else (packed.view(np.int64), _DAY_NS)
    animal = _codes(values["animal"])
    start = _visits(animal, moment, day)
    if 2 * len(start) > len(moment):
        return np.flatnonzero(repeated(as_one((animal, moment), len(moment))))
    # No two rows of one such visit are alike, so that those of an animal's only one that day need
    # not be sorted.
    again = repeated(as_one((animal[start], moment[start] // day), len(start)))
    length = np.diff(start, append=len(moment))
    rows = end_to_end_rows(start[again], length[again])
    return rows[repeated(as_one((animal[rows], moment[rows]), len(rows)))]


def _visits(animal: NDArray[np.integer], moment: NDArray[np.integer], day: int) -> Codes:
    """Return where rows (n,) of one animal and day begin that stand together, their times rising.

    Parameters
    ----------
    animal, moment : arrays of int (n,)
    day : int
        How many of the units of `moment` make a day.
    """
    found = [np.zeros(min(len(moment), 1), dtype=np.int64)]
    for at in range(1, len(moment), _ROWS):
        some = slice(at - 1, at + _ROWS)
        mine, time = animal[some], moment[some]
        date = time // day
        first = (mine[1:] != mine[:-1]) | (date[1:] != date[:-1]) | (time[1:] <= time[:-1])
        found.append(at + np.flatnonzero(first))
    return np.concatenate(found)


def check_readings_twice(checked: CheckedTable, values: Values, shared: Codes) -> Mask:
    """Set aside readings that are copies; return which rows (n,) those are.

    Copies are exact duplicates, and the later rows of a visit that stands in two files.

    Parameters
    ----------
    checked, values
        The readings.
    shared : array of int (k,)
        As `at_one_time` gives them.
    """
    copied = copied_earlier(checked, values)
    duplicate = copied >= 0
    known = ~np.isnat(values.at("taken_at", shared)) & ~checked.blank("animal")[shared]
    rows = shared[known]
    keys = (
        _codes(values["animal"])[rows],
        values.at("taken_at", rows).view(np.int64),
        _codes(values["method"])[rows],
        _codes(checked.cells("systolic"))[rows],
        checked.reading_in_line[rows],
    )
    candidates = rows[repeated(as_one(keys, len(rows)))]
    if len(candidates) == 0:
        _report_copied(checked, np.flatnonzero(duplicate), copied)
        return duplicate
    earlier = _equal_earlier(checked, candidates)
    rows = np.flatnonzero(earlier >= 0)
    numbered = values["timed"] | (~checked.blank("reading")) | checked.several
    twice = rows[numbered[rows]]
    # Being a copy goes before any other reason: a copy was not taken at all.
    checked.take_back(twice)
    checked.report(twice, "", Code.DUPLICATE, Outcome.ROW, earlier=_line(checked, earlier))
    # Equal rows that nothing tells apart: in one file they are two readings; the same row in two
    # files, or the same mean given twice, looks like a copy.
    some = rows[~numbered[rows] & ~duplicate[rows]]
    loose = some[(checked.file[some] != checked.file[earlier[some]]) | checked.summary[some]]
    checked.report(loose, "", Code.PERHAPS_DUPLICATE, earlier=_line(checked, earlier))
    duplicate[twice] = False
    _report_copied(checked, np.flatnonzero(duplicate), copied)
    duplicate[twice] = True
    return duplicate


def _report_copied(checked: CheckedTable, rows: Codes, earlier: Codes) -> None:
    checked.take_back(rows)
    checked.report(rows, "", Code.SAVED_TWICE, Outcome.ROW, earlier=_line(checked, earlier))


def report_contradictions(checked: CheckedTable, values: Values, shared: Codes) -> None:
    """Report which readings bear the same number, or the same time, and yet differ; both are kept.

    A time that all readings of the day and method bear is the visit's, and contradicts nothing.
    `shared` is as in `check_readings_twice`.
    """
    if not len(shared):
        return
    of_label = [_codes(values[name]) for name in ("animal", "method", "session")]

    def keys(rows: Codes, *names: str) -> Codes:
        # A number's bits tell it from others, whatever they would be as a whole number.
        others = (values.at(name, rows).view(np.int64) for name in names)
        return as_one(chain((code[rows] for code in of_label), others), len(rows))

    def timed(rows: Codes) -> Codes:
        return rows[values["timed"][rows] & np.isnan(values.at("reading", rows))]

    rows = shared[checked.usable[shared] & ~np.isnat(values.at("date", shared))]
    numbered = rows[~np.isnan(values.at("reading", rows))]
    number = keys(numbered, "taken_at", "reading")
    _report_later(checked, numbered, number, Code.SAME_NUMBER)
    if not repeated(keys(timed(rows), "taken_at")).any():
        return
    rows = timed(np.flatnonzero(checked.usable & values.given("date")))
    time = keys(rows, "taken_at")
    twice = repeated(time)
    of_day = keys(rows, "date")
    doubtful = twice.copy()
    # Days on which some time stands once.
    alone = np.unique(of_day[~twice])
    doubtful &= among(of_day, alone) if len(alone) else False
    _report_later(checked, rows[doubtful], time[doubtful], Code.SAME_TIME)


def _report_later(checked: CheckedTable, rows: Codes, key: Codes, code: Code) -> None:
    """Add a finding for each of the rows but the first of those that bear its key."""
    twice = repeated(key)
    if not twice.any():
        return
    rows = rows[twice]
    _, first, group = np.unique(key[twice], return_index=True, return_inverse=True)
    before = rows[first][group]
    later = before != rows
    rows, before = rows[later], before[later]
    earlier: Codes | dict[int, int]
    if _FEW * len(rows) < checked.n:
        # An array of all rows would be kept as long as the findings.
        earlier = dict(zip(rows.tolist(), before.tolist(), strict=True))
    else:
        earlier = np.full(checked.n, -1, dtype=np.int64)
        earlier[rows] = before
    checked.report(rows, "", code, earlier=_line(checked, earlier))


def _equal_earlier(checked: CheckedTable, rows: Codes) -> Codes:
    """Return for each row (n,) the first of `rows` that equals it in every cell, or −1."""
    names = [*column_names("readings"), *SUMMARY, *checked.unknown]
    index = arrow_of(rows)
    columns = (checked.whole, *map(checked.cells, names))
    batch = checked.reading_in_line[rows]
    keys = chain([batch], (_codes(cells.take(index)) for cells in columns))
    _, first, group = np.unique(as_one(keys, len(rows)), return_index=True, return_inverse=True)
    first = rows[first][group]
    earlier = np.full(checked.n, -1, dtype=np.int64)
    earlier[rows] = np.where(first < rows, first, -1)
    return earlier


def _line(checked: CheckedTable, earlier: Codes | Mapping[int, int]) -> OfRow:
    """Return file and line of the row that each row is held against."""

    def line_of(row: int) -> tuple[str, int]:
        at = int(earlier[row])
        return checked.files[checked.file[at]], int(checked.line[at])

    return OfRow(line_of)


def _codes(cells: pa.Array) -> NDArray[np.integer]:
    return distinct_cells(cells)[1]
