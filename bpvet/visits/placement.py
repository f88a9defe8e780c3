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

_GAP_NS = int(SESSION_GAP_HOURS * 3600 * 1_000_000_000)
_NO_TIME = np.iinfo(np.int64).min

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
    animal, label = _codes(frame["animal"], row), _codes(frame["label"], row)
    blank = (frame["label"] == "").to_numpy(dtype=bool)[row]
    day = frame["date"].to_numpy().astype("datetime64[D]").astype(np.int64)[row]
    time = frame["taken_at"].to_numpy(dtype="datetime64[ns]").view(np.int64)[row]
    timed = frame["timed"].to_numpy(dtype=bool)[row] & (time != _NO_TIME)
    time = np.where(timed, time, _NO_TIME)
    method, condition = _codes(frame["method"], row), _codes(frame["condition"], row)
    key = _as_one(animal, method, condition, day, label)
    by_time = _ordered(key, time)
    of = np.empty(len(row), dtype=np.int64)
    of[by_time] = _split(key[by_time], time[by_time], blank[by_time])

    start = np.flatnonzero(np.diff(of[by_time], prepend=-1))
    line = np.minimum.reduceat(row[by_time], start) if len(start) else row
    given = np.where(timed, time, np.iinfo(np.int64).max)[by_time]
    earliest = np.minimum.reduceat(given, start) if len(start) else given
    # A session without any time sorts before the timed ones of its date.
    earliest = np.where(earliest == np.iinfo(np.int64).max, _NO_TIME, earliest)
    one = by_time[start]
    ranked = np.lexsort((line, label[one], earliest, day[one], animal[one]))
    rank = np.empty(len(start), dtype=np.int64)
    rank[ranked] = np.arange(len(start))
    of = rank[of]

    written = frame["reading"].to_numpy(dtype=float)[row]
    taken = _as_taken(of, written, time, timed)
    of = of[taken]
    first = np.flatnonzero(np.diff(of, prepend=-1))
    return Placement(
        row=row[taken],
        of=of,
        order=np.arange(len(of)) - first[of] + 1 if len(of) else of,
        number=_numbers(animal[one][ranked]),
        first=first,
        first_time=earliest[ranked].astype("datetime64[ns]"),
    )


def _as_taken(of: Codes, written: NDArray[np.float64], time: Codes, timed: Booleans) -> Codes:
    """Return the rows (m,) by session and, within each, in the order in which they were taken."""
    has_number = _all(of, ~np.isnan(written))[of]
    has_time = _all(of, timed)[of]
    number = np.where(has_number, written, 0.0)
    # Numbers of readings are small and whole as a rule, and then one key says it all.
    whole = np.clip(number, 0, 1000).astype(np.int64)
    if (whole == number).all():
        return _ordered(of * 1001 + whole, np.where(has_time, time, 0))
    return np.lexsort((np.where(has_time, time, 0), number, of))


def _placed(frame: pd.DataFrame) -> NDArray[np.bool_]:
    known = frame["method"].isin(METHODS) & (frame["condition"] != "") & (frame["animal"] != "")
    out = frame["duplicate"] | frame["future"] | frame["date"].isna()
    return (known & ~out).to_numpy(dtype=bool)


def _codes(column: pd.Series[Any], row: Codes) -> Codes:
    """Return the place of each row's text among the column's texts in order."""
    texts = np.asarray(column.cat.categories, dtype=object)
    rank = np.empty(len(texts), dtype=np.int64)
    rank[np.argsort(texts, kind="stable")] = np.arange(len(texts))
    return rank[column.cat.codes.to_numpy()[row]]


def _as_one(*keys: Codes) -> Codes:
    """Return one code for each combination of keys, in the order of the keys."""
    code = np.zeros(len(keys[0]), dtype=np.int64)
    many = 1
    for key in keys:
        low = int(key.min()) if len(key) else 0
        size = int(key.max()) - low + 1 if len(key) else 1
        if many * size >= 2**62:
            found, code = np.unique(code, return_inverse=True)
            many = len(found)
        code = code * size + (key - low)
        many *= size
    return code


def _ordered(key: Codes, then: Codes) -> Codes:
    """Return the order (m,) by two keys; rows that are equal in both stay as they are."""
    later, before = key[1:], key[:-1]
    if ((later > before) | ((later == before) & (then[1:] >= then[:-1]))).all():
        return np.arange(len(key))
    return np.lexsort((then, key))


def _split(key: Codes, time: Codes, blank: Booleans) -> Codes:
    """Return session indices of rows sorted by key and time, untimed rows first."""
    starts = np.zeros(len(time), dtype=bool)
    starts[:1] = True
    starts[1:] = key[1:] != key[:-1]
    timed = time != _NO_TIME
    both = timed[1:] & timed[:-1] & blank[1:]
    # Differences that involve an untimed row overflow; `both` keeps them out.
    starts[1:] |= both & (np.diff(np.where(timed, time, 0)) >= _GAP_NS)
    return np.cumsum(starts) - 1


def _all(of: Codes, true: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(np.bincount(of, weights=~true) == 0)


def _numbers(animal: Codes) -> Codes:
    """Number sessions from 1 within each animal; `animal` is sorted."""
    starts = np.flatnonzero(np.diff(animal, prepend=-1))
    length = np.diff(np.append(starts, len(animal)))
    return np.arange(len(animal)) - np.repeat(starts, length) + 1
