"""Which method and condition a series takes when none is named, and what a call may ask for."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.facts.words import (
    CONDITION_WORDS,
    KEPT_OUT_CONDITIONS,
    METHOD_WORDS,
    METHODS,
    QUANTITIES,
    QUANTITIES_OF,
    QUANTITY_WORDS,
    TREND_CONDITIONS,
)
from bpvet.visits.session_store import Sessions

#: What can be joined in one series on request.
BRIDGES = ("methods", "conditions")

Rows = NDArray[np.int64]
_YEAR = np.timedelta64(365, "D")


class Keys(Protocol):
    """Columns of sessions in session order, as far as choosing needs them."""

    @property
    def method(self) -> NDArray[np.object_]:
        """(n,) method of each session."""

    @property
    def condition(self) -> NDArray[np.object_]:
        """(n,) condition of each session."""

    @property
    def date(self) -> NDArray[np.datetime64]:
        """(n,) date of each session."""

    @property
    def first_time(self) -> NDArray[np.datetime64]:
        """(n,) first time of each session; NaT where none is known."""


def latest(
    date: NDArray[np.datetime64], first_time: NDArray[np.datetime64], method: NDArray[Any]
) -> int:
    """Return which session is the latest; a tie between methods goes to Doppler.

    Parameters
    ----------
    date : (n,) datetime64[D]
        In session order, n ≥ 1.
    first_time : (n,) datetime64[ns]
        NaT where none is known.
    method : (n,) array of str

    Returns
    -------
    int
        Index of the last session, or of the last Doppler session of its date where the times do
        not tell which came later.
    """
    last = len(date) - 1
    if method[last] == "doppler":
        return last
    same = np.flatnonzero((date == date[last]) & (method == "doppler"))
    if not len(same):
        return last
    rival = int(same[-1])
    told_apart = first_time[rival] < first_time[last]
    return last if told_apart else rival


def leading(columns: Keys, rows: Rows) -> str:
    """Return the method whose series leads where none is named.

    It is that of the newest date; where both methods were used on it, the one with more sessions
    in the year that ends with it, whatever their clock times; where these are equal too, Doppler.

    Parameters
    ----------
    columns : Keys
    rows : (n,) int
        Sessions that may enter a trend, n ≥ 1, in session order.
    """
    date, method = columns.date[rows], columns.method[rows]
    newest = date[-1]
    found = set(method[date == newest].tolist())
    if len(found) == 1:
        return str(found.pop())
    within = date > newest - _YEAR
    count = {name: int(np.sum(within & (method == name))) for name in METHODS}
    return max(METHODS, key=lambda name: (count[name], name == "doppler"))


def checked(
    method: str | None, quantity: str, condition: str | None, bridge: Sequence[str]
) -> tuple[str, ...]:
    """Return the names to bridge, once every name of a call is known to be good."""
    if isinstance(bridge, str):
        bridge = [name.strip() for name in bridge.split(",") if name.strip()]
    _known("quantity", quantity, QUANTITIES)
    for name in bridge:
        _known("bridge", name, BRIDGES)
    if method is not None:
        _known("method", method, METHODS)
        if quantity not in QUANTITIES_OF[method]:
            raise CallError(
                f"A Doppler flow detector gives systolic pressure only, not {quantity}. Ask for "
                "quantity systolic, or for method oscillometric."
            )
    if condition in KEPT_OUT_CONDITIONS:
        raise CallError(
            f"Sessions {CONDITION_WORDS[condition]} are kept and listed, but never enter a trend. "
            f"Use {_listed(TREND_CONDITIONS)}."
        )
    if condition is not None:
        _known("condition", condition, TREND_CONDITIONS)
    return tuple(bridge)


def _known(what: str, name: str, names: tuple[str, ...]) -> None:
    if name not in names:
        raise CallError(f'{what} "{name}" is not known. Use {_listed(names)}.')


def _listed(names: Sequence[str]) -> str:
    return ", ".join(names[:-1]) + f" or {names[-1]}"


def chosen_rows(
    columns: Keys,
    rows: Rows,
    method: str | None,
    condition: str | None,
    bridge: tuple[str, ...],
) -> Rows:
    """Return the rows of the series asked for, the defaults filled in."""
    conditions = columns.condition[rows]
    under = rows if condition is None else rows[conditions == condition]
    if method is None and len(under):
        method = leading(columns, under)
    if "conditions" not in bridge:
        by = under[columns.method[under] == method]
        if condition is None and len(by):
            # The condition with most sessions, among equals that of the latest.
            by_condition = columns.condition[by]
            count = {name: int(np.sum(by_condition == name)) for name in TREND_CONDITIONS}
            most = max(count.values())
            condition = next(str(name) for name in by_condition[::-1] if count[name] == most)
        rows = rows[conditions == condition]
    if "methods" not in bridge:
        rows = rows[columns.method[rows] == method]
    return rows


def nothing_left(
    sessions: Sessions, animal: str, method: str | None, quantity: str, condition: str | None
) -> str:
    """Return why no session is left, and which sessions there are."""
    wanted = f"{animal} has no session with a used number of {QUANTITY_WORDS[quantity]}"
    if method is not None:
        wanted += f" by the {METHOD_WORDS[method]} method"
    if condition is not None:
        wanted += f" {CONDITION_WORDS[condition]}"
    if not len(sessions):
        return f"{wanted}: these records hold no session of {animal} at all."
    numbers = (sessions.array(f"{quantity}_n") > 0).tolist()
    keys = (sessions.array(name).tolist() for name in ("method", "condition"))
    counted = Counter(zip(*keys, numbers, strict=True))
    parts = []
    for (how, where, number), count in sorted(counted.items()):
        words = f"{count} {METHOD_WORDS[how]} {CONDITION_WORDS[where]}"
        if where in KEPT_OUT_CONDITIONS:
            words += " (never in a trend)"
        elif not number:
            words += " (no used number of it)"
        parts.append(words)
    return f"{wanted} that may enter a trend. Its sessions: {'; '.join(parts)}."
