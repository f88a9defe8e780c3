"""Scatter of readings within sessions by method, operator, site and demeanour."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import root, variance_interval
from bpvet.maths.clusters import shrunken_sds
from bpvet.maths.estimate import Estimate

GROUPS = ("operator", "site", "demeanour")
NOT_RECORDED = "(not recorded)"


@dataclass(frozen=True)
class Spread:
    """Scatter of readings within sessions, mmHg.

    Parameters
    ----------
    method, by, group : str
        The method; what it is split by (blank for the whole method), and which group.
    sessions, df : int
        Sessions with two readings or more, and degrees of freedom.
    sd : Estimate
        SD of readings, exact interval for normal readings.
    shrunken : Estimate or None
        The same, drawn towards the other groups': what may be compared.
    """

    method: str
    by: str
    group: str
    sessions: int
    df: int
    sd: Estimate
    shrunken: Estimate | None


def spreads(table: pd.DataFrame, level: float) -> tuple[Spread, ...]:
    """Return the scatter of readings by method, and within it by operator, site and demeanour."""
    usable = table[(table["systolic_n"] > 1) & table["systolic_ss"].notna()]
    found: list[Spread] = []
    for method, rows in usable.groupby("method", sort=True):
        found.append(_spread(str(method), "", "all", rows, level))
        for by in GROUPS:
            parts = [
                _spread(str(method), by, str(name) or NOT_RECORDED, group, level)
                for name, group in rows.groupby(by, sort=True)
            ]
            found += _drawn_together(parts, rows, by, level)
    return tuple(found)


def _spread(method: str, by: str, group: str, rows: pd.DataFrame, level: float) -> Spread:
    df, ss = int((rows["systolic_n"] - 1).sum()), float(rows["systolic_ss"].sum())
    sd = root(variance_interval(ss / df, 1.0, level, df))
    return Spread(method, by, group, len(rows), df, sd, None)


def _drawn_together(
    groups: list[Spread], rows: pd.DataFrame, by: str, level: float
) -> list[Spread]:
    if len(groups) < 2:
        return groups
    sums = rows.groupby(by, sort=True)
    ss = sums["systolic_ss"].sum().to_numpy(dtype=float)
    df = (sums["systolic_n"].sum() - sums.size()).to_numpy(dtype=float)
    drawn, _ = shrunken_sds(ss, df, level)
    return [
        Spread(p.method, p.by, p.group, p.sessions, p.df, p.sd, shrunken)
        for p, shrunken in zip(groups, drawn, strict=True)
    ]


def animal_codes(animal: pd.Series[Any]) -> NDArray[np.int64]:
    """Return each row's animal as a number: texts are told apart once, and quickly."""
    return pd.factorize(animal, sort=True)[0]


def reading_variance(rows: pd.DataFrame) -> float:
    """Return the variance of readings within sessions, unit squared; 0 where none was repeated."""
    known = rows["systolic_ss"].notna()
    df = float((rows["systolic_n"] - 1)[known].sum())
    return float(rows["systolic_ss"].sum()) / df if df else 0.0
