"""One row a session: means, counts, sums of squares, bounds, and what must be said beside them.

All animals at once, on whole columns: nothing here loops over sessions.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.words import QUANTITIES
from bpvet.records.records import Records
from bpvet.visits.beyond import texts_of
from bpvet.visits.choice import BOTH_BOUNDS
from bpvet.visits.flags import flag_columns
from bpvet.visits.part import Part
from bpvet.visits.placement import Codes, Placement
from bpvet.visits.readings import judged, taken_counts
from bpvet.visits.session_store import SessionStore
from bpvet.visits.treatments.courses import Treatments, all_courses, treated_on
from bpvet.visits.treatments.missed import inside_missed

DAYS_PER_MONTH = 30.4375
DAYS_PER_YEAR = 365.25

#: The contract's columns, in its order; further columns follow them.
SESSION_COLUMNS = (
    *("animal", "species", "breed", "age_years", "sex", "clinic", "date", "method", "condition"),
    *("session", "label", "operator", "site", "demeanour", "months", "treated", "n_taken"),
    *(f"{name}{part}" for name in QUANTITIES for part in ("", "_n", "_ss", "_bound")),
    "flags",
)

_TEXTS = ("operator", "site", "demeanour", "side", "posture", "setting", "state")
_SIZES = ("cuff_width_cm", "limb_circumference_cm", "cuff_above_heart_cm")
_KEY = ("animal", "date", "method", "condition", "label")

#: What a session's bounds may be, by two bits.
_BOUNDS = ("", "at least", "at most", BOTH_BOUNDS)
#: A number that no quantity reaches.
_ABOVE_ALL = 4096.0

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
    frame, placement = judged(records, rule)
    part = Part(frame, placement.row)
    first = frame[list(_KEY)].iloc[placement.row[placement.first]]
    of, count = placement.of, len(placement.first)
    if treatments is None:
        treatments = all_courses(records)

    # Texts are categories until the end: a text of many sessions is made once.
    columns: dict[str, Any] = {name: first[name].array for name in _KEY}
    columns |= {"session": placement.number, "first_time": placement.first_time}
    day = first["date"].to_numpy(dtype="datetime64[D]")
    columns |= _animal_columns(records.animals, columns["animal"], day)
    columns["months"] = _months(columns["animal"].codes, day)
    columns["treated"] = treated_on(treatments, np.asarray(columns["animal"], dtype=object), day)
    columns |= {name: _joined_text(of, part[name], count) for name in _TEXTS}
    columns |= {name: _first_number(of, part[name], count) for name in _SIZES}
    columns |= _counts(part, frame, placement)
    weighing = _weighing(part)
    for name in QUANTITIES:
        columns |= _moments(part, of, count, name, weighing)
    animal = np.asarray(columns["animal"], dtype=object)
    columns |= flag_columns(part, of, columns, inside_missed(records, animal, day))
    columns |= _known(part, of, columns, weighing)
    columns["instrument"] = _joined_text(of, part["instrument"], count)
    extra = [name for name in columns if name not in SESSION_COLUMNS]
    return SessionStore({name: columns[name] for name in (*SESSION_COLUMNS, *extra)})


def used_values(part: Part | pd.DataFrame, quantity: str) -> Floats:
    """Return each reading's number of one quantity, NaN where it does not count.

    Parameters
    ----------
    part : DataFrame
        Readings with their `fate`.
    quantity : str
        One of `bpvet.facts.words.QUANTITIES`. Pulse pressure is systolic minus diastolic of
        readings with both plain numbers (no bound, no summary row) and systolic the higher.

    Returns
    -------
    (n,) array of float
        In the unit of the quantity.
    """
    used = (part["fate"] == "used").to_numpy(dtype=bool)
    if quantity == "pulse_pressure":
        plain = (part["systolic_bound"] == "") & (part["diastolic_bound"] == "")
        value = (part["systolic"] - part["diastolic"]).to_numpy(dtype=float)
        counts = plain.to_numpy(dtype=bool) & (part["summary_n"] == 0).to_numpy() & (value > 0)
    else:
        value = part[quantity].to_numpy(dtype=float)
        counts = (part[f"{quantity}_bound"] != "no sound").to_numpy(dtype=bool)
    return np.where(used & counts, value, np.nan)


#: For each row, how many readings it stands for and their SD; None where each stands for itself.
_Weighing = tuple[Floats, Floats] | None


def _weighing(part: Part) -> _Weighing:
    many = part["summary_n"].to_numpy(dtype=float)
    if not (many > 1).any():
        return None
    return np.maximum(many, 1.0), part["summary_sd"].to_numpy(dtype=float)


def _moments(
    part: Part, of: Codes, count: int, quantity: str, weighing: _Weighing
) -> dict[str, Any]:
    """Return mean, count, sum of squares, bound, median and SD of one quantity by session."""
    value = used_values(part, quantity)
    row = np.flatnonzero(~np.isnan(value))
    value, session = value[row], of[row]
    weight = None if weighing is None else weighing[0][row]
    spread = None if weighing is None else weighing[1][row]
    if spread is not None and quantity != "systolic":
        spread = np.full(len(row), np.nan)
    n, mean, ss = _sums(session, value, weight, spread, count)
    return {
        quantity: mean,
        f"{quantity}_n": n.astype(np.int64),
        f"{quantity}_ss": np.where(n > 0, ss, np.nan),
        f"{quantity}_bound": _bounds(part, row, session, count, quantity),
        f"{quantity}_median": _medians(session, value, weight, mean),
        f"{quantity}_sd": np.sqrt(np.divide(ss, n - 1, out=np.full(count, np.nan), where=n > 1)),
    }


def _sums(
    session: Codes, value: Floats, weight: Floats | None, spread: Floats | None, count: int
) -> tuple[Floats, Floats, Floats]:
    """Return count, mean and sum of squares of values by session, (count,) each."""
    n = np.bincount(session, weights=weight, minlength=count).astype(float)
    total = np.bincount(
        session, weights=value if weight is None else weight * value, minlength=count
    )
    mean = np.divide(total, n, out=np.full(count, np.nan), where=n > 0)
    about_mean = (value - mean[session]) ** 2
    if weight is not None and spread is not None:
        # A summary row brings its own sum of squares, (n − 1)·SD², known for systolic only.
        inner = (weight - 1) * spread**2
        about_mean = weight * about_mean + np.where(weight > 1, inner, 0.0)
    ss = np.bincount(session, weights=about_mean, minlength=count).astype(float)
    return n, mean, ss


def _known(part: Part, of: Codes, columns: dict[str, Any], weighing: _Weighing) -> dict[str, Any]:
    """Return what is known where a reading lies beyond the gauge: a bound is no number.

    Of such a session neither scatter nor median is known, only those of its numbers.
    """
    found: dict[str, Any] = {}
    for name in QUANTITIES:
        bound = columns[f"{name}_bound"].codes > 0
        if bound.any():
            for ending in ("_ss", "_median", "_sd"):
                found[f"{name}{ending}"] = np.where(bound, np.nan, columns[f"{name}{ending}"])
    n, mean, ss = (columns[f"systolic{ending}"] for ending in ("_n", "", "_ss"))
    bound, beyond = columns["systolic_bound"].codes > 0, np.full(len(n), "", dtype=object)
    if bound.any():
        value = used_values(part, "systolic")
        sense = np.asarray(part["systolic_bound"], dtype=object)
        own = np.flatnonzero(bound[of] & ~np.isnan(value))
        past = np.isin(sense[own], _BOUNDS[1:3])
        beyond = texts_of(of[own[past]], value[own[past]], sense[own[past]], len(n))
        row = own[~past]
        held = None if weighing is None else (weighing[0][row], weighing[1][row])
        weight, spread = (None, None) if held is None else held
        known = _sums(of[row], value[row], weight, spread, len(n))
        n, mean, ss = (
            np.where(bound, new, old) for new, old in zip(known, (n, mean, ss), strict=True)
        )
        ss = np.where(n > 0, ss, np.nan)
    return found | {
        "systolic_numbers": n.astype(np.int64),
        "systolic_numbers_mean": mean,
        "systolic_numbers_ss": ss,
        "systolic_beyond": pd.Series(beyond, dtype="str").array,
    }


def _bounds(part: Part, row: Codes, session: Codes, count: int, quantity: str) -> pd.Categorical:
    code = np.zeros(count, dtype=np.int8)
    written = None if quantity == "pulse_pressure" else part[f"{quantity}_bound"].array
    if written is not None and written.codes.any():
        for bit, word in enumerate(_BOUNDS[1:3]):
            rows = written.codes[row] == written.categories.get_loc(word)
            code += (np.bincount(session[rows], minlength=count) > 0) * np.int8(1 << bit)
    return pd.Categorical.from_codes(code, pd.Index(_BOUNDS, dtype="str"))


def _medians(session: Codes, value: Floats, weight: Floats | None, mean: Floats) -> Floats:
    """Return the median of each session; the mean where a summary row hides the readings."""
    median = mean.copy()
    if not len(value):
        return median
    ordered = _within(session, value)
    start = np.flatnonzero(np.diff(session, prepend=-1))
    length = np.diff(start, append=len(session))
    middle = (ordered[start + (length - 1) // 2] + ordered[start + length // 2]) / 2
    median[session[start]] = middle
    if weight is None:
        return median
    hidden = np.bincount(session, weights=weight > 1, minlength=len(mean)) > 0
    return np.where(hidden, mean, median)


def _within(session: Codes, value: Floats) -> Floats:
    """Return the values, those of each session in their order; `session` ascends."""
    # Numbers are sorted faster than places: one number holds both, if nothing is lost by it.
    base = session * _ABOVE_ALL
    both = base + value
    if value.min() >= 0 and value.max() < _ABOVE_ALL and (both - base == value).all():
        both.sort()
        return both - base
    return value[np.lexsort((value, session))]


def _counts(part: Part, frame: pd.DataFrame, placement: Placement) -> dict[str, Any]:
    each = np.maximum(part["summary_n"].to_numpy(dtype=np.int64), 1)
    of, count = placement.of, len(placement.first)

    def number(rows: Any) -> Codes:
        if not np.any(rows):
            return np.zeros(count, dtype=np.int64)
        weights = each * np.asarray(rows, dtype=bool)
        return np.bincount(of, weights=weights, minlength=count).astype(np.int64)

    fate, summary = part["fate"], (part["summary_n"] > 0).to_numpy()
    return {
        "n_taken": taken_counts(frame, placement),
        "n_used": number(fate == "used"),
        "n_left_out": number(fate == "left out"),
        "n_excluded": number(fate == "excluded"),
        "n_no_sound": number(fate == "no sound"),
        "n_set_aside": number(fate == "set aside"),
        "n_below_gauge": number((fate == "set aside") & (part["systolic_bound"] == "no sound")),
        "summary": number((fate == "used") & summary) > 0,
        "line": np.minimum.reduceat(placement.row, placement.first) if count else placement.row,
    }


def _animal_columns(
    animals: pd.DataFrame, animal: pd.Categorical, day: NDArray[np.datetime64]
) -> dict[str, Any]:
    at = pd.Index(animals["animal"]).get_indexer(animal.categories)[animal.codes]
    columns: dict[str, Any] = {}
    for name in ("species", "breed", "sex", "clinic"):
        code, words = pd.factorize(np.append(animals[name].to_numpy(dtype=object), ""))
        columns[name] = pd.Categorical.from_codes(code[at], pd.Index(words))
    born = np.append(animals["birth_date"].to_numpy(dtype="datetime64[D]"), np.datetime64("NaT"))
    age = (day - born[at]) / np.timedelta64(1, "D")
    columns["age_years"] = age / DAYS_PER_YEAR
    return columns


def _months(animal: Codes, day: NDArray[np.datetime64]) -> Floats:
    """Return the time from each animal's first session; these stand by animal and date."""
    start = np.flatnonzero(np.diff(animal, prepend=-1))
    first = np.repeat(day[start], np.diff(start, append=len(animal)))
    days: Floats = (day - first) / np.timedelta64(1, "D")
    return days / DAYS_PER_MONTH


