"""Every reading: the session it belongs to, its place in it, and whether it counts.

The session key and the order of readings and sessions are the contract's. All of it is done on
whole columns, so that a million readings take seconds; `bpvet.visits.choice` states the same
rule for one session on plain numbers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.protocol import DROP_FIRST_FROM
from bpvet.facts.words import READING_QUANTITIES
from bpvet.reasons import reason
from bpvet.records.made_tables import CodedReadings
from bpvet.records.parsing.arrow import text_column
from bpvet.records.parsing.coded import Coded
from bpvet.records.records import Records, copied
from bpvet.visits.choice import (
    FATES,
    KINDS,
    Flag,
    checked_rule,
    left_out_reason,
)
from bpvet.visits.part import Part, PlacedReadings
from bpvet.visits.placement import Codes, Placement, place

if TYPE_CHECKING:
    import pandas as pd

#: Rows that are judged at once, so that they stay in the processor's cache.
_ROWS = 1 << 15
#: What is told of each reading, and with each of its quantities the bound.
TOLD = (
    *("date", "taken_at", "timed", "session", "order", "method", "fate", "reason"),
    *(f"{name}{ending}" for name in READING_QUANTITIES for ending in ("", "_bound")),
    *("counted_pulse", "file", "line"),
)
#: Columns that `readings_used` adds; `session` takes the name of the text it numbers.
ADDED = ("order", "fate", "reason")


def readings_used(
    records: Records, rule: str = "guideline", *, animal: str | None = None
) -> pd.DataFrame:
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
    animal : str, optional
        Of this animal's readings alone.

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
    known = _KNOWN.setdefault(records, {})
    if (rule, None) not in known:
        known[rule, None] = _used(records, rule)
    if (rule, animal) not in known:
        whole = known[rule, None]
        # Of one animal at a time: whoever asks for another has done with it.
        known.clear()
        known[rule, None] = whole
        known[rule, animal] = whole[(whole["animal"] == animal).to_numpy(dtype=bool)]
    # The caller's own: what they write into it is in no other.
    return copied(known[rule, animal])


#: Readings of the records in use, by rule, of all animals and of the one that was asked for last:
#: each report of a run asks for them more than once.
_KNOWN: WeakKeyDictionary[Records, dict[tuple[str, str | None], pd.DataFrame]] = WeakKeyDictionary()


def _used(records: Records, rule: str) -> pd.DataFrame:
    coded, placement = judged(records, rule)
    readings = records.readings
    # The session as written is called `label`; foreign columns make way for those added here.
    foreign = [name for name in ("label", *ADDED) if name in readings.columns]
    names = {name: f"{name}_as_written" for name in foreign}
    frame = readings.rename(columns={**names, "session": "label"})
    session, order = _placed(placement, len(frame))
    status = np.array(FATES, dtype=object)[coded.columns["fate"].codes]
    reason = _reasons(frame, placement, status)
    return frame.assign(session=session, order=order, fate=status, reason=reason)


def _placed(placement: Placement, rows: int) -> tuple[Codes, Codes]:
    """Return each reading's session and its place in it, (rows,) each; 0 where it has none."""
    session, order = np.zeros((2, rows), dtype=np.int64)
    session[placement.row] = placement.number[placement.of]
    order[placement.row] = placement.order
    return session, order


def coded_readings_used(records: Records, rule: str) -> pd.DataFrame:
    """Return what `readings_used` does, with texts as categories and without the reasons.

    For many animals the texts of every column take most of the memory and of the time.
    """
    coded, placement = judged(records, rule)
    session, order = _placed(placement, len(coded))
    return coded.frame().assign(session=session, order=order)


def judged(records: Records, rule: str) -> tuple[CodedReadings, Placement]:
    """Return every reading's fate, as codes, and where each was placed.

    Returns
    -------
    CodedReadings
        As `Records.coded_readings` gives it, and `fate` as codes into `FATES`.
    Placement

    Raises
    ------
    CallError
        When the rule is not known.
    """
    checked_rule(rule)
    coded = records.coded_readings()
    readings = PlacedReadings(coded)
    placement = place(readings)
    code = _fates(readings, placement, rule)
    coded.columns["fate"] = Coded(code, text_column(FATES))
    return coded, placement


