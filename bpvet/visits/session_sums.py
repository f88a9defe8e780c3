"""What the readings of each session come to: means, counts, sums of squares, medians, bounds."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import QUANTITIES
from bpvet.records.parsing.arrow import text_column
from bpvet.records.parsing.coded import Coded
from bpvet.visits.beyond import texts_of
from bpvet.visits.choice import BOTH_BOUNDS
from bpvet.visits.part import Part
from bpvet.visits.placement import Codes

if TYPE_CHECKING:
    import pandas as pd

#: What a session's bounds may be, by two bits.
_BOUNDS = ("", "at least", "at most", BOTH_BOUNDS)
_BOUND_TEXTS = text_column(_BOUNDS)

#: So few readings are put in order without a sort.
_FEW = 8

Floats = NDArray[np.float64]

#: For each row, how many readings it stands for and their SD; None where each stands for itself.
_Weighing = tuple[Floats, Floats] | None


def used_values(readings: pd.DataFrame, quantity: str) -> Floats:
    """Return each reading's number of one quantity, NaN where it does not count.

    Parameters
    ----------
    readings : DataFrame
        Readings with their `fate`.
    quantity : str
        One of `bpvet.facts.words.QUANTITIES`. Pulse pressure is systolic minus diastolic of
        readings with both plain numbers (no bound, no summary row) and systolic the higher.

    Returns
    -------
    (n,) array of float
        In the unit of the quantity.
    """
    used = (readings["fate"] == "used").to_numpy(dtype=bool)
    if quantity == "pulse_pressure":
        plain = (readings["systolic_bound"] == "") & (readings["diastolic_bound"] == "")
        value = (readings["systolic"] - readings["diastolic"]).to_numpy(dtype=float)
        counts = plain & (readings["summary_n"] == 0) & (value > 0)
    else:
        value = readings[quantity].to_numpy(dtype=float)
        counts = readings[f"{quantity}_bound"] != "no sound"
    return np.where(used & counts.to_numpy(dtype=bool), value, np.nan)


def _used(part: Part, quantity: str) -> tuple[Codes, Floats]:
    """Return the rows (k,) that `used_values` has a number of, and these numbers."""
    used = part.bears("fate", "used")
    if quantity == "pulse_pressure":
        value = part.numbers("systolic") - part.numbers("diastolic")
        used &= part.bears("systolic_bound", "") & part.bears("diastolic_bound", "")
        used &= (part.numbers("summary_n") == 0) & (value > 0)
    else:
        value = part.numbers(quantity)
        used &= part.has_number(quantity)
    row = np.flatnonzero(used)
    return row, value[row]


def sum_columns(part: Part, of: Codes, count: int) -> dict[str, Any]:
    """Return the columns of all quantities, a reading beyond the gauge standing at its bound.

    Parameters
    ----------
    part : Part
        Placed readings with their `fate`, session by session in order of taking.
    of : (n,) array of int
        Session of each, from 0.
    count : int
        Sessions there are.

    Returns
    -------
    dict
        For each quantity its mean, `_n`, `_ss`, `_bound`, `_median` and `_sd`, (count,) each.
    """
    weighing = _weighing(part)
    columns: dict[str, Any] = {}
    for name in QUANTITIES:
        columns |= _moments(part, of, count, name, weighing)
    return columns


def _weighing(part: Part) -> _Weighing:
    many = part.numbers("summary_n")
    if not (many > 1).any():
        return None
    return np.maximum(many, 1.0), part.numbers("summary_sd")


def _moments(
    part: Part, of: Codes, count: int, quantity: str, weighing: _Weighing
) -> dict[str, Any]:
    """Return mean, count, sum of squares, bound, median and SD of one quantity by session."""
    row, value = _used(part, quantity)
    session = of[row]
    weight = None if weighing is None else weighing[0][row]
    spread = None if weighing is None else weighing[1][row]
    if spread is not None and quantity != "systolic":
        spread = np.full(len(row), np.nan)
    n, mean, ss, median = summed(session, value, weight, spread, count)
    return {
        quantity: mean,
        f"{quantity}_n": n.astype(np.int64),
        f"{quantity}_ss": np.where(n > 0, ss, np.nan),
        f"{quantity}_bound": _bounds(part, row, session, count, quantity),
        f"{quantity}_median": median,
        f"{quantity}_sd": np.sqrt(np.divide(ss, n - 1, out=np.full(count, np.nan), where=n > 1)),
    }


def summed(
    session: Codes, value: Floats, weight: Floats | None, spread: Floats | None, count: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return count, mean, sum of squares and median of values by session, (count,) each.

    Parameters
    ----------
    session : (n,) array of int
        Session of each value, ascending.
    value : (n,) array of float
        None of them NaN.
    weight, spread : (n,) array of float or None
        How many readings each stands for, and their SD; None where each stands for itself.
    count : int
        Sessions there are; one without a value has neither mean nor median.
    """
    (n, ss), (mean, median) = np.zeros((2, count)), np.full((2, count), np.nan)
    if not len(value):
        return n, mean, ss, median
    start = np.flatnonzero(np.diff(session, prepend=-1))
    length = np.diff(start, append=len(session))
    # Sessions of one length are the columns of one table, and there are few lengths.
    for size in np.flatnonzero(np.bincount(length)).tolist():
        rows = start[length == size]
        some, at = session[rows], np.arange(size)[:, None] + rows
        table = value[at]
        median[some] = _median(table)
        if weight is None:
            n[some], mean[some] = size, (middle := _added(table) / size)
            ss[some] = _added((table - middle) ** 2)
            continue
        many = weight[at]
        n[some] = in_all = _added(many)
        mean[some] = middle = _added(many * table) / in_all
        about_mean = many * (table - middle) ** 2
        if spread is not None:
            # A summary row brings its own sum of squares, (n − 1)·SD², known for systolic only;
            # the readings that it hides have no median.
            about_mean += np.where(many > 1, (many - 1) * spread[at] ** 2, 0.0)
            median[some] = np.where((many > 1).any(axis=0), middle, median[some])
        ss[some] = _added(about_mean)
    return n, mean, ss, median


