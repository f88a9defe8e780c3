"""Recorded changes of site, posture, instrument and operator as columns of a trend's design.

A session measured at another site than the latest one differs from it by an unknown amount: its
column is −1 there, its coefficient the latest value minus the other one, so that the usual
pressure stands on the scale of the latest session. Where either has none recorded, or its
readings hold two values, nothing is known to differ and there is no column.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from bpvet.facts.priors.priors import Priors
from bpvet.frozen import dataclass
from bpvet.maths.gaussian import Array
from bpvet.visits.context import RECORDED, plain_text
from bpvet.visits.series import Course, Series

_SITTING = re.compile(r"\bsit(s|ting)?\b")
_LATERAL = re.compile(r"\blateral\b|\bon (its|his|her|the) (left |right )?side\b")


@dataclass(frozen=True, eq=False)
class RecordedChange:
    """One value of site, posture, instrument or operator that is not that of the latest session.

    Parameters
    ----------
    kind : str
        One of `bpvet.visits.context.RECORDED`.
    latest, other : str
        As written, at the latest session and at the others.
    term : str
        Name of its coefficient, latest minus other.
    column : (n,)
        −1 at the sessions of the other value, 0 elsewhere.
    same : (n,) bool
        Sessions of the latest value.
    """

    kind: str
    latest: str
    other: str
    term: str
    column: Array
    same: NDArray[np.bool_]

    def inseparable(self, series: Series, course: Course) -> bool:
        """Return whether it falls on the start of a course, and nothing tells the two apart.

        So it is where every session of the one value lies before the start (or on its day) and
        every session of the other after it.
        """
        before = series.date <= course.started_on
        return any(
            bool(side.any() and across.any() and before[side].all() and not before[across].any())
            for side, across in ((self.column < 0, self.same), (self.same, self.column < 0))
        )


def change_term(series: Series, kind: str, value: str, method: str) -> str:
    """Return the name of the coefficient of a change from this other value."""
    # Two methods may call their instruments alike.
    by = f", {method}" if kind == "instrument" and method != series.method else ""
    return f"change {kind} {plain_text(value)}{by}"


def latest_session(series: Series) -> int:
    """Return the place of the session on whose scale the usual pressure stands."""
    same_series = (series.methods == series.method) & (series.conditions == series.condition)
    newest = np.flatnonzero(same_series & (series.date == series.date[-1]))
    return int(newest[-1]) if newest.size else series.y.size - 1


def recorded_changes(series: Series) -> tuple[RecordedChange, ...]:
    """Return what differs from the latest session, kind by kind, values in order of first use.

    Instruments are compared within one method: the latest session by the session's own method
    stands for the latest. What methods differ by is a join's to tell.
    """
    if series.recorded is None:
        return ()
    found = []
    for column, kind in enumerate(RECORDED):
        texts = series.recorded[:, column]
        written = texts.tolist()
        if len(set(written)) == 1:
            continue
        keys = np.array([_key(text) for text in written])
        now = _compared_with(series, kind)
        differs = (keys != "") & (keys[now] != "") & (keys != keys[now])
        if not differs.any():
            continue
        terms = np.array(
            [
                change_term(series, kind, text, method) if differs[i] else ""
                for i, (text, method) in enumerate(
                    zip(written, series.methods.tolist(), strict=True)
                )
            ]
        )
        for term in dict.fromkeys(terms[differs].tolist()):
            mine = terms == term
            first = int(np.flatnonzero(mine)[0])
            latest, earlier = str(texts[now[first]]), str(texts[first])
            same = keys == keys[now[first]]
            found.append(
                RecordedChange(kind, latest, earlier, term, np.where(mine, -1.0, 0.0), same)
            )
    return tuple(found)


@lru_cache(maxsize=4096)
def _key(text: str) -> str:
    return plain_text(text)


def change_prior(change: RecordedChange, priors: Priors) -> tuple[float, float] | None:
    """Return centre and SD of the latest value minus the other; None where it has no column."""
    if change.kind not in priors.change_sd:
        return None
    centre = _centre(change.kind, change.latest, change.other, priors)
    return centre, priors.change_sd[change.kind]


def change_columns(
    changes: Sequence[RecordedChange], priors: Priors
) -> dict[str, tuple[float, float]]:
    """Return the prior (centre, SD) of each change that has a column, by its term."""
    priors_by_term = {change.term: change_prior(change, priors) for change in changes}
    return {term: prior for term, prior in priors_by_term.items() if prior is not None}


@dataclass(frozen=True)
class Elsewhere:
    """How a session that is not part of a series stands to the scale of the series.

    Parameters
    ----------
    terms : tuple of str
        Changes that the series knows: −1 in each of these columns.
    shift, variance : float
        Mean and variance that values unknown to the series add.
    """

    terms: tuple[str, ...]
    shift: float
    variance: float


def elsewhere(
    series: Series, priors: Priors, terms: tuple[str, ...], method: str, values: np.ndarray | None
) -> Elsewhere:
    """Return how a session with these recorded values stands to a series.

    Parameters
    ----------
    series : Series
    priors : Priors
    terms : tuple of str
        Coefficients of its trend.
    method : str
        Method of the session.
    values : (4,) str, or None
        Its site, posture, instrument and operator.
    """
    if values is None or series.recorded is None:
        return Elsewhere((), 0.0, 0.0)
    known: list[str] = []
    shift = variance = 0.0
    for column, kind in enumerate(RECORDED):
        at = _latest_by(series, kind, method)
        now, value = ("" if at is None else str(series.recorded[at, column])), str(values[column])
        differs = bool(plain_text(now)) and bool(plain_text(value))
        if kind not in priors.change_sd or not differs or plain_text(now) == plain_text(value):
            continue
        term = change_term(series, kind, value, method)
        if term in terms:
            known.append(term)
            continue
        # The session is mu less (latest minus its own value).
        shift -= _centre(kind, now, value, priors)
        variance += priors.change_sd[kind] ** 2
    return Elsewhere(tuple(known), shift, variance)


def _compared_with(series: Series, kind: str) -> np.ndarray:
    """Return for each session the place of the session that it is compared with."""
    latest = latest_session(series)
    places = np.full(series.y.size, latest)
    if kind == "instrument":
        for method in set(series.methods.tolist()) - {series.method}:
            mine = series.methods == method
            places[mine] = np.flatnonzero(mine)[-1]
    return places


def _latest_by(series: Series, kind: str, method: str) -> int | None:
    if kind != "instrument" or method == series.method:
        return latest_session(series)
    mine = np.flatnonzero(series.methods == method)
    return int(mine[-1]) if mine.size else None


def _centre(kind: str, latest: str, earlier: str, priors: Priors) -> float:
    """Return the centre of latest minus earlier: nil but for sitting and lying on the side."""
    if kind != "posture" or not priors.sitting_minus_lateral:
        return 0.0
    return priors.sitting_minus_lateral * (_sits(latest) - _sits(earlier)) * _both(latest, earlier)


def _sits(posture: str) -> float:
    return float(bool(_SITTING.search(plain_text(posture))))


def _both(*postures: str) -> float:
    """Return 1 where one sits and the other lies on its side, else 0."""
    lateral = [bool(_LATERAL.search(plain_text(posture))) for posture in postures]
    sitting = [bool(_sits(posture)) for posture in postures]
    return float(lateral[0] != lateral[1] and sitting == lateral[::-1])