def _joined_text(of: Codes, column: pd.Series[Any], count: int) -> pd.Categorical:
    """Return the distinct texts of each session in order of taking, joined by "; "."""
    code, words = column.cat.codes.to_numpy(), column.cat.categories.tolist()
    places = {word: place for place, word in enumerate(words)}
    joined = np.full(count, places.setdefault("", len(places)), dtype=np.int64)
    given = np.flatnonzero(code != places[""])
    # Rows stand session by session, so a text is new where session or text change; the same text
    # may come again later in a session, which the pairs below tell.
    same = (of[given[1:]] == of[given[:-1]]) & (code[given[1:]] == code[given[:-1]])
    given = given[np.append(True, ~same)[: len(given)]]
    start = np.append(True, of[given[1:]] != of[given[:-1]])[: len(given)]
    joined[of[given[start]]] = code[given[start]]
    mixed = np.zeros(count, dtype=bool)
    mixed[of[given[~start]]] = True
    seen: dict[int, dict[str, None]] = {}
    for position in given[mixed[of[given]]].tolist():
        seen.setdefault(int(of[position]), {})[words[code[position]]] = None
    for session, met in seen.items():
        joined[session] = places.setdefault("; ".join(met), len(places))
    return pd.Categorical.from_codes(joined, pd.Index(list(places)))


def _first_number(of: Codes, column: pd.Series[Any], count: int) -> Floats:
    value = column.to_numpy(dtype=float)
    given = np.flatnonzero(~np.isnan(value))
    first = np.full(count, np.nan)
    first[of[given][::-1]] = value[given][::-1]
    return first