def _added(table: Floats) -> Floats:
    """Return the sums (k,) of the columns of a table (m, k), added from the first row on."""
    total = table[0].copy()
    for row in table[1:]:
        total += row
    return total


def _median(table: Floats) -> Floats:
    """Return the medians (k,) of the columns of a table (m, k)."""
    size = len(table)
    if size <= _FEW:
        # Neighbours that are exchanged in as many rounds are in order, all columns at once.
        rows = list(table)
        for turn in range(size):
            for i in range(turn % 2, size - 1, 2):
                low, high = np.minimum(rows[i], rows[i + 1]), np.maximum(rows[i], rows[i + 1])
                rows[i], rows[i + 1] = low, high
    else:
        rows = list(np.sort(table, axis=0))
    return (rows[(size - 1) // 2] + rows[size // 2]) / 2


def known_columns(part: Part, of: Codes, columns: dict[str, Any]) -> dict[str, Any]:
    """Return what is known where a reading lies beyond the gauge: a bound is no number.

    Of such a session neither scatter nor median is known, only those of its numbers.

    Parameters
    ----------
    part, of
        As in `sum_columns`.
    columns : dict
        What `sum_columns` gave.

    Returns
    -------
    dict
        Columns to replace those, and `systolic_numbers…` and `systolic_beyond` of
        `bpvet.visits.sessions.sessions`.
    """
    weighing = _weighing(part)
    found: dict[str, Any] = {}
    for name in QUANTITIES:
        bound = columns[f"{name}_bound"].codes > 0
        if bound.any():
            for ending in ("_ss", "_median", "_sd"):
                found[f"{name}{ending}"] = np.where(bound, np.nan, columns[f"{name}{ending}"])
    n, mean, ss = (columns[f"systolic{ending}"] for ending in ("_n", "", "_ss"))
    bound = columns["systolic_bound"].codes > 0
    beyond = Coded(np.zeros(len(n), dtype=np.int8), text_column([""]))
    if bound.any():
        rows, value = _used(part, "systolic")
        some = bound[of[rows]]
        rows, value = rows[some], value[some]
        past = part.bears("systolic_bound", *_BOUNDS[1:3])[rows]
        sense = part.texts("systolic_bound")[part.codes("systolic_bound")[rows[past]]]
        beyond = Coded.of(texts_of(of[rows[past]], value[past], sense, len(n)))
        numbers = rows[~past]
        weight, spread = (
            (None, None) if weighing is None else (weighing[0][numbers], weighing[1][numbers])
        )
        known = summed(of[numbers], value[~past], weight, spread, len(n))
        n, mean, ss = (
            np.where(bound, new, old) for new, old in zip(known[:3], (n, mean, ss), strict=True)
        )
        ss = np.where(n > 0, ss, np.nan)
    return found | {
        "systolic_numbers": n.astype(np.int64),
        "systolic_numbers_mean": mean,
        "systolic_numbers_ss": ss,
        "systolic_beyond": beyond,
    }


def _bounds(part: Part, row: Codes, session: Codes, count: int, quantity: str) -> Coded:
    code = np.zeros(count, dtype=np.int8)
    if quantity != "pulse_pressure" and part.codes(f"{quantity}_bound").any():
        for bit, word in enumerate(_BOUNDS[1:3]):
            rows = part.bears(f"{quantity}_bound", word)[row]
            code += (np.bincount(session[rows], minlength=count) > 0) * np.int8(1 << bit)
    return Coded(code, _BOUND_TEXTS)
