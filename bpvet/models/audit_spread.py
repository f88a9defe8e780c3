"""Scatter of readings by group, and what would make one visit's mean more precise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.facts.measuring import judged
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.maths.clusters import shrunken_sds
from bpvet.maths.comparison import Estimated, root, variance_interval

GROUPS = ("operator", "site", "demeanour")
NOT_RECORDED = "(not recorded)"
#: Sessions this many days apart or nearer show visit noise rather than change.
NEIGHBOUR_DAYS = int(judged("audit.neighbours"))


@dataclass(frozen=True)
class Spread:
    """Scatter of readings within sessions, mmHg.

    Parameters
    ----------
    method, by, group : str
        The method; what it is split by (blank for the whole method), and which group.
    sessions, df : int
        Sessions with two readings or more, and degrees of freedom.
    sd : Estimated
        SD of readings, exact interval for normal readings.
    shrunken : Estimated or None
        The same, drawn towards the other groups': what may be compared.
    """

    method: str
    by: str
    group: str
    sessions: int
    df: int
    sd: Estimated
    shrunken: Estimated | None


@dataclass(frozen=True)
class Precision:
    """What a change would do for one visit's mean, by one method.

    Parameters
    ----------
    method : str
    now : float
        SD of a visit's mean about the usual pressure now, mmHg: √(sv² + mean of sr²/k).
    visit_sd, reading_sd : float
        sv and sr, mmHg.
    pairs : int
        Neighbouring sessions behind sv.
    changes : tuple of (words, sd, gain)
        What could be changed, the SD it would give, and how much smaller that is; most first.
    """

    method: str
    now: float
    visit_sd: float
    reading_sd: float
    pairs: int
    changes: tuple[tuple[str, float, float], ...]


def spreads(table: pd.DataFrame, level: float) -> tuple[Spread, ...]:
    """Return the scatter of readings by method, and within it by operator, site and demeanour."""
    usable = table[(table["systolic_n"] > 1) & table["systolic_ss"].notna()]
    found: list[Spread] = []
    for method, rows in usable.groupby("method", sort=True):
        found.append(_spread(str(method), "", "all", rows, level))
        for by in GROUPS:
            parts = [
                _spread(str(method), by, str(name) or NOT_RECORDED, part, level)
                for name, part in rows.groupby(by, sort=True)
            ]
            found += _drawn_together(parts, rows, by, level)
    return tuple(found)


def _spread(method: str, by: str, group: str, rows: pd.DataFrame, level: float) -> Spread:
    df, ss = int((rows["systolic_n"] - 1).sum()), float(rows["systolic_ss"].sum())
    sd = root(variance_interval(ss / df, 1.0, level, df))
    return Spread(method, by, group, len(rows), df, sd, None)


def _drawn_together(parts: list[Spread], rows: pd.DataFrame, by: str, level: float) -> list[Spread]:
    if len(parts) < 2:
        return parts
    sums = rows.groupby(by, sort=True)
    ss = sums["systolic_ss"].sum().to_numpy(dtype=float)
    df = (sums["systolic_n"].sum() - sums.size()).to_numpy(dtype=float)
    drawn, _ = shrunken_sds(ss, df, level)
    return [
        Spread(p.method, p.by, p.group, p.sessions, p.df, p.sd, shrunken)
        for p, shrunken in zip(parts, drawn, strict=True)
    ]


def reading_variance(rows: pd.DataFrame) -> float:
    """Return the variance of readings within sessions, unit squared; 0 where none was repeated."""
    known = rows["systolic_ss"].notna()
    df = float((rows["systolic_n"] - 1)[known].sum())
    return float(rows["systolic_ss"].sum()) / df if df else 0.0


def precision(table: pd.DataFrame) -> tuple[Precision, ...]:
    """Return what would make one visit's mean more precise, by method, most first."""
    rows = table[table["systolic"].notna() & (table["systolic_bound"] == "")]
    found = []
    for method, part in rows.groupby("method", sort=True):
        reading = reading_variance(part)
        visit, pairs = _visit_variance(part, reading)
        if visit is None:
            continue
        k = part["systolic_n"].to_numpy(dtype=float)
        scatter = reading * float(np.mean(1 / k))
        now = float(np.sqrt(visit + scatter))
        enough = reading * float(np.mean(1 / np.maximum(k, ENOUGH_READINGS)))
        options = {
            f"at least {ENOUGH_READINGS} used readings at every visit": visit + enough,
            "a second visit before deciding": (visit + scatter) / 2,
            "half the visit noise (same room, person, cuff and site; time to settle)": (
                visit / 4 + scatter
            ),
            "readings that scatter half as much": visit + scatter / 4,
        }
        changes = [
            (words, float(np.sqrt(value)), now - float(np.sqrt(value)))
            for words, value in options.items()
        ]
        changes.sort(key=lambda one: -one[2])
        sds = float(np.sqrt(visit)), float(np.sqrt(reading))
        found.append(Precision(str(method), now, *sds, pairs, tuple(changes)))
    return tuple(found)


def _visit_variance(rows: pd.DataFrame, reading: float) -> tuple[float | None, int]:
    """Return visit noise from neighbouring sessions, unit squared, and how many pairs there are.

    Half the mean squared difference of consecutive sessions of one animal and condition, at most
    `NEIGHBOUR_DAYS` apart and with treatment on in both or in neither, less the part of the
    readings: slow change and treatment hardly enter.
    """
    ordered = rows.sort_values(["animal", "condition", "date", "session"], kind="stable")
    n = ordered["systolic_n"].to_numpy(dtype=float)
    y = ordered["systolic"].to_numpy(dtype=float)
    day = ordered["date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
    series = ordered.groupby(["animal", "condition"]).ngroup().to_numpy()
    treated = ordered["treated"].to_numpy(dtype=bool)
    near = (np.diff(series) == 0) & (np.diff(day) <= NEIGHBOUR_DAYS)
    near &= treated[1:] == treated[:-1]
    if not near.any():
        return None, 0
    squares = np.diff(y)[near] ** 2
    own = reading * (1 / n[1:] + 1 / n[:-1])[near]
    return max(0.0, float(np.mean(squares - own)) / 2), int(near.sum())
