"""One row a session: means, counts, sums of squares, bounds, and what must be said beside them.

All animals at once, on whole columns: nothing here loops over sessions.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.words import QUANTITIES
from bpvet.records.records import Records
from bpvet.visits.choice import BOTH_BOUNDS
from bpvet.visits.courses import Treatments, all_courses, treated_on
from bpvet.visits.flags import flag_columns
from bpvet.visits.part import Part
from bpvet.visits.placement import Codes, Placement
from bpvet.visits.readings import judged, taken_counts

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

Floats = NDArray[np.float64]
Booleans = NDArray[np.bool_]


def sessions(
    records: Records,
    rule: str = "guideline",
    treatments: dict[str, Treatments] | None = None,
) -> pd.DataFrame:
    """Return one row a session, of every animal, method and condition.

    Sessions are as `bpvet.visits.readings.readings_used` says. Those under sedation or
    anaesthesia, and those without a used number, are in it too (their numbers are NaN).

    Parameters
    ----------
    records : Records
    rule : str
        ``guideline`` or ``all``.
    treatments : dict, optional
        As from `bpvet.visits.courses.all_courses`; found from the records by default.

    Returns
    -------
    DataFrame
        Sorted by animal (as text) and session; the columns `SESSION_COLUMNS`, where for each
        quantity q

        - q: mean of the used readings, in its unit; a bound stands at its value;
        - q_n: used readings, a summary row counting as many as it says;
        - q_ss: their sum of squares about the mean; NaN where not known (a summary without SD);
        - q_bound: ``""``, ``at least``, ``at most`` or ``at least and at most``;

        `months` from the animal's first session (30.4375 days each), `treated` as
        `bpvet.visits.courses.treated_on`, `flags` joined by "; ". Text that differs between
        the readings of one session is joined likewise, in order of taking. Then: `first_time`
        (NaT without times), `side`, `posture`, `setting`, `state`, `cuff_width_cm`,
        `limb_circumference_cm`, `cuff_above_heart_cm` (first given), `n_used`, `n_left_out`,
        `n_excluded`, `n_no_sound`, `n_set_aside`, `summary` (holds a summary row), `tense`,
        `go_on` (why more readings should have been taken; blank when there were enough),
        `line` (position of its first row in the input), and for each quantity q_median and q_sd
        (NaN with fewer than two readings).

    Raises
    ------
    CallError
        When the rule is not known.
    """
    frame, placement = judged(records, rule)
    part = Part(frame, placement.row)
    first = _texts(frame[list(_KEY)].iloc[placement.row[placement.first]])
    of, count = placement.of, len(placement.first)
    if treatments is None:
        treatments = all_courses(records)

    columns: dict[str, Any] = {name: first[name] for name in _KEY}
    columns |= {"session": placement.number, "first_time": placement.first_time}
    columns |= _animal_columns(records.animals, columns["animal"], columns["date"])
    columns["months"] = _months(columns["animal"], columns["date"])
    columns["treated"] = treated_on(
        treatments, first["animal"].to_numpy(), first["date"].to_numpy(dtype="datetime64[D]")
    )
    columns |= {name: _joined_text(of, part[name], count) for name in _TEXTS}
    columns |= {name: _first_number(of, part[name], count) for name in _SIZES}
    columns |= _counts(part, frame, placement)
    for name in QUANTITIES:
        columns |= _moments(part, of, count, name)
    columns |= flag_columns(part, of, columns)
    extra = [name for name in columns if name not in SESSION_COLUMNS]
    return pd.DataFrame({name: columns[name] for name in (*SESSION_COLUMNS, *extra)})


def _texts(few: pd.DataFrame) -> pd.DataFrame:
    """Return rows counted anew, their categories as texts."""
    return pd.DataFrame(
        {
            name: column.astype("str").array
            if isinstance(column.dtype, pd.CategoricalDtype)
            else column.array
            for name, column in few.items()
        }
    )


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
    used = part["fate"] == "used"
    if quantity == "pulse_pressure":
        plain = (part["systolic_bound"] == "") & (part["diastolic_bound"] == "")
        value = part["systolic"] - part["diastolic"]
        counts = used & plain & (part["summary_n"] == 0) & (value > 0)
    else:
        value = part[quantity]
        counts = used & (part[f"{quantity}_bound"] != "no sound")
    return value.where(counts).to_numpy(dtype=float)


def _moments(part: Part | pd.DataFrame, of: Codes, count: int, quantity: str) -> dict[str, Any]:
    """Return mean, count, sum of squares, bound, median and SD of one quantity by session."""
    value = used_values(part, quantity)
    row = np.flatnonzero(~np.isnan(value))
    value, session = value[row], of[row]
    weight = np.maximum(part["summary_n"].to_numpy(dtype=float)[row], 1.0)
    n = np.bincount(session, weights=weight, minlength=count)
    total = np.bincount(session, weights=weight * value, minlength=count)
    mean = np.divide(total, n, out=np.full(count, np.nan), where=n > 0)
    # A summary row brings its own sum of squares, (n − 1)·SD², known for systolic only.
    spread = part["summary_sd"].to_numpy(dtype=float)[row]
    inner = (weight - 1) * (spread**2 if quantity == "systolic" else np.nan)
    inner = np.where(weight > 1, inner, 0.0)
    about_mean = weight * (value - mean[session]) ** 2
    ss = np.bincount(session, weights=about_mean + inner, minlength=count)
    return {
        quantity: mean,
        f"{quantity}_n": n.astype(np.int64),
        f"{quantity}_ss": np.where(n > 0, ss, np.nan),
        f"{quantity}_bound": _bounds(part, row, session, count, quantity),
        f"{quantity}_median": _medians(session, value, weight, mean),
        f"{quantity}_sd": np.sqrt(np.divide(ss, n - 1, out=np.full(count, np.nan), where=n > 1)),
    }


def _bounds(
    part: Part | pd.DataFrame, row: Codes, session: Codes, count: int, quantity: str
) -> NDArray[np.object_]:
    bound = np.full(count, "", dtype=object)
    if quantity == "pulse_pressure":
        return bound
    written = part[f"{quantity}_bound"]
    low = np.bincount(session[(written == "at least").to_numpy()[row]], minlength=count) > 0
    high = np.bincount(session[(written == "at most").to_numpy()[row]], minlength=count) > 0
    bound[low] = "at least"
    bound[high] = "at most"
    bound[low & high] = BOTH_BOUNDS
    return bound


def _medians(session: Codes, value: Floats, weight: Floats, mean: Floats) -> Floats:
    """Return the median of each session; the mean where a summary row hides the readings."""
    median = mean.copy()
    if not len(value):
        return median
    ordered = np.lexsort((value, session))
    value, session = value[ordered], session[ordered]
    start = np.flatnonzero(np.diff(session, prepend=-1))
    length = np.diff(np.append(start, len(session)))
    middle = (value[start + (length - 1) // 2] + value[start + length // 2]) / 2
    hidden = np.bincount(session, weights=weight[ordered] > 1, minlength=len(mean)) > 0
    median[session[start]] = middle
    return np.where(hidden, mean, median)


def _counts(part: Part | pd.DataFrame, frame: pd.DataFrame, placement: Placement) -> dict[str, Any]:
    each = np.maximum(part["summary_n"].to_numpy(dtype=np.int64), 1)
    of, count = placement.of, len(placement.first)

    def number(rows: Any) -> Codes:
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
        "summary": number((fate == "used") & summary) > 0,
        "line": np.minimum.reduceat(placement.row, placement.first) if count else placement.row,
    }


def _animal_columns(
    animals: pd.DataFrame, animal: pd.Series[Any], date: pd.Series[Any]
) -> dict[str, Any]:
    at = pd.Index(animals["animal"]).get_indexer(pd.Index(animal))
    known = animals.reset_index(drop=True)
    columns: dict[str, Any] = {}
    for name in ("species", "breed", "sex", "clinic"):
        text = np.append(known[name].to_numpy(dtype=object), "")
        columns[name] = text[at]
    born = np.append(known["birth_date"].to_numpy(dtype="datetime64[D]"), np.datetime64("NaT"))
    age = (date.to_numpy(dtype="datetime64[D]") - born[at]) / np.timedelta64(1, "D")
    columns["age_years"] = age / DAYS_PER_YEAR
    return columns


def _months(animal: pd.Series[Any], date: pd.Series[Any]) -> Floats:
    days = (date - date.groupby(animal).transform("min")).dt.days
    return np.asarray(days, dtype=float) / DAYS_PER_MONTH


def _joined_text(of: Codes, column: pd.Series[Any], count: int) -> NDArray[np.object_]:
    """Return the distinct texts of each session in order of taking, joined by "; "."""
    code, texts = column.cat.codes.to_numpy(), np.asarray(column.cat.categories, dtype=object)
    given = np.flatnonzero((column != "").to_numpy(dtype=bool))
    joined = np.full(count, "", dtype=object)
    if not len(given):
        return joined
    # Rows stand session by session, so a text is new where session or text change; the same text
    # may come again later in a session, which the pairs below tell.
    same = (of[given[1:]] == of[given[:-1]]) & (code[given[1:]] == code[given[:-1]])
    given = given[np.append(True, ~same)]
    start = np.append(True, of[given[1:]] != of[given[:-1]])
    joined[of[given[start]]] = texts[code[given[start]]]
    seen: dict[int, set[int]] = {}
    mixed = np.isin(of[given], of[given[~start]])
    for position in np.flatnonzero(mixed):
        session, word = int(of[given[position]]), int(code[given[position]])
        met = seen.setdefault(session, set())
        if met and word not in met:
            joined[session] += f"; {texts[word]}"
        met.add(word)
    return joined


def _first_number(of: Codes, column: pd.Series[Any], count: int) -> Floats:
    value = column.to_numpy(dtype=float)
    given = np.flatnonzero(~np.isnan(value))
    first = np.full(count, np.nan)
    first[of[given][::-1]] = value[given][::-1]
    return first
