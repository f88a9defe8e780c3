"""What would make one visit's mean more precise, in mmHg, and how sure that is."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.facts.measuring import judged
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.frozen import dataclass
from bpvet.maths.agreement.comparison import estimated, root, variance_interval
from bpvet.maths.agreement.pivots import TwoVariances, from_nodes, two_variances
from bpvet.maths.estimate import Estimate
from bpvet.reasons import reason

#: Sessions this many days apart or nearer show visit noise rather than change.
NEIGHBOUR_DAYS = int(judged("audit.neighbours"))
_NOT_REPEATED = reason("audit.not_repeated")


@dataclass(frozen=True)
class Change:
    """What could be changed about a visit.

    Parameters
    ----------
    words : str
    sd, gain : Estimate
        The SD of a visit's mean that it would give, and how much smaller that is, mmHg.
    """

    words: str
    sd: Estimate
    gain: Estimate


@dataclass(frozen=True)
class Precision:
    """What each change would do for one visit's mean, by one method.

    Parameters
    ----------
    method : str
    now : Estimate
        SD of a visit's mean about the usual pressure now, mmHg: √(sv² + mean of sr²/k).
    visit_sd, reading_sd : Estimate
        sv and sr, mmHg.
    pairs : int
        Neighbouring sessions behind sv.
    changes : tuple of Change
        Most gain first.
    """

    method: str
    now: Estimate
    visit_sd: Estimate
    reading_sd: Estimate
    pairs: int
    changes: tuple[Change, ...]


def precision(table: pd.DataFrame, level: float) -> tuple[Precision, ...]:
    """Return what would make one visit's mean more precise, by method.

    Visit noise comes from consecutive sessions of one animal and condition, at most
    `NEIGHBOUR_DAYS` apart and with treatment on in both or in neither: slow change and treatment
    hardly enter. Intervals are of generalised pivots (`bpvet.maths.agreement.pivots`).

    Parameters
    ----------
    table : DataFrame
        Sessions, as `bpvet.sessions` gives them, with ``treated``.
    level : float
        Probability of the intervals.
    """
    rows = table[table["systolic"].notna() & (table["systolic_bound"] == "")]
    found = []
    for method, of_method in rows.groupby("method", sort=True):
        # Which of the ordered sessions have a near one next to them.
        ordered = of_method.sort_values(["animal", "condition", "date", "session"], kind="stable")
        day = ordered["date"].to_numpy(dtype="datetime64[D]").astype(np.int64)
        series = ordered.groupby(["animal", "condition"]).ngroup().to_numpy()
        treated = ordered["treated"].to_numpy(dtype=bool)
        near = (np.diff(series) == 0) & (np.diff(day) <= NEIGHBOUR_DAYS)
        near &= treated[1:] == treated[:-1]
        if near.any():
            found.append(_of_method(str(method), ordered, np.flatnonzero(near), level))
    return tuple(found)


def _of_method(method: str, rows: pd.DataFrame, near: NDArray[np.int64], level: float) -> Precision:
    k = rows["systolic_n"].to_numpy(dtype=float)
    known = rows["systolic_ss"].notna().to_numpy()
    df, ss = float((k - 1)[known].sum()), float(rows["systolic_ss"].sum())
    both = two_variances(
        np.diff(rows["systolic"].to_numpy(dtype=float))[near],
        (1 / k[1:] + 1 / k[:-1])[near],
        np.where(np.diff(near) == 1, 1 / k[near[:-1] + 1], 0.0),
        ss,
        df,
    )
    now, enough = float(np.mean(1 / k)), float(np.mean(1 / np.maximum(k, ENOUGH_READINGS)))
    # What the variance of a mean holds of visit noise and of reading noise after each change.
    options = {
        reason("audit.enough", readings=ENOUGH_READINGS): (1.0, enough),
        reason("audit.second_visit"): (1 / 2, now / 2),
        reason("audit.half_noise"): (1 / 4, now),
        reason("audit.half_scatter"): (1.0, now / 4),
    }
    changes = [_change(words, both, now, *after, level) for words, after in options.items()]
    changes.sort(key=lambda change: -(change.gain.estimate or 0.0))
    return Precision(
        method,
        _sd(both, 1.0, now, level),
        _sd(both, 1.0, 0.0, level),
        root(variance_interval(ss / df, 1.0, level, df))
        if df
        else estimated(None, reason=_NOT_REPEATED),
        len(near),
        tuple(changes),
    )


def _sd(both: TwoVariances, visit: float, reading: float, level: float) -> Estimate:
    """Return the root of so much visit noise and so much reading noise, with its interval."""
    nodes = np.sqrt(visit * both.visit_nodes + reading * both.reading_nodes)
    estimate = float(np.sqrt(visit * both.visit + reading * both.reading))
    return from_nodes(estimate, nodes, level)


def _change(
    words: str, both: TwoVariances, now: float, visit: float, reading: float, level: float
) -> Change:
    before = np.sqrt(both.visit_nodes + now * both.reading_nodes)
    after = np.sqrt(visit * both.visit_nodes + reading * both.reading_nodes)
    then = float(np.sqrt(visit * both.visit + reading * both.reading))
    gain = float(np.sqrt(both.visit + now * both.reading)) - then
    return Change(words, _sd(both, visit, reading, level), from_nodes(gain, before - after, level))
