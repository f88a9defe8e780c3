"""Beside a trend: what leans on no model of it, from the same sessions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from bpvet.equality import Content
from bpvet.frozen import dataclass
from bpvet.maths.charts import CusumChart, EwmaChart, cusum_chart, ewma_chart
from bpvet.models.trend.ranks import RankTrend, rank_trend
from bpvet.models.trend.trend import Trend
from bpvet.models.trend.variability import Variability, variability
from bpvet.printing import ShortTable, Tabled, number
from bpvet.reasons import reason


@dataclass(frozen=True, eq=False, repr=False)
class Companions(Tabled, Content):
    """The companions of a trend: variability, a trend by ranks, and two control charts.

    None of them knows a drug, a change of method or an uneven number of readings: they are beside
    the trend, and no verdict rests on them. Sessions with a reading beyond the gauge have no mean
    and are left out; `left_out` counts them.

    Parameters
    ----------
    dates : (n,) datetime64[D]
        Of the sessions used, in order.
    values : (n,) float
        Their means, in `unit`.
    unit : str
    left_out : int
        Sessions without a mean.
    variability : Variability
        From visit to visit, each number with its interval.
    ranks : RankTrend
        Theil–Sen slope with Sen's interval, and the Mann–Kendall test.
    ewma : EwmaChart
        Smoothed level about the mean of the sessions, with limits of three SDs.
    cusum : CusumChart
        Summed excess about the target, or about that mean.
    """

    dates: NDArray[np.datetime64]
    values: NDArray[np.float64]
    unit: str
    left_out: int
    variability: Variability
    ranks: RankTrend
    ewma: EwmaChart
    cusum: CusumChart

    def to_frame(self) -> pd.DataFrame:
        """Return one row a session, in full precision.

        Returns
        -------
        DataFrame
            date, value, ewma, ewma_lower, ewma_upper, ewma_outside, cusum_upper, cusum_lower,
            cusum_limit, cusum_high, cusum_low; NaN or None where there are no limits.
        """
        import pandas as pd

        n, ewma, cusum = self.values.size, self.ewma, self.cusum
        none = np.full(n, np.nan)
        limit = np.nan if cusum.limit is None else cusum.limit
        return pd.DataFrame(
            {
                "date": pd.to_datetime(self.dates),
                "value": self.values,
                "ewma": ewma.values,
                "ewma_lower": none if ewma.lower is None else ewma.lower,
                "ewma_upper": none if ewma.upper is None else ewma.upper,
                "ewma_outside": [None] * n if ewma.outside is None else ewma.outside,
                "cusum_upper": cusum.upper,
                "cusum_lower": cusum.lower,
                "cusum_limit": np.full(n, limit),
                "cusum_high": [None] * n if cusum.signals_high is None else cusum.signals_high,
                "cusum_low": [None] * n if cusum.signals_low is None else cusum.signals_low,
            }
        )

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is missing is None with its reason beside it."""
        return {
            "dates": [str(date) for date in self.dates],
            "values": self.values.tolist(),
            "unit": self.unit,
            "left_out": self.left_out,
            "variability": self.variability.to_dict(),
            "ranks": self.ranks.to_dict(),
            "ewma": _plain(self.ewma),
            "cusum": _plain(self.cusum),
        }

    def _table(self) -> ShortTable:
        ewma, cusum, slope = self.ewma, self.cusum, self.ranks.slope_per_30_days
        rows: list[tuple[str, str, str]] = [
            (reason("companions.used"), str(self.values.size), ""),
            (reason("companions.sd"), _shown(self.variability.sd.estimate), self.unit),
            (reason("companions.slope"), _shown(slope.estimate), f"{self.unit} per 30 d"),
        ]
        if ewma.outside is not None:
            rows.append((reason("companions.ewma"), _on(self, ewma.outside), ""))
        if cusum.signals_high is not None and cusum.signals_low is not None:
            about = f"about {number(cusum.target, 0)} {self.unit}"
            rows.append((f"summed excess (CUSUM) {about}: high", _on(self, cusum.signals_high), ""))
            rows.append((f"summed excess (CUSUM) {about}: low", _on(self, cusum.signals_low), ""))
        reasons = dict.fromkeys(why for why in (slope.reason, ewma.reason, cusum.reason) if why)
        notes = [f"{why[:1].upper()}{why[1:]}." for why in reasons]
        if self.left_out:
            notes.append(reason("companions.left_out", sessions=self.left_out))
        notes.append(reason("companions.no_verdict"))
        return ShortTable(
            reason("companions.title"), ("", "", reason("table.unit")), tuple(rows), tuple(notes)
        )


def companions(trend: Trend, target: float | None = None, level: float = 0.95) -> Companions:
    """Return the companions of a trend, from the means of its sessions.

    Parameters
    ----------
    trend : Trend
    target : float, optional
        About which the CUSUM sums, in the trend's unit; the mean of the sessions by default.
    level : float
        Probability of the intervals.

    Returns
    -------
    Companions
        With fewer than three sessions the charts have no limits, and say so.

    Raises
    ------
    CallError
        Where `target` is not finite or `level` is no probability.
    """
    series = trend.series
    used = series.plain
    dates, values = series.date[used], np.array(trend.observed[used], dtype=float)
    values.flags.writeable = False
    centre = float(values.mean()) if values.size else 0.0
    counts = None if trend.logarithmic else series.k[used]
    return Companions(
        dates=dates,
        values=values,
        unit=series.unit,
        left_out=int(used.size - used.sum()),
        variability=variability(dates, values, counts, level=level, unit=series.unit),
        ranks=rank_trend(dates, values, level=level, unit=series.unit),
        ewma=ewma_chart(values),
        cusum=cusum_chart(values, centre if target is None else target),
    )


def _shown(value: float | None) -> str:
    return "–" if value is None else number(value, 1)


def _on(companions: Companions, flags: NDArray[np.bool_]) -> str:
    """Return how many sessions signal, and the first of them."""
    if not flags.any():
        return "never"
    count = int(flags.sum())
    return f"{count} of {flags.size}, first on {companions.dates[flags][0]}"


def _plain(chart: EwmaChart | CusumChart) -> dict[str, Any]:
    return {
        name: value.tolist() if isinstance(value, np.ndarray) else value
        for name, value in vars(chart).items()
    }
