"""Readings that stand there twice, and readings that contradict each other.

In one file only rows equal in every cell, among them a time of day or a number of the reading, are
the same reading twice: two equal untimed readings of one session are good data.
"""

from __future__ import annotations

from itertools import chain

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.records.checks.copied_visits import copied_earlier
from bpvet.records.checks.row_findings import OfRow
from bpvet.records.ledger import Ledger
from bpvet.records.parsing.codes import Codes, among, as_one, repeated
from bpvet.records.parsing.columns import distinct_cells
from bpvet.records.parsing.values import Mask, Values
from bpvet.records.tables import SUMMARY, column_names


def at_one_time(values: Values) -> Codes:
    """Return the rows (k,) whose animal and time another row has too, in order.

    Where times of day are kept they are few, and only these can be copies or contradictions.
    """
    moment = values["taken_at"].view(np.int64)
    return np.flatnonzero(repeated(as_one((_codes(values["animal"]), moment), len(moment))))


def check_readings_twice(ledger: Ledger, values: Values, shared: Codes) -> Mask:
    """Set aside readings that are copies; return which rows (n,) those are.

    Copies are exact duplicates, and the later rows of a visit that stands in two files.

    Parameters
    ----------
    ledger, values
        The readings.
    shared : array of int (k,)
        As `at_one_time` gives them.
    """
    copied = copied_earlier(ledger, values)
    duplicate = copied >= 0
    known = ~np.isnat(values["taken_at"][shared]) & ~ledger.blank("animal")[shared]
    rows = shared[known]
    keys = (
        _codes(values["animal"]),
        values["taken_at"].view(np.int64),
        _codes(values["method"]),
        _codes(ledger.cells("systolic")),
        ledger.part,
    )
    candidates = rows[repeated(_taken(rows, *keys))]
    if len(candidates) == 0:
        _say_copied(ledger, np.flatnonzero(duplicate), copied)
        return duplicate
    earlier = _equal_earlier(ledger, candidates)
    rows = np.flatnonzero(earlier >= 0)
    numbered = values["timed"] | (~ledger.blank("reading")) | ledger.several
    twice = rows[numbered[rows]]
    # Being a copy goes before any other reason: a copy was not taken at all.
    ledger.take_back(twice)
    ledger.say(
        twice,
        "",
        OfRow(lambda row: f"{_place(ledger, earlier[row])} holds exactly the same."),
        "Delete one of the two.",
        "exact duplicate",
        "row",
    )
    _say_perhaps(ledger, rows[~numbered[rows] & ~duplicate[rows]], earlier)
    duplicate[twice] = False
    _say_copied(ledger, np.flatnonzero(duplicate), copied)
    duplicate[twice] = True
    return duplicate


def _say_copied(ledger: Ledger, rows: Codes, earlier: Codes) -> None:
    ledger.take_back(rows)
    ledger.say(
        rows,
        "",
        OfRow(
            lambda row: (
                f"{_place(ledger, earlier[row])} holds the same reading: this visit stands in two "
                "files."
            )
        ),
        "Delete it in one of the two files.",
        "visit saved twice",
        "row",
    )


def _say_perhaps(ledger: Ledger, rows: Codes, earlier: Codes) -> None:
    """Say which equal rows, that nothing tells apart, look like copies.

    In one file they are two readings; the same row in two files, or the same mean given twice,
    looks like a copy.
    """
    loose = rows[(ledger.file[rows] != ledger.file[earlier[rows]]) | ledger.summary[rows]]
    ledger.say(
        loose,
        "",
        OfRow(
            lambda row: (
                f"{_place(ledger, earlier[row])} holds the same, without a time or a "
                "number that would tell whether it is the same reading. Both are kept."
            )
        ),
        "If it is a copy, delete one; if not, add times or number the readings.",
        "perhaps a duplicate",
    )


def say_contradictions(ledger: Ledger, values: Values, shared: Codes) -> None:
    """Say which readings bear the same number, or the same time, and yet differ; both are kept.

    A time that all readings of the day and method bear is the visit's, and contradicts nothing.
    `shared` is as in `check_readings_twice`.
    """
    if not len(shared):
        return
    usable = ledger.usable & ~np.isnat(values["date"])
    without = np.isnan(values["reading"])
    of_label = [_codes(values[name]) for name in ("animal", "method", "session")]
    moment, day = (values[name].view(np.int64) for name in ("taken_at", "date"))

    rows = shared[(usable & ~without)[shared]]
    # A number's bits tell it from others, whatever they would be as a whole number.
    number = _taken(rows, *of_label, moment, values["reading"].view(np.int64))
    _say_later(
        ledger,
        rows,
        number,
        "Two readings of this animal, day and method have the same number ({}). Both are kept.",
        'Renumber them, or separate the two visits in the column "session".',
        "same number",
    )
    timed = usable & values["timed"] & without
    rows = shared[timed[shared]]
    if not repeated(_taken(rows, *of_label, moment)).any():
        return
    rows = np.flatnonzero(timed)
    time = _taken(rows, *of_label, moment)
    twice = repeated(time)
    of_day = _taken(rows, *of_label, day)
    doubtful = twice.copy()
    # Days on which some time stands once.
    alone = np.unique(of_day[~twice])
    doubtful &= among(of_day, alone) if len(alone) else False
    _say_later(
        ledger,
        rows[doubtful],
        time[doubtful],
        "Two readings of this animal and method have the same time ({}), while others of that day "
        "have times of their own. Both are kept.",
        "Correct the time, or delete one if it is the same reading.",
        "same time",
    )


def _say_later(ledger: Ledger, rows: Codes, code: Codes, reason: str, mend: str, kind: str) -> None:
    """Add a finding for each of the rows but the first of those that bear its code."""
    twice = repeated(code)
    if not twice.any():
        return
    rows = rows[twice]
    _, first, place = np.unique(code[twice], return_index=True, return_inverse=True)
    before = rows[first][place]
    later = before != rows
    told, before = rows[later], before[later]
    ledger.say(
        told,
        "",
        OfRow(lambda row: reason.format(_place(ledger, int(before[np.searchsorted(told, row)])))),
        mend,
        kind,
    )


def _equal_earlier(ledger: Ledger, rows: Codes) -> Codes:
    """Return for each row (n,) the first of `rows` that equals it in every cell, or −1."""
    names = [*column_names("readings"), *SUMMARY, *ledger.unknown]
    index = pa.array(rows)
    columns = (ledger.whole, *map(ledger.cells, names))
    part = ledger.part[rows]
    keys = chain([part], (_codes(cells.take(index)) for cells in columns))
    _, first, place = np.unique(as_one(keys, len(rows)), return_index=True, return_inverse=True)
    first = rows[first][place]
    earlier = np.full(ledger.n, -1, dtype=np.int64)
    earlier[rows] = np.where(first < rows, first, -1)
    return earlier


def _place(ledger: Ledger, row: int) -> str:
    return f"{ledger.files[ledger.file[row]]}, line {ledger.line[row]}"


def _codes(cells: pa.Array) -> NDArray[np.integer]:
    return distinct_cells(cells)[1]


def _taken(rows: Codes, *keys: NDArray[np.integer]) -> Codes:
    """Return one code for each combination of keys in some rows."""
    return as_one((key[rows] for key in keys), len(rows))