def accounting(readings: pd.DataFrame | CodedReadings) -> dict[str, int]:
    """Return how many rows went in and what became of them; the parts add up to `in`.

    Parameters
    ----------
    readings : DataFrame or CodedReadings
        As from `readings_used` or `judged`.

    Returns
    -------
    dict
        `in`, `used`, `left_out` (by the rule, and "no sound": taken, but without a number),
        `excluded` and `set_aside`, in rows; a summary row counts as one.
    """
    if isinstance(readings, CodedReadings):
        number = np.bincount(readings.columns["fate"].codes, minlength=len(FATES))
        total = dict(zip(FATES, number.tolist(), strict=True))
    else:
        count = readings["fate"].value_counts()
        total = {name: int(count.get(name, 0)) for name in FATES}
    return {
        "in": len(readings),
        "used": total["used"],
        "left_out": total["left out"] + total["no sound"],
        "excluded": total["excluded"],
        "set_aside": total["set aside"],
    }


def kinds(part: Part) -> NDArray[np.int8]:
    """Return what each row is before any rule, as an index into `bpvet.visits.choice.KINDS`.

    A row with several quantities is a number if it has any; it is "no sound" when it has none
    and says so. A row with neither was left without anything to use and counts as set aside.

    Parameters
    ----------
    part : Part
        Readings.

    Returns
    -------
    (n,) array of int
    """
    silent, number, bounded = (np.zeros(len(part), dtype=bool) for _ in range(3))
    for name in READING_QUANTITIES:
        given = ~np.isnan(part.numbers(name))
        bound = f"{name}_bound"
        if part.codes(bound).any():
            no_sound = part.bears(bound, Flag.NO_SOUND)
            given &= ~no_sound
            silent |= no_sound
            bounded |= given & ~part.bears(bound, "")
        number |= given
    code = np.zeros(len(part), dtype=np.int8)
    # What excludes the others comes last.
    code[number] = KINDS.index("number")
    code[bounded] = KINDS.index("bound")
    code[number & (part.numbers("summary_n") > 0)] = KINDS.index("summary")
    code[silent & ~number] = KINDS.index("no sound")
    code[~part.bears("excluded", "")] = KINDS.index("excluded")
    code[~part.bears("set_aside", "")] = KINDS.index("set aside")
    return code


def _fates(readings: PlacedReadings, placement: Placement, rule: str) -> NDArray[np.int8]:
    """Return each row's fate (n,), as an index into `FATES`."""
    fates = [name if name in FATES else "used" for name in KINDS]
    of_kind = np.array([FATES.index(name) for name in fates], dtype=np.int8)
    status = np.empty(len(readings), dtype=np.int8)
    for start in range(0, len(readings), _ROWS):
        some = slice(start, start + _ROWS)
        status[some] = of_kind[kinds(readings.at(some))]
    if len(placement.row) < len(readings):
        placed = np.zeros(len(readings), dtype=bool)
        placed[placement.row] = True
        status[~placed] = FATES.index("set aside")
    if rule == "guideline":
        many = taken_counts(readings.column("summary_n"), placement) >= DROP_FIRST_FROM
        first = placement.row[placement.first[many]]
        plain = readings.at(first).numbers("summary_n") == 0
        first = first[plain & (status[first] == FATES.index("used"))]
        status[first] = FATES.index("left out")
    return status


def _reasons(
    frame: pd.DataFrame, placement: Placement, status: NDArray[np.object_]
) -> NDArray[np.object_]:
    """Return why each row (n,) is not used, in words; blank where it is."""
    why = frame["set_aside"].to_numpy(dtype=object).copy()
    why[(why == "") & (status == "set aside")] = reason("visits.no_place")
    why = np.where(status == "excluded", frame["excluded"].to_numpy(dtype=object), why)
    why[status == "no sound"] = Flag.NO_SOUND.value
    why[status == "used"] = ""
    many = np.zeros(len(frame), dtype=np.int64)
    many[placement.row] = taken_counts(frame["summary_n"].to_numpy(), placement)[placement.of]
    leave = np.flatnonzero(status == "left out")
    reasons = {n: left_out_reason(n) for n in set(many[leave].tolist())}
    why[leave] = [reasons[n] for n in many[leave].tolist()]
    return why


def taken_counts(many: NDArray[np.int64], placement: Placement) -> Codes:
    """Return the readings taken in each session; a summary row stands for as many as it says.

    Parameters
    ----------
    many : (n,) array of int
        What each row is a summary of; 0 of a row that is none.
    placement : Placement

    Returns
    -------
    (s,) array of int
    """
    if not (many > 1).any():
        return placement.length
    each = np.maximum(many, 1)[placement.row]
    return np.bincount(placement.of, weights=each).astype(np.int64)
