"""Which session each reading belongs to, and its place in it: the contract's key and orders.

All of it is done on whole columns of codes, so that a million readings take a second.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.protocol import SESSION_GAP_HOURS
from bpvet.facts.words import METHODS
from bpvet.records.parsing.codes import as_one, end_to_end_rows

_GAP_NS = int(SESSION_GAP_HOURS * 3600 * 1_000_000_000)
_DAY_NS = 86_400_000_000_000
_NO_TIME = np.iinfo(np.int64).min
#: The clock of a row without a time: a whole minute, as most times are.
_UNTIMED = -60_000_000_000

Codes = NDArray[np.int64]
Booleans = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Placement:
    """Which session each placed row belongs to, sessions and readings in the contract's order.

    Parameters
    ----------
    row : (m,) int
        Position in the readings frame of each placed row, session by session (animals by their
        id as text, then session order), in order of taking.
    of : (m,) int
        Index from 0 of that row's session.
    order : (m,) int
        Place in the session, from 1.
    number : (s,) int
        Each session's number in its animal, from 1.
    first : (s,) int
        Index into `row` of each session's first row.
    first_time : (s,) datetime64[ns]
        Earliest time of day given in the session; NaT when none is.
    """

    row: Codes
    of: Codes
    order: Codes
    number: Codes
    first: Codes
    first_time: NDArray[np.datetime64]


def place(frame: pd.DataFrame) -> Placement:
    """Return the sessions of a readings frame.

    Parameters
    ----------
    frame : DataFrame
        Readings as from `Records.coded_readings`.

    Returns
    -------
    Placement
    """
    row = np.flatnonzero(_placed(frame))
    some = slice(None) if len(row) == len(frame) else row
    animal, label = _codes(frame["animal"], some), _codes(frame["label"], some)
    blank = _of(frame["label"] == "", some)
    day = frame["date"].to_numpy(dtype="datetime64[ns]").view(np.int64)[some] // _DAY_NS
    moment = frame["taken_at"].to_numpy(dtype="datetime64[ns]").view(np.int64)[some]
    timed = _of(frame["timed"], some)
    # An untimed row sorts before the timed ones of its date.
    clock = np.where(timed, moment - day * _DAY_NS, _UNTIMED)
    method, condition = _codes(frame["method"], some), _codes(frame["condition"], some)
    key = as_one((animal, method, condition, day, label), len(row))
    by_time = _ordered(key, clock)
    ordered = clock[by_time]
    start = np.flatnonzero(_split(key[by_time], ordered, blank[by_time]))
    del key, moment, timed

    # By place among these rows, since that is the order of the input too.
    line = np.minimum.reduceat(by_time, start) if len(start) else by_time
    earliest = _earliest(ordered, start)
    one = by_time[start]
    ranked = _sorted(as_one((animal[one], day[one], earliest, label[one]), len(one)), line)
    length = np.diff(start, append=len(row))[ranked]
    of = np.repeat(np.arange(len(start)), length)
    place = end_to_end_rows(start[ranked], length)
    taken = by_time[place]
    written = frame["reading"].to_numpy(dtype=float)[some]
    taken = _as_taken(of, taken, written[taken], ordered[place])
    first = np.cumsum(length) - length
    given = earliest[ranked]
    first_time = np.where(given == _UNTIMED, _NO_TIME, day[one][ranked] * _DAY_NS + given)
    return Placement(
        row=taken if len(row) == len(frame) else row[taken],
        of=of,
        order=np.arange(len(of)) - first[of] + 1 if len(of) else of,
        number=_numbers(animal[one][ranked]),
        first=first,
        first_time=first_time.astype("datetime64[ns]"),
    )


def _earliest(clock: Codes, start: Codes) -> Codes:
    """Return the earliest time given in each session (s,); rows (m,) stand by session and time."""
    earliest = clock[start]
    if (earliest == _UNTIMED).any():
        given = np.minimum.reduceat(np.where(clock == _UNTIMED, _DAY_NS, clock), start)
        earliest = np.where(given == _DAY_NS, _UNTIMED, given)
    return earliest


def _as_taken(of: Codes, row: Codes, written: NDArray[np.float64], time: Codes) -> Codes:
    """Return rows (m,), which stand session by session, in the order in which they were taken.

    By their numbers if all of a session have one, then by their times if all have one, then as
    they stand in the input.
    """
    number = _if_all(of, ~np.isnan(written), written)
    time = _if_all(of, time != _UNTIMED, time)
    return _put_right(row, of, number, time)


def _put_right(row: Codes, of: Codes, *keys: NDArray[Any]) -> Codes:
    """Return rows (m,), which stand group by group, in the order of keys within each group.

    Only the groups that stand in another order are sorted; `of` ascends.
    """
    astray = _descends(*keys, row) & (of[1:] == of[:-1])
    if not astray.any():
        return row
    mixed = np.zeros(int(of[-1]) + 1, dtype=bool)
    mixed[of[1:][astray]] = True
    some = np.flatnonzero(mixed[of])
    right = row.copy()
    sorting = (row[some], *(key[some] for key in reversed(keys)), of[some])
    right[some] = row[some][np.lexsort(sorting)]
    return right


def _descends(*keys: NDArray[Any]) -> Booleans:
    """Return whether each row but the first (m − 1,) comes before the one above it by its keys."""
    less = np.zeros(max(len(keys[0]) - 1, 0), dtype=bool)
    for key in reversed(keys):
        less = (key[1:] < key[:-1]) | ((key[1:] == key[:-1]) & less)
    return less


def _placed(frame: pd.DataFrame) -> NDArray[np.bool_]:
    known = frame["method"].isin(METHODS) & (frame["condition"] != "") & (frame["animal"] != "")
    out = frame["duplicate"] | frame["future"] | frame["date"].isna()
    return (known & ~out).to_numpy(dtype=bool)


def _of(column: pd.Series[Any], row: Codes | slice) -> Booleans:
    return column.to_numpy(dtype=bool)[row]


def _codes(column: pd.Series[Any], row: Codes | slice) -> NDArray[np.int32]:
    """Return the place of each row's text among the column's texts in order."""
    texts = np.asarray(column.cat.categories, dtype=object)
    rank = np.empty(len(texts), dtype=np.int32)
    rank[np.argsort(texts, kind="stable")] = np.arange(len(texts))
    return rank[column.cat.codes.to_numpy()[row]]


def _ordered(key: Codes, clock: Codes) -> Codes:
    """Return the order (m,) by key and clock; rows that are equal in both stay as they are.

    Rows of one visit mostly stand together, so runs of rows that ascend are put in order first.
    """
    change = np.ones(len(key), dtype=bool)
    change[1:] = (key[1:] != key[:-1]) | (clock[1:] < clock[:-1])
    start = np.flatnonzero(change)
    length = np.diff(start, append=len(key))
    heads = key[start]
    runs = _sorted(as_one((heads, clock[start]), len(start)), start)
    order = end_to_end_rows(start[runs], length[runs])
    # Two runs of one key may run into each other.
    of = np.repeat(_groups(heads[runs]), length[runs])
    return _put_right(order, of, clock[order])


def _sorted(code: Codes, tie: Codes) -> Codes:
    """Return the order (m,) by code, and by `tie`, which differs, where codes are equal."""
    # Sorting that may change the order of equals is several times faster.
    order = np.argsort(code)
    code = code[order]
    if not (code[1:] == code[:-1]).any():
        return order
    return _put_right(order, _groups(code), tie[order])


def _groups(ordered: Codes) -> Codes:
    """Return which of the different codes (m,), which ascend, each is, from 0."""
    change = np.zeros(len(ordered), dtype=np.int64)
    change[1:] = ordered[1:] != ordered[:-1]
    return np.cumsum(change)


def _split(key: Codes, clock: Codes, blank: Booleans) -> Booleans:
    """Return which rows, sorted by key and clock with untimed ones first, begin a session."""
    starts = np.ones(len(clock), dtype=bool)
    starts[1:] = key[1:] != key[:-1]
    timed = clock != _UNTIMED
    both = timed[1:] & timed[:-1] & blank[1:]
    starts[1:] |= both & (np.diff(clock) >= _GAP_NS)
    return starts


def _if_all(of: Codes, true: NDArray[np.bool_], key: NDArray[Any]) -> NDArray[Any]:
    """Return a key (m,), 0 throughout the groups in which not all rows are true."""
    if true.all():
        return key
    return np.where((np.bincount(of, weights=~true) == 0)[of], key, 0)


def _numbers(animal: NDArray[np.integer]) -> Codes:
    """Number sessions from 1 within each animal; `animal` is sorted."""
    starts = np.flatnonzero(np.diff(animal, prepend=-1))
    length = np.diff(np.append(starts, len(animal)))
    return np.arange(len(animal)) - np.repeat(starts, length) + 1
