"""Visits at which an animal was measured by both methods: sessions matched in pairs.

A pair is two sessions of one animal, date and condition, one by each method. Sessions that
hold a reading beyond the gauge have no known mean, so they are left out and counted.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from bpvet.errors import CallError
from bpvet.facts.words import METHODS, QUANTITIES, TREND_CONDITIONS
from bpvet.frozen import dataclass
from bpvet.records.records import Records
from bpvet.visits.readings import readings_used
from bpvet.visits.sessions import sessions, used_values

_VISIT = ["animal", "date", "condition"]


@dataclass(frozen=True, eq=False)
class Pairs:
    """Matched sessions under one condition.

    Parameters
    ----------
    methods : (str, str)
        First and second method.
    quantity, condition, rule : str
        What was measured, under which condition, and which readings count.
    sessions : DataFrame
        One row a session, two a pair: animal, date, visit (number of the pair, from 0), method,
        session, mean, count, ss (NaN where not known), in the unit of the quantity.
    readings : DataFrame
        Their used plain readings in order of taking: visit, method, place (from 0), value.
    others : dict
        Pairs under each other condition.
    single_sessions : int
        Sessions under this condition without a partner.
    beyond_gauge : int
        Sessions under this condition left out because of a bound.
    """

    methods: tuple[str, str]
    quantity: str
    condition: str
    rule: str
    sessions: pd.DataFrame
    readings: pd.DataFrame
    others: dict[str, int]
    single_sessions: int
    beyond_gauge: int


def pairs(
    records: Records,
    quantity: str = "systolic",
    methods: tuple[str, str] = METHODS,
    condition: str | None = None,
    rule: str = "guideline",
) -> Pairs:
    """Return the sessions that were taken by both methods at one visit.

    Where a visit holds several sessions by a method, those of one label are matched first, then
    those nearest in time, then in order; each session is in one pair at most.

    Parameters
    ----------
    records : Records
    quantity : str
        One that both methods give.
    methods : (str, str)
        First and second method.
    condition : str, optional
        ``clinic``, ``home`` or ``calmed``; that with most pairs by default (conditions are
        never pooled).
    rule : str
        Which readings count.

    Returns
    -------
    Pairs
        Its frames may be empty.

    Raises
    ------
    CallError
        When a name is not known, or both methods are the same.
    """
    _checked(quantity, methods, condition)
    table = sessions(records, rule)
    table = table[table["method"].isin(methods) & table["condition"].isin(TREND_CONDITIONS)]
    known = table[(table[f"{quantity}_n"] > 0) & (table[f"{quantity}_bound"] == "")]
    matched = _matched(known, methods)
    count = matched.groupby("condition")["visit"].nunique()
    if condition is None:
        condition = max(TREND_CONDITIONS, key=lambda name: count.get(name, 0))
    chosen = matched[matched["condition"] == condition].copy()
    chosen["visit"] = pd.factorize(chosen["visit"])[0]
    here = known["condition"] == condition
    bounded = (table["condition"] == condition) & ~table[f"{quantity}_bound"].isin(["", "no sound"])
    columns = {quantity: "mean", f"{quantity}_n": "count", f"{quantity}_ss": "ss"}
    kept = chosen[["animal", "date", "visit", "method", "session", *columns]]
    return Pairs(
        methods=methods,
        quantity=quantity,
        condition=condition,
        rule=rule,
        sessions=kept.rename(columns=columns).reset_index(drop=True),
        readings=_readings(records, chosen, quantity, rule),
        others={name: int(count[name]) for name in count.index if name != condition},
        single_sessions=int(here.sum()) - len(chosen),
        beyond_gauge=int(bounded.sum()),
    )


def _checked(quantity: str, methods: tuple[str, str], condition: str | None) -> None:
    if quantity not in QUANTITIES:
        raise CallError(f'quantity "{quantity}" is not known. Use one of {", ".join(QUANTITIES)}.')
    unknown = [name for name in methods if name not in METHODS]
    if unknown or len(methods) != 2 or methods[0] == methods[1]:
        raise CallError(f"agreement needs two methods: {' and '.join(METHODS)}.")
    if condition is not None and condition not in TREND_CONDITIONS:
        known = ", ".join(TREND_CONDITIONS)
        raise CallError(f'condition "{condition}" is not known. Use one of {known}.')


def _matched(known: pd.DataFrame, methods: tuple[str, str]) -> pd.DataFrame:
    """Return the sessions that have a partner, with the number of their pair as `visit`."""
    each = known.groupby([*_VISIT, "method"], sort=False)["session"].transform("size")
    both = known.groupby(_VISIT, sort=False)["method"].transform("nunique") == 2
    candidates = known[both].assign(alone=each[both] == 1)
    simple = candidates.groupby(_VISIT, sort=False)["alone"].transform("all")
    visit = pd.Series(-1, index=candidates.index, dtype=np.int64)
    number = candidates.groupby(_VISIT, sort=True).ngroup() * (len(known) + 1)
    visit[simple] = number[simple]
    for _, group in candidates[~simple].groupby(_VISIT, sort=True):
        for nth, (first, second) in enumerate(_partners(group, methods)):
            visit[[first, second]] = int(number[first]) + nth
    candidates = candidates.assign(visit=visit)[visit >= 0]
    return candidates.sort_values(["visit", "method"], key=_in_order(methods), kind="stable")


def _in_order(methods: tuple[str, str]) -> Any:
    """Return a sort key that puts the first method before the second."""
    return lambda column: column.map(methods.index) if column.name == "method" else column


def _partners(group: pd.DataFrame, methods: tuple[str, str]) -> list[tuple[Any, Any]]:
    """Return matched index labels of one visit: same label, then nearest time, then order."""
    index, label = group.index.to_numpy(), group["label"].to_numpy(dtype=object)
    minute = group["first_time"].to_numpy(dtype="datetime64[m]")
    first, second = (np.flatnonzero(group["method"] == name) for name in methods)
    ranked = []
    for first_place, first_row in enumerate(first):
        for other_place, second_row in enumerate(second):
            unlabelled = not label[first_row] or label[first_row] != label[second_row]
            gap = abs((minute[first_row] - minute[second_row]) / np.timedelta64(1, "m"))
            gap = np.inf if np.isnan(gap) else float(gap)
            ranked.append(
                (unlabelled, gap, first_place + other_place, int(first_row), int(second_row))
            )
    taken: list[tuple[int, int]] = []
    for *_, i, j in sorted(ranked):
        if all(i != a and j != b for a, b in taken):
            taken.append((i, j))
    return [
        (index[row_of_first], index[row_of_second]) for row_of_first, row_of_second in sorted(taken)
    ]


def _readings(records: Records, chosen: pd.DataFrame, quantity: str, rule: str) -> pd.DataFrame:
    every = readings_used(records, rule)
    every = every.assign(value=used_values(every, quantity))
    plain = every[every["value"].notna() & (every["summary_n"] == 0) & (every["session"] > 0)]
    key = ["animal", "session"]
    joined = plain[[*key, "order", "value"]].merge(chosen[[*key, "visit", "method"]], on=key)
    joined = joined.sort_values(["visit", "method", "order"], kind="stable")
    joined["place"] = joined.groupby(["visit", "method"]).cumcount()
    return joined[["visit", "method", "place", "value"]].reset_index(drop=True)
