"""Circumstances of measuring that change a number: named where they differ; and wild swings.

Numbers and texts as recorded; how it is said is another's part.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike

from bpvet.frozen import dataclass
from bpvet.visits.session_columns import SessionTable, column

#: Columns of a sessions frame that are compared, in order.
CONTEXT = ("site", "side", "cuff_width_cm", "posture", "operator", "instrument")
#: Those that a trend allows for, in order: columns of `bpvet.visits.series.Series.recorded`.
RECORDED = ("site", "posture", "instrument", "operator")
#: Dates from which swings are judged, and how many of the usual SD are too many.
SWING_DATES = 4
SWING_TIMES = 2.0


def one_value(text: str) -> str:
    """Return what a session's readings say together, blank where they hold two values.

    Parameters
    ----------
    text : str
        As in `bpvet.sessions`: distinct texts joined by "; ".

    Examples
    --------
    >>> one_value("Tail; tail"), one_value("tail; foreleg")
    ('Tail', '')
    """
    parts = [text_part.strip() for text_part in text.split("; ") if text_part.strip()]
    return parts[0] if len({plain_text(text_part) for text_part in parts}) == 1 else ""


@dataclass(frozen=True)
class ContextChange:
    """A circumstance of measuring that is not what it was.

    Parameters
    ----------
    what : str
        One of `CONTEXT`.
    latest : str
        As recorded at the latest session where it is recorded; a cuff's width in cm.
    earlier : tuple of str
        What else was recorded before, in order of first use.
    since : datetime64[D]
        Date of the first session of the last unbroken run of `latest`.
    divides : bool
        Whether the change divides the series: one value at all sessions before it that have it
        recorded, another at all later ones.
    """

    what: str
    latest: str
    earlier: tuple[str, ...]
    since: np.datetime64
    divides: bool


def context_changes(sessions: SessionTable, series: Iterable[int]) -> tuple[ContextChange, ...]:
    """Return what of site, side, cuff, posture, operator and instrument changed in a series.

    Told where the latest session differs from the one before it or from all earlier ones, and
    where a change divides the series. Only sessions that have it recorded are compared, and case
    and spaces do not matter.

    Parameters
    ----------
    sessions : DataFrame or SessionColumns
        As `bpvet.sessions` gives them, of one animal.
    series : iterable of int
        Numbers of the sessions that are in the series.

    Returns
    -------
    tuple of ContextChange
        In the order of `CONTEXT`.
    """
    number = column(sessions, "session")
    rows = np.flatnonzero(np.isin(number, list(series)))
    rows = rows[np.argsort(number[rows], kind="stable")]
    date = column(sessions, "date")[rows].astype("datetime64[D]")
    found = (_change(what, date, _texts(column(sessions, what)[rows])) for what in CONTEXT)
    return tuple(change for change in found if change is not None)


def _texts(values: np.ndarray) -> list[str]:
    """Return a column as texts, blank where nothing is recorded."""
    if values.dtype.kind in "biufc":
        return ["" if math.isnan(value) else f"{value:g} cm" for value in values.tolist()]
    return [str(value) for value in values.tolist()]


def _change(what: str, date: np.ndarray, texts: Sequence[str]) -> ContextChange | None:
    recorded = [row for row, text in enumerate(texts) if plain_text(text)]
    keys = [plain_text(texts[row]) for row in recorded]
    if len(set(keys)) < 2:
        return None
    run = len(keys)
    while keys[run - 1] == keys[-1]:
        run -= 1
    before = dict.fromkeys(keys[:run])
    divides = len(before) == 1
    # A value met before is told only where the latest session has just gone back to it.
    if keys[-1] in before and run < len(keys) - 1:
        return None
    # Where the latest session says nothing, it may be as before: only a division is told.
    if recorded[-1] != len(texts) - 1 and not divides:
        return None
    first = {key: texts[recorded[keys.index(key)]] for key in before if key != keys[-1]}
    return ContextChange(
        what=what,
        latest=texts[recorded[-1]],
        earlier=tuple(first.values()),
        since=date[recorded[run]],
        divides=divides,
    )


def plain_text(text: str) -> str:
    """Return a text by which equal circumstances are told: case and spaces do not matter."""
    return " ".join(text.casefold().split())


@dataclass(frozen=True)
class Swings:
    """How far the sessions of a series swing about its fit.

    Parameters
    ----------
    dates : int
        Dates with a session.
    sd : float
        SD of the session means about the fit, in the unit of the series.
    usual : float
        SD that visits, readings and slow wander usually give together.
    far : bool
        Whether the SD is more than twice the usual one.
    """

    dates: int
    sd: float
    usual: float
    far: bool


def swings(
    residuals: ArrayLike,
    k: ArrayLike,
    sv: float,
    sr: float,
    sw: float,
    dates: ArrayLike | None = None,
) -> Swings | None:
    """Return how far sessions swing about the fit, or None with fewer than four dates.

    SD of the session means about the fit against 2·√(sv² + sr²/k + sw²); where k differs between
    sessions, 1/k is the mean of theirs.

    Parameters
    ----------
    residuals : (n,) array
        Session means less the fitted usual value, in the unit of the series.
    k : (n,) array
        Used readings of each session.
    sv, sr, sw : float
        SDs of visits, readings and wander, at their prior medians.
    dates : (n,) datetime64[D], optional
        Dates of the sessions; each its own by default.

    Examples
    --------
    >>> swings([-60.0, 55.0, -50.0, 58.0], [5, 5, 5, 5], sv=11, sr=7, sw=6).far
    True
    >>> swings([-9.0, 8.0, -12.0, 11.0], [5, 5, 5, 5], sv=11, sr=7, sw=6).far
    False
    """
    values = np.asarray(residuals, dtype=np.float64)
    counts = np.asarray(k, dtype=np.float64)
    if values.shape != counts.shape:
        raise ValueError("residuals and k are not of one length")
    number = values.size if dates is None else np.unique(np.asarray(dates)).size
    if number < SWING_DATES:
        return None
    sd = math.sqrt(float(np.sum(values**2)) / (values.size - 1))
    usual = math.sqrt(sv**2 + sr**2 * float(np.mean(1 / counts)) + sw**2)
    return Swings(int(number), sd, usual, sd > SWING_TIMES * usual)
