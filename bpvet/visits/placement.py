"""Which session each reading belongs to, and its place in it: the contract's key and orders.

All of it is done on whole columns of codes, so that a million readings take a second.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
import pyarrow.compute as pc
from numpy.typing import NDArray

from bpvet.facts.protocol import SESSION_GAP_HOURS
from bpvet.facts.words import METHODS
from bpvet.frozen import dataclass
from bpvet.records.parsing.arrow import numpy_of
from bpvet.records.parsing.codes import as_one, end_to_end_rows, repeated
from bpvet.records.parsing.columns import bits, each
from bpvet.visits.part import Part, PlacedReadings

_Row = TypeVar("_Row", bound=np.signedinteger)
_GAP_NS = int(SESSION_GAP_HOURS * 3600 * 1_000_000_000)
_DAY_NS = 86_400_000_000_000
_NO_TIME, _NEVER = np.iinfo(np.int64).min, np.iinfo(np.int64).max
#: The clock of a row without a time: a whole minute, as most times are.
_UNTIMED = -60_000_000_000
#: What readings of one visit have in common.
_VISIT = ("animal", "method", "condition", "date", "label")
#: Rows that are looked at at once, so that they stay in the processor's cache.
_ROWS = 1 << 15

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


def place(readings: PlacedReadings) -> Placement:
    """Return the sessions of readings.

    Rows of one visit mostly stand together, and in order. So each row is held against the one
    above it, a block at a time, and what is sorted are runs of rows and sessions, not rows.

    Parameters
    ----------
    readings : PlacedReadings

    Returns
    -------
    Placement
    """
    row = _placed(readings)
    row, (other, _, gap, lower) = _together(readings, row, _steps(readings, row))
    # From here on the rows stand session by session and by time, sessions in any order.
    first = other | gap
    start = np.flatnonzero(first)
    length = np.diff(start, append=len(row))
    earliest = _earliest(readings, row, start, length)
    astray = lower & ~first
    if not readings.column("timed").all():
        astray[1:] |= (row[1:] < row[:-1]) & ~first[1:]
    row = _as_taken(readings, row, start, length, astray)
    line = np.minimum.reduceat(row, start) if len(start) else row
    heads = readings.at(line)
    animal, label = _ranks(heads, "animal"), _ranks(heads, "label")
    day = heads.numbers("date").view(np.int64)
    clock = np.where(earliest == _NO_TIME, _UNTIMED, earliest - day)
    ranked = _sorted(as_one((animal, day // _DAY_NS, clock, label), len(line)), line)
    length = length[ranked]
    return Placement(
        row=row[end_to_end_rows(start[ranked], length)],
        number=_numbers(animal[ranked]),
        first=np.cumsum(length) - length,
        first_time=earliest[ranked].view("datetime64[ns]"),
    )


def _placed(readings: PlacedReadings) -> Rows:
    """Return the rows (m,), in order, that have a place."""
    found: list[Rows] = [np.zeros(0, dtype=np.int64)]
    for start in range(0, len(readings), _ROWS):
        part = readings.at(slice(start, start + _ROWS))
        placed = part.bears("method", *METHODS)
        placed &= ~(part.bears("condition", "") | part.bears("animal", ""))
        placed &= ~(part.numbers("duplicate") | part.numbers("future"))
        found.append(start + np.flatnonzero(placed & ~np.isnat(part.numbers("date"))))
    # Four bytes tell any row of fewer than two thousand million.
    wide = len(readings) > np.iinfo(np.int32).max
    return np.concatenate(found).astype(np.int64 if wide else np.int32)


def _steps(readings: PlacedReadings, row: Rows) -> Booleans:
    """Return what each row (m,) is to the row above it, (4, m).

    Whether it is of another visit, as the first row is; whether it comes before that row; so long
    after it that a session without a label ends; and whether its number is the lower one.
    """
    steps = np.zeros((4, len(row)), dtype=bool)
    for at in range(0, len(row), _ROWS):
        part = readings.at(row[max(at - 1, 0) : at + _ROWS])
        other, back, gap, lower = steps[:, max(at, 1) : at + _ROWS]
        for name in _VISIT:
            if not readings.alike(name):
                key = bits(part.numbers(name))
                other |= key[1:] != key[:-1]
        timed, after = part.numbers("timed"), np.diff(part.numbers("taken_at").view(np.int64))
        both = timed[1:] & timed[:-1]
        # Untimed ones come before the timed of a date.
        back |= (both & (after < 0)) | (timed[:-1] & ~timed[1:])
        gap |= both & (after >= _GAP_NS) & part.bears("label", "")[1:]
        number = part.numbers("reading")
        lower |= number[1:] < number[:-1]
    steps[0, :1] = True
    return steps


def _together(readings: PlacedReadings, row: Rows, steps: Booleans) -> tuple[Rows, Booleans]:
    """Return rows (m,) in an order in which those of each visit stand together, by time.

    Rows that are equal in both stay as they are. Rows of one visit that stand together already,
    and in order, are left as they stand; the others follow, run by run that ascends.
    """
    start = np.flatnonzero(steps[0] | steps[1])
    heads = readings.at(row[start])
    key = as_one((bits(heads.numbers(name)) for name in _VISIT), len(start))
    twice = repeated(key)
    if not twice.any():
        return row, steps
    length = np.diff(start, append=len(row))
    alone = np.flatnonzero(np.repeat(~twice, length))
    # The runs (k,) of these visits, in order of both.
    begin, many, key = start[twice], length[twice], key[twice]
    runs = _sorted(as_one((key, _when(readings.at(row[begin]))), len(begin)), begin)
    mixed = row[end_to_end_rows(begin[runs], many[runs])]
    # Two runs of one visit may run into each other.
    of = np.repeat(_groups(key[runs]), many[runs])
    mixed = _put_right(mixed, of, _when(readings.at(mixed)))
    known = np.concatenate([steps[:, alone], _steps(readings, mixed)], axis=1)
    return np.concatenate([row[alone], mixed]), known


def _when(part: Part) -> Codes:
    """Return the time (m,) in ns by which rows of one date stand, untimed ones first."""
    return np.where(part.numbers("timed"), 0, _UNTIMED) + part.numbers("taken_at").view(np.int64)


def _earliest(readings: PlacedReadings, row: Rows, start: Codes, length: Codes) -> Codes:
    """Return the first time (s,) in ns given in each session; its rows (m,) stand by time."""
    part = readings.at(row[start])
    earliest = np.where(part.numbers("timed"), part.numbers("taken_at").view(np.int64), _NO_TIME)
    # A session that begins without a time may have one later.
    some = np.flatnonzero(~part.numbers("timed") & (length > 1))
    if len(some):
        part = readings.at(row[end_to_end_rows(start[some], length[some])])
        later = np.where(part.numbers("timed"), part.numbers("taken_at").view(np.int64), _NEVER)
        first = np.minimum.reduceat(later, np.cumsum(length[some]) - length[some])
        earliest[some] = np.where(first == _NEVER, _NO_TIME, first)
    return earliest


def _as_taken(
    readings: PlacedReadings, row: Rows, start: Codes, length: Codes, astray: Booleans
) -> Rows:
    """Return rows (m,), session by session and by time, in order of taking within each session.

    By the readings' numbers if all of it have one, then by their times if all have one, then as
    they stand in the input. Only sessions with a row that is astray can be in another order.
    """
    if not astray.any():
        return row
    some = np.unique(np.searchsorted(start, np.flatnonzero(astray), side="right") - 1)
    of = np.repeat(np.arange(len(some)), length[some])
    at = end_to_end_rows(start[some], length[some])
    part = readings.at(row[at])
    number = part.numbers("reading")
    number = _if_all(of, ~np.isnan(number), number)
    time = _if_all(of, part.numbers("timed"), part.numbers("taken_at").view(np.int64))
    row = row.copy()
    row[at] = _put_right(row[at], of, number, time)
    return row


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


def _ranks(part: Part, name: str) -> NDArray[np.int32]:
    """Return the place of each row's text (m,) among the column's texts in order."""
    texts = part.cells(name)
    rank = np.empty(len(texts), dtype=np.int32)
    rank[numpy_of(pc.array_sort_indices(texts))] = np.arange(len(texts))
    return each(rank, part.codes(name))


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
