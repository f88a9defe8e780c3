"""A trend by ranks of one animal, without a model: Theil–Sen and Mann–Kendall."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from numpy.typing import ArrayLike

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate
from bpvet.maths.estimates import checked
from bpvet.maths.ranks import MannKendall, mann_kendall, theil_sen
from bpvet.models.trend.variability import (
    LEAST_SESSIONS,
    frame,
    in_order,
    plain,
    plural,
    table,
    too_few,
)
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason

if TYPE_CHECKING:
    import pandas as pd

#: Slopes are quoted per so many days.
SLOPE_DAYS = 30


@dataclass(frozen=True, eq=False, repr=False)
class RankTrend(Tabled, Content):
    """A trend by ranks: Theil–Sen slope with Sen's interval, and the Mann–Kendall test.

    Parameters
    ----------
    sessions : int
        Sessions used.
    level : float
        Probability of the interval.
    unit : str
        Unit of the values.
    slope_per_30_days : Estimate
        In `unit` per 30 days; whole ranks outwards (see `bpvet.maths.ranks.theil_sen`).
    intercept : float or None
        Median of value − slope·day, at the first session, in `unit`.
    mann_kendall : MannKendall or None
        None under three sessions.
    reason : str or None
        Why `intercept` or `mann_kendall` is None.
    """

    sessions: int
    level: float
    unit: str
    slope_per_30_days: Estimate
    intercept: float | None
    mann_kendall: MannKendall | None
    reason: str | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is missing is None with its reason beside it."""
        test = self.mann_kendall
        figures = dict(vars(test)) if test is not None else {"p": None, "reason": self.reason}
        return {
            "sessions": self.sessions,
            "level": self.level,
            "slope_per_30_days": plain(self.slope_per_30_days) | {"unit": self._unit},
            "intercept": self.intercept,
            "reason": self.reason,
            "mann_kendall": figures,
        }

    def to_frame(self) -> pd.DataFrame:
        """Return the slope and, where known, tau-b and p: one row each, as for `Variability`."""
        rows = [("slope_per_30_days", self.slope_per_30_days, self._unit)]
        if (test := self.mann_kendall) is not None:
            no_interval = reason("ranks.as_slope")
            rows.append(("tau_b", Estimate(test.tau_b, reason=test.reason or no_interval), ""))
            rows.append(("p", Estimate(test.p, reason=reason("ranks.p", method=test.method)), ""))
        return frame(rows)

    @property
    def _unit(self) -> str:
        return f"{self.unit} per {SLOPE_DAYS} d"

    def _table(self) -> ShortTable:
        rows = [(reason("companions.slope"), self.slope_per_30_days, self._unit)]
        note = f"Mann–Kendall: {self.reason}."
        if (test := self.mann_kendall) is not None:
            p = "less than 0.001" if test.p < 0.001 else number(test.p, 3)
            note = reason(
                "ranks.test",
                s=number(test.s, 0),
                tau=number(test.tau_b, 2),
                p=p,
                method=test.method,
            )
        title = reason("ranks.title", sessions=self.sessions, s=plural(self.sessions))
        return table(title, rows, self.level, (note,))


def rank_trend(
    dates_or_days: ArrayLike, values: ArrayLike, *, level: float = 0.95, unit: str = "mmHg"
) -> RankTrend:
    """Return the trend of one animal's sessions by ranks.

    Parameters
    ----------
    dates_or_days, values, level, unit
        As for `bpvet.models.trend.variability.variability`.

    Returns
    -------
    RankTrend
        With fewer than three sessions everything is None, with its reason; with three or
        four the slope has no 95 % interval.
    """
    checked(level)
    t, y = in_order(dates_or_days, values)
    if y.size < LEAST_SESSIONS:
        why = too_few(y.size)
        return RankTrend(y.size, level, unit, Estimate(None, reason=why), None, None, why)
    line = theil_sen(t, y, level)
    slope = line.slope.times(SLOPE_DAYS)
    reason = slope.reason if line.intercept is None else None
    return RankTrend(y.size, level, unit, slope, line.intercept, mann_kendall(t, y), reason)
