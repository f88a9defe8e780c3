"""One visit that stands in two files, as when it was saved twice: its later rows are copies.

Rows of two files are held against each other by what was measured, on whom and when; notes and
circumstances may differ. A visit of which some reading stands nowhere else is no copy.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import READING_QUANTITIES
from bpvet.records.checked_table import CheckedTable
from bpvet.records.parsing.codes import Codes, as_one
from bpvet.records.parsing.columns import distinct_cells
from bpvet.records.parsing.values import Mask, Values

#: Untimed readings of a visit that, all found in another file, are a copy and no chance.
_ENOUGH = 2


def copied_earlier(checked: CheckedTable, values: Values) -> Codes:
    """Return for each row (n,) the row of an earlier file that it copies, or −1.

    A row is a copy where its whole visit stands in one earlier file: same animal, method and
    values, and the same times; without times the same session and number, and at least two
    readings, unless the whole file is a copy.

    Parameters
    ----------
    checked : CheckedTable
        The readings' cells.
    values : dict
        Their values, judged already.
    """
    copied = np.full(checked.n, -1, dtype=np.int64)
    if len(checked.files) < 2:
        return copied
    rows = np.flatnonzero(~np.isnat(values["taken_at"]) & ~checked.blank("animal"))
    if not len(rows):
        return copied
    file = checked.file[rows].astype(np.int64)
    earlier = _earlier(_key(checked, values, rows), file)
    found = earlier >= 0
    if not found.any():
        return copied
    label = _text(values["session"])[rows]
    of_visit = (_text(values[name])[rows] for name in ("animal", "method"))
    day = values["date"].view(np.int64)[rows]
    visit = np.unique(as_one((file, *of_visit, day, label), len(rows)), return_inverse=True)[1]
    timed = np.bincount(visit, weights=values["timed"][rows]) == np.bincount(visit)
    copy = _whole(visit, found, earlier, file)
    many = timed | (np.bincount(visit) >= _ENOUGH)
    whole_file = _whole(file, found, earlier, file)
    counts = np.bincount(file)
    source = np.zeros(len(counts), dtype=np.int64)
    source[file[found]] = file[earlier[found]]
    whole_file &= (counts >= _ENOUGH) | (counts == counts[source])
    is_copy = found & ((copy & many)[visit] | whole_file[file])
    copied[rows[is_copy]] = rows[earlier[is_copy]]
    return copied


def _key(checked: CheckedTable, values: Values, rows: Codes) -> Codes:
    """Return one code for all that two readings must have in common to be the same one."""
    timed = values["timed"]
    keys: list[NDArray[np.integer]] = [
        *(_text(values[name]) for name in ("animal", "method", "excluded")),
        values["taken_at"].view(np.int64),
        values["summary_n"],
        # A time tells readings apart; without one the session and the number do.
        np.where(timed, 0, _text(values["session"])),
        np.where(timed | np.isnan(values["reading"]), 0.0, values["reading"]).view(np.int64),
    ]
    for name in filter(checked.given, READING_QUANTITIES):
        value = values[name]
        missing = np.isnan(value)
        keys.append(np.where(missing, 0.0, value).view(np.int64))
        keys.append(values[f"{name}_bound"])
        # What is no number is held against the other as it is written.
        keys.append(np.where(missing, 1 + _text(checked.cells(name)), 0))
    return as_one((key[rows] for key in keys), len(rows))


def _earlier(key: Codes, file: Codes) -> Codes:
    """Return for each row the first row of another file that bears its key, or −1.

    The second of two equal rows of a file is held against the second of the other file.
    """
    n = len(key)
    order = np.lexsort((np.arange(n), file, key))
    new = np.ones(n, dtype=bool)
    new[1:] = (key[order][1:] != key[order][:-1]) | (file[order][1:] != file[order][:-1])
    start = np.maximum.accumulate(np.where(new, np.arange(n), 0))
    rank = np.empty(n, dtype=np.int64)
    rank[order] = np.arange(n) - start
    _, first, group_of = np.unique(as_one((key, rank), n), return_index=True, return_inverse=True)
    first = first[group_of]
    return np.where(first < np.arange(n), first, -1).astype(np.int64)


def _whole(group: Codes, found: Mask, earlier: Codes, file: Codes) -> Mask:
    """Return for each group whether all of its rows were found, and in one file."""
    count = int(group.max()) + 1
    all_found = np.bincount(group, weights=~found, minlength=count) == 0
    lowest = np.full(count, np.iinfo(np.int64).max)
    highest = np.full(count, -1)
    np.minimum.at(lowest, group[found], file[earlier[found]])
    np.maximum.at(highest, group[found], file[earlier[found]])
    return np.asarray(all_found & (lowest == highest))


def _text(cells: object) -> NDArray[np.integer]:
    return distinct_cells(cells)[1]
