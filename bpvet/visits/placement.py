"""Which session each reading belongs to, and its place in it: the contract's key and orders.

All of it is done on whole columns of codes, so that a million readings take a second.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.protocol import SESSION_GAP_HOURS
from bpvet.facts.words import METHODS
from bpvet.records.parsing.codes import as_one, end_to_end_rows, repeated
from bpvet.records.parsing.columns import TEXT, each
from bpvet.visits.part import bears

_Row = TypeVar("_Row", bound=np.signedinteger)
_GAP_NS = int(SESSION_GAP_HOURS * 3600 * 1_000_000_000)
_DAY_NS = 86_400_000_000_000
_NO_TIME = np.iinfo(np.int64).min
#: The clock of a row without a time: a whole minute, as most times are.
_UNTIMED = -60_000_000_000

Codes = NDArray[np.int64]
#: Places of rows, in four bytes or eight.
Rows = NDArray[np.signedinteger]
Booleans = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Placement:
    """Which session each placed row belongs to, sessions and readings in the contract's order.

    Parameters
    ----------
    row : (m,) int
        Position in the readings frame of each placed row, session by session (animals by their
        id as text, then session order), in order of taking.
    number : (s,) int
        Each session's number in its animal, from 1.
    first : (s,) int
        Index into `row` of each session's first row.
    first_time : (s,) datetime64[ns]
        Earliest time of day given in the session; NaT when none is.
    """

    row: Rows
    number: Codes
    first: Codes
    first_time: NDArray[np.datetime64]

    @property
    def length(self) -> Codes:
        """Rows (s,) of each session."""
        return np.diff(self.first, append=len(self.row))

    @property
    def of(self) -> Codes:
        """Index (m,) from 0 of each placed row's session."""
        return np.repeat(np.arange(len(self.first)), self.length)

    @property
    def order(self) -> Codes:
        """Place (m,) of each placed row in its session, from 1."""
        return np.arange(1, len(self.row) + 1) - np.repeat(self.first, self.length)


def place(frame: pd.DataFrame) -> Placement:
    """Return the sessions of a readings frame.

    Parameters
    ----------
    frame : DataFrame
        Readings as from `Records.coded_readings`; an animal's all, or none of them.

    Returns
    -------
    Placement
    """
    # Four bytes tell any row of fewer than two thousand million.
    wide = len(frame) > np.iinfo(np.int32).max
    narrow: type[np.signedinteger[Any]] = np.int64 if wide else np.int32
    row: Rows = np.flatnonzero(_placed(frame)).astype(narrow)
    some = slice(None) if len(row) == len(frame) else row
    animal, label = _codes(frame["animal"], some), _codes(frame["label"], some)
    day = frame["date"].to_numpy(dtype="datetime64[ns]").view(np.int64)[some] // _DAY_NS
    # The time of day of the rows (m,) in ns; untimed ones before the timed of a date.
    moment = frame["taken_at"].to_numpy(dtype="datetime64[ns]").view(np.int64)[some]
    timed = frame["timed"].to_numpy(dtype=bool)[some]
    clock = np.where(timed, moment - day * _DAY_NS, _UNTIMED)
    method, condition = _codes(frame["method"], some), _codes(frame["condition"], some)
    key = as_one((animal, method, condition, day, label), len(row))
    # From here on the rows stand session by session, sessions in any order.
    by_time = _ordered(key, clock)
    clock = clock[by_time]
    blank = bears(frame["label"], "")[some][by_time]
    start = np.flatnonzero(_split(key[by_time], clock, blank))
    del key, blank
    length = np.diff(start, append=len(row))
    of = np.repeat(np.arange(len(start), dtype=narrow), length)
    # By place among these rows, since that is the order of the input too.
    stand: Rows = np.arange(len(row), dtype=narrow)[by_time]
    ordered_rows = stand[start]
    line = ordered_rows
    if isinstance(by_time, np.ndarray):
        line = np.minimum.reduceat(stand, start) if len(start) else stand
    earliest = clock[start]
    if (earliest == _UNTIMED).any():
        first_given = np.minimum.reduceat(np.where(clock == _UNTIMED, _DAY_NS, clock), start)
        earliest = np.where(first_given == _DAY_NS, _UNTIMED, first_given)
    written = frame["reading"].to_numpy(dtype=float)[some][by_time]
    # Within a session by the readings' numbers if all of it have one, then by their times if all
    # have one, then as they stand in the input.
    number = _if_all(of, ~np.isnan(written), written)
    stand = _put_right(stand, of, number, _if_all(of, clock != _UNTIMED, clock))
    del clock, written, of, by_time

    ranked = _sorted(
        as_one(
            (animal[ordered_rows], day[ordered_rows], earliest, label[ordered_rows]),
            len(ordered_rows),
        ),
        line,
    )
    taken = stand[end_to_end_rows(start[ranked], length[ranked])]
    length, given = length[ranked], earliest[ranked]
    first_time = np.where(given == _UNTIMED, _NO_TIME, day[ordered_rows][ranked] * _DAY_NS + given)
    return Placement(
        row=taken if len(row) == len(frame) else row[taken],
        number=_numbers(animal[ordered_rows][ranked]),
        first=np.cumsum(length) - length,
        first_time=first_time.astype("datetime64[ns]"),
    )


