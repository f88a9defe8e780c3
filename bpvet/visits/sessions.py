"""One row a session: means, counts, sums of squares, bounds, and what must be said beside them.

All animals at once, on whole columns: nothing here loops over sessions.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import QUANTITIES
from bpvet.records.made_tables import CodedReadings
from bpvet.records.parsing.coded import Coded
from bpvet.records.parsing.codes import end_to_end_rows, order_of
from bpvet.records.parsing.columns import constant
from bpvet.records.records import Records
from bpvet.records.table_columns import TableColumns
from bpvet.visits.flags import flag_columns
from bpvet.visits.part import Part, PlacedReadings
from bpvet.visits.placement import Codes, Placement, Rows
from bpvet.visits.readings import judged
from bpvet.visits.session_store import SessionStore, compact
from bpvet.visits.session_sums import known_columns, sum_columns
from bpvet.visits.session_sums import used_values as used_values
from bpvet.visits.session_texts import SessionColumnsByBlock, joined_text
from bpvet.visits.treatments.courses import Treatments, all_courses, treated_on
from bpvet.visits.treatments.missed import inside_missed

if TYPE_CHECKING:
    import pandas as pd

DAYS_PER_MONTH = 30.4375
DAYS_PER_YEAR = 365.25

#: The contract's columns, in its order; further columns follow them.
SESSION_COLUMNS = (
    *("animal", "species", "breed", "age_years", "sex", "clinic", "date", "method", "condition"),
    *("session", "label", "operator", "site", "demeanour", "months", "treated", "n_taken"),
    *(f"{name}{suffix}" for name in QUANTITIES for suffix in ("", "_n", "_ss", "_bound")),
    "flags",
)

_TEXTS = ("operator", "site", "demeanour", "side", "posture", "setting", "state")
_SIZES = ("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm")
_KEY = ("animal", "date", "method", "condition", "label")

#: Sessions whose readings are worked on at once.
_SESSIONS = 1 << 15

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]


def sessions(
    records: Records,
    rule: str = "guideline",
    treatments: Mapping[str, Treatments] | None = None,
) -> pd.DataFrame:
    """Return one row a session, of every animal, method and condition.

    Sessions are as `bpvet.visits.readings.readings_used` says. Those under sedation or
    anaesthesia, and those without a used number, are in it too (their numbers are NaN).

    Parameters
    ----------
    records : Records
    rule : str
        ``guideline`` or ``all``.
    treatments : mapping, optional
        As from `bpvet.visits.treatments.courses.all_courses`; found from the records by default.

    Returns
    -------
    DataFrame
        Sorted by animal (as text) and session; the columns `SESSION_COLUMNS`, where for each
        quantity q

        - q: mean of the used readings, in its unit; a bound stands at its value;
        - q_n: used readings, a summary row counting as many as it says;
        - q_ss: their sum of squares about the mean; NaN where not known (a summary without SD, a
          reading beyond the gauge);
        - q_bound: ``""``, ``at least``, ``at most`` or ``at least and at most``;

        `months` from the animal's first session (30.4375 days each), `treated` as
        `bpvet.visits.treatments.courses.treated_on`, `flags` joined by "; ". Text that differs
        between the readings of one session is joined likewise, in order of taking. Then:
        `first_time` (NaT without times), `side`, `posture`, `setting`, `state`, `cuff_width_cm`,
        `limb_circumference_cm`, `cuff_above_heart_cm` (first given), `n_used`, `n_left_out`,
        `n_excluded`, `n_no_sound`, `n_set_aside`, `n_below_gauge` (set aside as lower
        than any animal has it), `summary` (holds a summary row), `tense`,
        `go_on` (why more readings should have been taken; blank when there were enough),
        `line` (position of its first row in the input), for each quantity q_median and q_sd
        (NaN with fewer than two readings, both with one beyond the gauge), `instrument`, text as
        the others, and of the used systolic readings `systolic_numbers`, `systolic_numbers_mean`
        and `systolic_numbers_ss` (those that are numbers: how many, their mean, their sum of
        squares) and `systolic_beyond` (those that are bounds, as "> 300; > 300", in order).

    Raises
    ------
    CallError
        When the rule is not known.
    """
    known = _KNOWN.get(records, {})
    if rule in known and treatments is None:
        # The caller's own: what they write into it is in no other.
        return known[rule].frame.copy()
    return _stored(records, rule, treatments).frame


#: Sessions of the records in use, by rule: one question after another is asked of the same records.
_KNOWN: WeakKeyDictionary[Records, dict[str, SessionStore]] = WeakKeyDictionary()


def session_store(
    records: Records,
    rule: str = "guideline",
    treatments: Mapping[str, Treatments] | None = None,
) -> SessionStore:
    """Return the sessions of the records as arrays, made once for each rule and kept.

    Parameters
    ----------
    records, rule
        As in `sessions`.
    treatments : mapping, optional
        As `bpvet.visits.treatments.courses.all_courses` finds them in these records.

    Raises
    ------
    CallError
        When the rule is not known.
    """
    known = _KNOWN.setdefault(records, {})
    if rule not in known:
        known[rule] = _stored(records, rule, treatments)
    return known[rule]


def _stored(
    records: Records, rule: str, treatments: Mapping[str, Treatments] | None
) -> SessionStore:
    coded, placement = judged(records, rule)
    first = placement.row[placement.first]
    if treatments is None:
        treatments = all_courses(records)

    # Texts are codes until the end: a text of many sessions is made once.
    columns: dict[str, Any] = {name: coded.some(name, first) for name in _KEY}
    columns |= {"session": placement.number, "first_time": placement.first_time}
    day = columns["date"].astype("datetime64[D]")
    columns |= _animal_columns(records.columns("animals"), columns["animal"], day)
    columns["months"] = _months(columns["animal"].codes, day)
    columns["treated"] = treated_on(treatments, columns["animal"], day)
    missed = inside_missed(records, columns["animal"], day)
    columns = compact(columns)
    del first, day
    columns |= _of_readings(coded, placement, columns["condition"], missed)
    extra = [name for name in columns if name not in SESSION_COLUMNS]
    return SessionStore(compact({name: columns[name] for name in (*SESSION_COLUMNS, *extra)}))


def _of_readings(
    coded: CodedReadings, placement: Placement, condition: Coded, missed: Booleans
) -> dict[str, Any]:
    """Return the columns that the readings of each session make, some sessions at a time.

    Sessions go as they stand in the input, so that their readings need hardly be gathered. What
    stands in memory beside the columns is of these sessions alone, and stays in the cache.

    Parameters
    ----------
    coded, placement
        As `bpvet.visits.readings.judged` gives them.
    condition : (s,) Coded
    missed : (s,) array of bool
        Whether each session lies in a stretch in which doses were missed.
    """
    count = len(placement.first)
    order, length = order_of(placement.row[placement.first], len(coded)), placement.length
    made = SessionColumnsByBlock(count)
    readings = PlacedReadings(coded)
    for at in range(0, max(count, 1), _SESSIONS):
        some = slice(at, min(at + _SESSIONS, count))
        which = order[some]
        here, lengths = len(which), length[which]
        row = placement.row[end_to_end_rows(placement.first[which], lengths)]
        part, start = readings.at(row), np.cumsum(lengths) - lengths
        of = np.repeat(np.arange(here), lengths)
        for name in _TEXTS:
            made.put(name, some, _joined(part, name, of, here, made))
        columns = {name: _first_number(of, part.numbers(name), here) for name in _SIZES}
        columns |= _counts(part, of, row, start)
        columns |= sum_columns(part, of, here)
        circumstances = {"condition": condition[which]}
        columns |= flag_columns(part, of, columns | circumstances, missed[which])
        columns |= known_columns(part, of, columns)
        for name, values in columns.items():
            made.put(name, some, values)
        made.put("instrument", some, _joined(part, "instrument", of, here, made))
    back = np.empty_like(order)
    back[order] = np.arange(count)
    return made.columns(back)


def _joined(
    part: Part, name: str, of: Codes, count: int, made: SessionColumnsByBlock
) -> NDArray[np.int32]:
    words, code = part.texts(name), part.codes(name)
    known = made.vocabulary(name, words)
    if part.alike(name) and count:
        return constant(code[0], count, np.int32)
    return joined_text(of, code, words, count, known)


def _counts(part: Part, of: Codes, row: Rows, start: Codes) -> dict[str, Any]:
    """Return how many readings of each kind the sessions have.

    Parameters
    ----------
    part : Part
        Placed readings with their `fate`, session by session in order of taking.
    of : (n,) array of int
        Session of each, from 0.
    row : (n,) array of int
        Position of each in the input.
    start : (s,) array of int
        The first reading of each session.
    """
    count = len(start)
    many = part.numbers("summary_n")
    each = np.maximum(many, 1) if many.any() else 1
    last = np.append(start[1:], len(of)) - 1

    def number(rows: Booleans) -> Codes:
        if not rows.any():
            return np.zeros(count, dtype=np.int64)
        return np.diff(np.cumsum(rows * each, dtype=np.int64)[last], prepend=0)

    used, aside = part.bears("fate", "used"), part.bears("fate", "set aside")
    silent = part.bears("systolic_bound", "no sound")
    return {
        "n_taken": number(np.ones(len(of), dtype=bool)),
        "n_used": number(used),
        "n_left_out": number(part.bears("fate", "left out")),
        "n_excluded": number(part.bears("fate", "excluded")),
        "n_no_sound": number(part.bears("fate", "no sound")),
        "n_set_aside": number(aside),
        "n_below_gauge": number(aside & (part.numbers("below_gauge") | silent)),
        "summary": number(used & (many > 0)) > 0,
        "line": np.minimum.reduceat(row, start).astype(np.int64) if count else start,
    }


def _animal_columns(
    animals: TableColumns, animal: Coded, day: NDArray[np.datetime64]
) -> dict[str, Any]:
    row = {name: i for i, name in enumerate(animals["animal"].tolist())}
    # Of who is not among them the last row is taken, which is blank.
    rows = np.array([row.get(name, -1) for name in animal.texts.tolist()], dtype=np.int64)
    at = rows[animal.codes]
    columns: dict[str, Any] = {}
    for name in ("species", "breed", "sex", "clinic"):
        columns[name] = Coded.of(np.append(animals[name], ""))[at]
    born = np.append(animals.days("birth_date"), np.datetime64("NaT"))
    age = (day - born[at]) / np.timedelta64(1, "D")
    columns["age_years"] = age / DAYS_PER_YEAR
    return columns


def _months(animal: Codes, day: NDArray[np.datetime64]) -> Floats:
    """Return the time from each animal's first session; these stand by animal and date."""
    start = np.flatnonzero(np.diff(animal, prepend=-1))
    first = np.repeat(day[start], np.diff(start, append=len(animal)))
    days: Floats = (day - first) / np.timedelta64(1, "D")
    return days / DAYS_PER_MONTH


def _first_number(of: Codes, value: Floats, count: int) -> Floats:
    given = np.flatnonzero(~np.isnan(value))
    first = np.full(count, np.nan)
    first[of[given][::-1]] = value[given][::-1]
    return first
