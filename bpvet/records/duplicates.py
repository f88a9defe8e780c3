"""Readings that stand there twice, and readings that contradict each other.

Only rows equal in every cell, among them a time of day or a number of the reading, are the same
reading twice: two equal untimed readings of one session are good data.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import chain

import numpy as np
import pandas as pd
import pyarrow as pa
from numpy.typing import NDArray

from bpvet.records.columns import distinct_cells
from bpvet.records.ledger import Ledger
from bpvet.records.said import OfRow
from bpvet.records.tables import SUMMARY, column_names
from bpvet.records.values import Mask, Values

Codes = NDArray[np.int64]


def check_readings_twice(ledger: Ledger, values: Values) -> Mask:
    """Set aside readings that are exact duplicates; return which rows (n,) those are."""
    key = _groups(
        _codes(values["animal"]),
        values["taken_at"].view(np.int64),
        _codes(values["method"]),
        _codes(ledger.cells("systolic")),
        ledger.part,
    )
    known = ~np.isnat(values["taken_at"]) & ~ledger.blank("animal")
    candidates = np.flatnonzero(known & (np.bincount(key, minlength=1)[key] > 1))
    if len(candidates) == 0:
        return np.zeros(ledger.n, dtype=bool)
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
    _say_perhaps(ledger, rows[~numbered[rows]], earlier)
    duplicate = np.zeros(ledger.n, dtype=bool)
    duplicate[twice] = True
    return duplicate


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


def say_contradictions(ledger: Ledger, values: Values) -> None:
    """Say which readings bear the same number, or the same time, and yet differ; both are kept.

    A time that all readings of the day and method bear is the visit's, and contradicts nothing.
    """
    usable = ledger.usable & ~np.isnat(values["date"])
    day = _groups(
        _codes(values["animal"]),
        values["date"].view(np.int64),
        _codes(values["method"]),
        _codes(values["session"]),
    )
    numbered = usable & ~np.isnan(values["reading"])
    number = _groups(day, values["taken_at"].view(np.int64), values["reading"].view(np.int64))
    _say_later(
        ledger,
        number,
        numbered,
        "Two readings of this animal, day and method bear the same number ({}). Both are kept.",
        'Number them anew, or tell two visits apart in the column "session".',
        "same number",
    )
    timed = usable & values["timed"] & np.isnan(values["reading"])
    moment = _groups(day, values["taken_at"].view(np.int64))
    times = np.bincount(moment[timed], minlength=ledger.n)
    alone = np.zeros(ledger.n, dtype=bool)
    alone[day[timed][times[moment[timed]] == 1]] = True
    _say_later(
        ledger,
        moment,
        timed & alone[day],
        "Two readings of this animal and method bear the same time ({}), while others of that day "
        "have times of their own. Both are kept.",
        "Correct the time, or delete one if it is the same reading.",
        "same time",
    )


def _say_later(
    ledger: Ledger, group: Codes, among: Mask, reason: str, mend: str, kind: str
) -> None:
    """Add a finding for each row but the first of a group."""
    rows = np.flatnonzero(among)
    # Backwards, so that the first row of each group is written last.
    first = np.zeros(int(group.max()) + 1 if len(group) else 0, dtype=np.int64)
    first[group[rows[::-1]]] = rows[::-1]
    later = rows[first[group[rows]] != rows]
    ledger.say(
        later,
        "",
        OfRow(lambda row: reason.format(_place(ledger, int(first[group[row]])))),
        mend,
        kind,
    )


def _equal_earlier(ledger: Ledger, rows: Codes) -> Codes:
    """Return for each row (n,) the first of `rows` that equals it in every cell, or −1."""
    names = [*column_names("readings"), *SUMMARY, *ledger.unknown]
    index = pa.array(rows)
    columns = (ledger.whole, *map(ledger.cells, names))
    part = ledger.part[rows]
    same = _combined(chain([part], (_codes(cells.take(index)) for cells in columns)), len(rows))
    first = pd.Series(rows).groupby(same).transform("first").to_numpy()
    earlier = np.full(ledger.n, -1, dtype=np.int64)
    earlier[rows] = np.where(first < rows, first, -1)
    return earlier


def _place(ledger: Ledger, row: int) -> str:
    return f"{ledger.files[ledger.file[row]]}, line {ledger.line[row]}"


def _codes(cells: pa.Array) -> Codes:
    return distinct_cells(cells)[1].astype(np.int64)


def _groups(*keys: Codes) -> Codes:
    """Return one code (n,) for each combination of keys, from 0."""
    return _combined(keys, len(keys[0]))


def _combined(keys: Iterable[Codes], n: int) -> Codes:
    """Do what `_groups` does with keys that are made one at a time."""
    code = np.zeros(n, dtype=np.int64)
    many = 1
    for key in keys:
        if len(key) and (key.min() < 0 or key.max() > len(key)):
            key = pd.factorize(key)[0]
        size = int(key.max()) + 1 if len(key) else 1
        if many * size > 2**62:
            code, found = pd.factorize(code)
            many = len(found)
        code = code * size + key
        many *= size
    together: Codes = pd.factorize(code)[0]
    return together
