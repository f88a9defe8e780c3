"""Every reading: the session it belongs to, its place in it, and whether it counts.

The session key and the order of readings and sessions are the contract's. All of it is done on
whole columns, so that a million readings take seconds; `bpvet.visits.choice` states the same
rule for one session on plain numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.protocol import DROP_FIRST_FROM, SESSION_GAP_HOURS
from bpvet.facts.words import METHODS, READING_QUANTITIES
from bpvet.records.records import Records
from bpvet.visits.choice import (
    FATES,
    KINDS,
    NO_SOUND,
    checked_rule,
    left_out_reason,
)

#: Columns that `readings_used` adds; `session` takes the name of the text it numbers.
ADDED = ("order", "fate", "reason")

_GAP_NS = int(SESSION_GAP_HOURS * 3600 * 1_000_000_000)
_NO_TIME = np.iinfo(np.int64).min

Codes = NDArray[np.int64]


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


def readings_used(records: Records, rule: str = "guideline") -> pd.DataFrame:
    """Return every reading with its session, its place in it, and its fate.

    A session is all readings of one animal by one method under one condition on one date with
    one `label`. Without a label it is split between readings consecutive in time that are two
    hours or more apart; readings without a time join the first part. Blank and filled labels
    never mix, and a filled label is never split. Excluded, "no sound" and set-aside rows were
    taken and have their place; exact duplicates, rows dated after `as of`, and rows without a
    usable animal, date, method or condition have none.

    The order within a session is that of `reading` if all its rows have it, else of time if all
    have one, else of the input; equal numbers go by time if all have one, equal times by the
    input. Sessions go by date, first time (none first), label and first line.

    Parameters
    ----------
    records : Records
    rule : str
        ``guideline`` or ``all`` (see `bpvet.visits.choice.fates`).

    Returns
    -------
    DataFrame
        One row for each row of `records.readings`, in its order, with its columns (`session`,
        the text written there, is called `label`) and: `session` (number in the animal, from 1;
        0 where the row has no place), `order` (from 1; 0 likewise), `fate` (one of
        `bpvet.visits.choice.FATES`), `reason` (words; blank where used).

    Raises
    ------
    CallError
        When the rule is not known.
    """
    return judged(records, rule)[0]


def judged(records: Records, rule: str) -> tuple[pd.DataFrame, Placement]:
    """Return what `readings_used` returns, and where each row was placed.

    Raises
    ------
    CallError
        When the rule is not known.
    """
    checked_rule(rule)
    frame = _with_label(records.readings)
    placement = place(frame)
    session = np.zeros(len(frame), dtype=np.int64)
    order = np.zeros(len(frame), dtype=np.int64)
    session[placement.row] = placement.number[placement.of]
    order[placement.row] = placement.order
    fate, reason = _fates(frame, placement, rule)
    return frame.assign(session=session, order=order, fate=fate, reason=reason), placement


def _with_label(readings: pd.DataFrame) -> pd.DataFrame:
    """Call the session as written `label`; foreign columns make way for those added here."""
    foreign = [name for name in ("label", *ADDED) if name in readings.columns]
    names = {name: f"{name}_as_written" for name in foreign}
    return readings.rename(columns={**names, "session": "label"})


def accounting(readings: pd.DataFrame) -> dict[str, int]:
    """Return how many rows went in and what became of them; the parts add up to `in`.

    Parameters
    ----------
    readings : DataFrame
        As from `readings_used`.

    Returns
    -------
    dict
        `in`, `used`, `left_out` (by the rule, and "no sound": taken, but without a number),
        `excluded` and `set_aside`, in rows; a summary row counts as one.
    """
    count = readings["fate"].value_counts()
    total = {name: int(count.get(name, 0)) for name in FATES}
    return {
        "in": len(readings),
        "used": total["used"],
        "left_out": total["left out"] + total["no sound"],
        "excluded": total["excluded"],
        "set_aside": total["set aside"],
    }


def place(frame: pd.DataFrame) -> Placement:
    """Return the sessions of a readings frame.

    Parameters
    ----------
    frame : DataFrame
        Readings with `label` for the session as written.

    Returns
    -------
    Placement
    """
    row = np.flatnonzero(_placed(frame))
    part = frame.iloc[row]
    animal = _codes(part["animal"])
    label = _codes(part["label"])
    blank = (part["label"] == "").to_numpy(dtype=bool)
    day = part["date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    timed = part["timed"].to_numpy(dtype=bool) & part["taken_at"].notna().to_numpy()
    time = part["taken_at"].to_numpy(dtype="datetime64[ns]").astype(np.int64)
    time = np.where(timed, time, _NO_TIME)
    key = (animal, _codes(part["method"]), _codes(part["condition"]), day, label)

    by_time = np.lexsort((row, time, *reversed(key)))
    of = np.empty(len(row), dtype=np.int64)
    of[by_time] = _split(tuple(column[by_time] for column in key), time[by_time], blank[by_time])

    count = np.bincount(of)
    line = _least(of, row, len(count))
    earliest = _least(of, np.where(timed, time, np.iinfo(np.int64).max), len(count))
    # A session without any time sorts before the timed ones of its date.
    earliest = np.where(earliest == np.iinfo(np.int64).max, _NO_TIME, earliest)
    one = np.empty(len(count), dtype=np.int64)
    one[of] = np.arange(len(row))
    ranked = np.lexsort((line, label[one], earliest, day[one], animal[one]))
    rank = np.empty(len(count), dtype=np.int64)
    rank[ranked] = np.arange(len(count))
    of = rank[of]

    number_written = part["reading"].to_numpy(dtype=float)
    has_number = _all(of, ~np.isnan(number_written))[of]
    has_time = _all(of, timed)[of]
    taken = np.lexsort(
        (row, np.where(has_time, time, 0), np.where(has_number, number_written, 0.0), of)
    )
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


def _placed(frame: pd.DataFrame) -> NDArray[np.bool_]:
    known = frame["method"].isin(METHODS) & (frame["condition"] != "") & (frame["animal"] != "")
    out = frame["duplicate"].astype(bool) | frame["future"].astype(bool) | frame["date"].isna()
    return (known & ~out).to_numpy(dtype=bool)


def _codes(column: pd.Series[str]) -> Codes:
    return np.asarray(pd.factorize(column, sort=True)[0], dtype=np.int64)


def _split(key: tuple[Codes, ...], time: Codes, blank: NDArray[np.bool_]) -> Codes:
    """Return session indices of rows sorted by key and time, untimed rows first."""
    starts = np.zeros(len(time), dtype=bool)
    starts[:1] = True
    for column in key:
        starts[1:] |= column[1:] != column[:-1]
    timed = time != _NO_TIME
    both = timed[1:] & timed[:-1] & blank[1:]
    # Differences that involve an untimed row overflow; `both` keeps them out.
    starts[1:] |= both & (np.diff(np.where(timed, time, 0)) >= _GAP_NS)
    return np.cumsum(starts) - 1


def _least(of: Codes, value: Codes, sessions: int) -> Codes:
    least = np.full(sessions, np.iinfo(np.int64).max)
    np.minimum.at(least, of, value)
    return least


def _all(of: Codes, true: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(np.bincount(of, weights=~true) == 0)


def _numbers(animal: Codes) -> Codes:
    """Number sessions from 1 within each animal; `animal` is sorted."""
    starts = np.flatnonzero(np.diff(animal, prepend=-1))
    length = np.diff(np.append(starts, len(animal)))
    return np.arange(len(animal)) - np.repeat(starts, length) + 1


def kinds(frame: pd.DataFrame) -> NDArray[np.object_]:
    """Return what each row is before any rule, one of `bpvet.visits.choice.KINDS`.

    A row with several quantities is a number if it has any; it is "no sound" when it has none
    and says so. A row with neither was left without anything to use and counts as set aside.

    Parameters
    ----------
    frame : DataFrame
        Readings as from `bpvet.records`.

    Returns
    -------
    (n,) array of str
    """
    value = frame[list(READING_QUANTITIES)].notna().to_numpy()
    bound = frame[[f"{name}_bound" for name in READING_QUANTITIES]].to_numpy(dtype=object)
    silent = bound == "no sound"
    numbers = value & ~silent
    tests = {
        "set aside": (frame["set_aside"] != "").to_numpy(dtype=bool),
        "excluded": (frame["excluded"] != "").to_numpy(dtype=bool),
        "no sound": silent.any(axis=1) & ~numbers.any(axis=1),
        "summary": (frame["summary_n"] > 0).to_numpy(dtype=bool) & numbers.any(axis=1),
        "bound": (numbers & (bound != "")).any(axis=1),
        "number": numbers.any(axis=1),
    }
    code = np.select([tests[kind] for kind in KINDS], np.arange(len(KINDS)), default=0)
    return np.array(KINDS, dtype=object)[code]


def _fates(
    frame: pd.DataFrame, placement: Placement, rule: str
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    kind = kinds(frame)
    plain = np.isin(kind, ("number", "bound"))
    fate = np.where(plain | (kind == "summary"), "used", kind).astype(object)
    placed = np.zeros(len(frame), dtype=bool)
    placed[placement.row] = True
    fate[~placed] = "set aside"

    taken = taken_counts(frame, placement)
    first = placement.row[placement.first]
    leave = first[(taken >= DROP_FIRST_FROM) & plain[first]] if rule == "guideline" else first[:0]
    fate[leave] = "left out"

    reason = frame["set_aside"].to_numpy(dtype=object).copy()
    reason[(reason == "") & (fate == "set aside")] = "no usable number, animal, method or date"
    reason = np.where(fate == "excluded", frame["excluded"].to_numpy(dtype=object), reason)
    reason[fate == "no sound"] = NO_SOUND
    reason[fate == "used"] = ""
    many = np.zeros(len(frame), dtype=np.int64)
    many[placement.row] = taken[placement.of]
    reason[leave] = [left_out_reason(int(n)) for n in many[leave]]
    return fate, reason


def taken_counts(frame: pd.DataFrame, placement: Placement) -> Codes:
    """Return the readings taken in each session; a summary row stands for as many as it says.

    Parameters
    ----------
    frame : DataFrame
        Readings as from `bpvet.records`.
    placement : Placement

    Returns
    -------
    (s,) array of int
    """
    each = np.maximum(frame["summary_n"].to_numpy(dtype=np.int64), 1)[placement.row]
    return np.bincount(placement.of, weights=each).astype(np.int64)