def end_to_end(parts: Sequence[Placement]) -> Placement:
    """Return the placements of some animals each as one; their rows are of one frame."""
    if len(parts) == 1:
        return parts[0]
    start = np.cumsum([0, *(len(placement.row) for placement in parts)])
    return Placement(
        row=np.concatenate([placement.row for placement in parts]),
        number=np.concatenate([placement.number for placement in parts]),
        first=np.concatenate(
            [placement.first + at for placement, at in zip(parts, start, strict=False)]
        ),
        first_time=np.concatenate([placement.first_time for placement in parts]),
    )


def _put_right(row: NDArray[_Row], of: Rows, *keys: NDArray[Any]) -> NDArray[_Row]:
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
    placed = bears(frame["method"], *METHODS)
    for name in ("condition", "animal"):
        placed &= ~bears(frame[name], "")
    for name in ("duplicate", "future"):
        placed &= ~frame[name].to_numpy(dtype=bool)
    return placed & ~np.isnat(frame["date"].to_numpy(dtype="datetime64[ns]"))


def _codes(column: pd.Series[Any], row: Rows | slice) -> NDArray[np.int32]:
    """Return the place of each row's text among the column's texts in order."""
    if column.cat.ordered:
        return column.cat.codes.to_numpy()[row].astype(np.int32)
    texts = pa.array(column.cat.categories, TEXT)
    rank = np.empty(len(texts), dtype=np.int32)
    rank[pc.array_sort_indices(texts).to_numpy()] = np.arange(len(texts))
    return each(rank, column.cat.codes.to_numpy()[row])


def _ordered(key: Codes, clock: Codes) -> Codes | slice:
    """Return an order (m,) in which the rows of each key stand together, by clock.

    Rows that are equal in both stay as they are. Rows of one visit mostly stand together already,
    and in order, and are left as they stand; the others follow, run by run that ascends.
    """
    change = np.ones(len(key), dtype=bool)
    change[1:] = (key[1:] != key[:-1]) | (clock[1:] < clock[:-1])
    start = np.flatnonzero(change)
    heads = key[start]
    twice = repeated(heads)
    if not twice.any():
        return slice(None)
    length = np.diff(start, append=len(key))
    mixed = np.repeat(twice, length)
    alone = np.flatnonzero(~mixed)
    # The rows (k,) of these runs, each of one key and by clock, in order of both.
    begin, many = start[twice], length[twice]
    heads = key[begin]
    runs = _sorted(as_one((heads, clock[begin]), len(begin)), begin)
    order = end_to_end_rows(begin[runs], many[runs])
    # Two runs of one key may run into each other.
    of = np.repeat(_groups(heads[runs]), many[runs])
    return np.concatenate([alone, _put_right(order, of, clock[order])])


def _sorted(code: Codes, tie: Rows) -> Codes:
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
    """Return which rows, by clock within each key with untimed ones first, begin a session."""
    starts = np.ones(len(clock), dtype=bool)
    starts[1:] = key[1:] != key[:-1]
    timed = clock != _UNTIMED
    both = timed[1:] & timed[:-1] & blank[1:]
    starts[1:] |= both & (np.diff(clock) >= _GAP_NS)
    return starts


def _if_all(of: Rows, true: NDArray[np.bool_], key: NDArray[Any]) -> NDArray[Any]:
    """Return a key (m,), 0 throughout the groups in which not all rows are true."""
    if true.all():
        return key
    return np.where((np.bincount(of, weights=~true) == 0)[of], key, 0)


def _numbers(animal: NDArray[np.integer]) -> Codes:
    """Number sessions from 1 within each animal; `animal` is sorted."""
    change = np.ones(len(animal), dtype=bool)
    change[1:] = animal[1:] != animal[:-1]
    starts = np.flatnonzero(change)
    length = np.diff(starts, append=len(animal))
    return np.arange(len(animal)) - np.repeat(starts, length) + 1
