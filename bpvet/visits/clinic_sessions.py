"""The sessions of every animal of a clinic, and what urgency asks of them, for all in one pass.

The same as `bpvet.visits.urgency` makes of one animal's sessions when it is asked.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.words import TREND_CONDITIONS
from bpvet.frozen import dataclass
from bpvet.visits.latest_date import (
    JUDGED_CONDITIONS,
    LatestDate,
    judged_offset,
    mostly_silent,
    silent_readings,
)
from bpvet.visits.session_columns import JUDGED, SessionColumns, by_animal
from bpvet.visits.session_store import SessionStore

_NEVER = np.iinfo(np.int64).min


def clinic_sessions(
    store: SessionStore, names: Iterable[str] = JUDGED
) -> tuple[dict[str, SessionColumns], SessionColumns]:
    """Return the sessions of every animal as columns, and the same without any session.

    Parameters
    ----------
    store : SessionStore
    names : iterable of str
        Further columns beside those that urgency is judged on.
    """
    found, nothing = by_animal(store, dict.fromkeys((*JUDGED, *names)))
    if not found:
        return found, nothing
    columns = _Measured.of(store)
    start = np.array([first for first, _ in store.bounds.values()])
    bounds = list(store.bounds.values())
    complete = np.logical_and.reduceat(columns.has, start).tolist()
    for columns_, (first, end), whole in zip(found.values(), bounds, complete, strict=True):
        rows = slice(first, end)
        kept = rows if whole else first + np.flatnonzero(columns.has[rows])
        systolic = columns.bound[kept], columns.plain[kept], columns.judged[kept]
        columns_.keep("systolic", systolic)
    _keep_latest(store, found, columns, start)
    return found, nothing


@dataclass(frozen=True, eq=False)
class _Measured:
    """Systolic pressure of all sessions, (n,) each: as measured, as judged, its bound."""

    has: NDArray[np.bool_]
    bound: NDArray[np.object_]
    plain: NDArray[np.float64]
    judged: NDArray[np.float64]

    @classmethod
    def of(cls, store: SessionStore) -> _Measured:
        plain = store.array("systolic").astype(np.float64)
        codes, texts = store.coded("condition")
        judged = plain + judged_offset(texts.tolist())[codes]
        return cls(~np.isnan(plain), store.array("systolic_bound"), plain, judged)


def _keep_latest(
    store: SessionStore,
    found: dict[str, SessionColumns],
    columns: _Measured,
    start: NDArray[np.int64],
) -> None:
    """Keep the latest date of every animal, and of those with one session then what it gave."""
    codes, texts = store.coded("condition")
    silent = silent_readings(store.array("n_no_sound"), store.array("n_below_gauge"))
    taken = (store.array("n_used") > 0) | (silent > 0)
    taken &= np.isin(texts, JUDGED_CONDITIONS)[codes]
    date = store.array("date")
    day = date.astype(np.int64)
    length = np.diff(start, append=len(day))
    newest = np.maximum.reduceat(np.where(taken, day, _NEVER), start)
    on = taken & (day == np.repeat(newest, length))
    count = np.add.reduceat(on.astype(np.int64), start)
    last = np.maximum.reduceat(np.where(on, np.arange(len(day)), -1), start)
    of_one = _of_one_session(store, columns, silent, np.maximum(last, 0))
    for of_animal, number, row, known, first in zip(
        found.values(), count.tolist(), last.tolist(), of_one, start.tolist(), strict=True
    ):
        if not number:
            of_animal.keep("latest", None)
            continue
        rows = slice(row, row + 1) if number == 1 else first + np.flatnonzero(on[first : row + 1])
        latest = LatestDate(date[row], of_animal.at(rows))
        if number == 1:
            # Where the date itself would keep them once they are asked for.
            vars(latest).update(known)
            has = slice(row, row + columns.has[row])
            vars(latest)["_systolic"] = columns.bound[has], columns.plain[has], columns.judged[has]
        of_animal.keep("latest", latest)


def _of_one_session(
    store: SessionStore, columns: _Measured, silent: NDArray[np.float64], row: NDArray[np.int64]
) -> list[dict[str, float | bool | None]]:
    """Return what `LatestDate` tells of a date with one session, for each of these sessions."""
    codes, texts = store.coded("condition")
    has, bound = columns.has[row], columns.bound[row]
    high, low = has & (bound != "at most"), has & (bound != "at least")
    mean, rate = (store.array(name)[row].astype(np.float64) for name in ("mean", "heart_rate"))
    awake = np.isin(texts, TREND_CONDITIONS)[codes[row]]
    awake &= (store.array("mean_bound")[row] != "at least") & ~np.isnan(mean)
    plain, judged = columns.plain[row], columns.judged[row]
    named = {
        "highest": _or_none(judged, high),
        "lowest": _or_none(judged, low),
        "lowest_measured": _or_none(plain, low),
        "highest_measured": _or_none(plain, has),
        "lowest_mean": _or_none(mean, awake),
        "fastest": _or_none(rate, ~np.isnan(rate)),
        "soundless": (silent[row] > 0).tolist(),
        "mostly_soundless": mostly_silent(silent[row], store.array("n_taken")[row]).tolist(),
    }
    return [dict(zip(named, each, strict=True)) for each in zip(*named.values(), strict=True)]


def _or_none(values: NDArray[np.float64], known: NDArray[np.bool_]) -> list[float | None]:
    pairs = zip(values.tolist(), known.tolist(), strict=True)
    return [value if has else None for value, has in pairs]
