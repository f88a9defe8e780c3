"""Visit-to-visit variability of one animal, without a model."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from bpvet.equality import Content
from bpvet.errors import CallError
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate
from bpvet.maths.estimates import Array, checked, vector
from bpvet.maths.spread import (
    MeanRelation,
    average_real_variability,
    coefficient_of_variation,
    independent_of_mean,
    mean,
    reference_change,
    residual_sd,
    sd,
    successive_variation,
)
from bpvet.printing import ShortTable, Tabled, decimals, number
from bpvet.reasons import reason

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: With fewer sessions no variability is given: two show one difference and no more.
LEAST_SESSIONS = 3

_WORDS = {
    "mean": reason("variability.mean"),
    "sd": "SD",
    "cv": reason("variability.cv"),
    "arv": reason("variability.arv"),
    "arv_time_weighted": reason("variability.arv_by_days"),
    "successive_variation": reason("variability.successive"),
    "vim": reason("variability.vim"),
    "residual_sd": reason("variability.residual_sd"),
    "reference_change_value": reason("variability.reference_change"),
}
_PER_CENT = ("cv", "reference_change_value")


@dataclass(frozen=True, eq=False, repr=False)
class Variability(Tabled, Content):
    """How much an animal's sessions vary from visit to visit, each number with its interval.

    Parameters
    ----------
    sessions : int
        Sessions used.
    readings : (least, most) or None
        Fewest and most readings in a session; None where not told.
    level : float
        Probability of the intervals, and of staying within the reference change value.
    unit : str
        Unit of the values.
    mean, sd, residual_sd : Estimate
        In `unit`; `residual_sd` is about the least-squares line through the sessions.
    cv : Estimate
        Per cent of the mean.
    arv, arv_time_weighted : Estimate
        Mean absolute difference of consecutive sessions; weighted by the days between.
    successive_variation : Estimate
        Root of the mean squared difference of consecutive sessions.
    vim : Estimate
        Variability independent of the mean; needs a relation learned from other animals.
    reference_change_value : Estimate
        Per cent: the change between two sessions that scatter alone exceeds in 1 − `level`,
        from this animal's own CV (which holds the scatter of measuring as well).
    """

    sessions: int
    readings: tuple[int, int] | None
    level: float
    unit: str
    mean: Estimate
    sd: Estimate
    cv: Estimate
    arv: Estimate
    arv_time_weighted: Estimate
    successive_variation: Estimate
    vim: Estimate
    residual_sd: Estimate
    reference_change_value: Estimate

    @property
    def statistics(self) -> tuple[tuple[str, Estimate, str], ...]:
        """Each number with its name and its unit, the mean of the sessions first."""
        return tuple((_WORDS[name], getattr(self, name), self._unit(name)) for name in _WORDS)

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What the intervals suppose, in sentences."""
        lines = [reason("variability.assumes")]
        if self.readings is not None and self.readings[0] != self.readings[1]:
            lines.append(
                reason("variability.counts_equally", least=self.readings[0], most=self.readings[1])
            )
        return tuple(lines)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; what is missing is None with its reason beside it."""
        head: dict[str, Any] = {
            "sessions": self.sessions,
            "level": self.level,
            "assumptions": list(self.assumptions),
        }
        return head | {
            name: plain(getattr(self, name)) | {"unit": self._unit(name)} for name in _WORDS
        }

    def to_frame(self) -> pd.DataFrame:
        """Return one row a statistic: estimate, lower, upper, unit, reason ("" if none)."""
        return frame([(name, getattr(self, name), self._unit(name)) for name in _WORDS])

    def plot(self, ax: Axes | None = None, *, width_mm: float = 160.0) -> Figure | Axes:
        """Return the figure, or draw it in an Axes of yours: each number with its interval."""
        from bpvet.figures.drawing import plotted
        from bpvet.pictures.variability import variability_picture

        return plotted(variability_picture(self), ax, width_mm)

    def _unit(self, name: str) -> str:
        return "%" if name in _PER_CENT else self.unit

    def _table(self) -> ShortTable:
        title = reason("variability.title", sessions=self.sessions, s=plural(self.sessions))
        return table(title, list(self.statistics), self.level, self.assumptions)


def variability(
    dates_or_days: ArrayLike,
    values: ArrayLike,
    counts: ArrayLike | None = None,
    *,
    level: float = 0.95,
    unit: str = "mmHg",
    relation: MeanRelation | None = None,
) -> Variability:
    """Return one animal's visit-to-visit variability.

    Parameters
    ----------
    dates_or_days : (n,) dates, date-times or float
        When each session was; rows are put in order of time, rows of one day stay as given.
    values : (n,) float
        Session means, in `unit`.
    counts : (n,) int, optional
        Used readings of each session; they change no number, and uneven ones are said.
    level : float
        Probability of the intervals.
    unit : str
        Unit of the values.
    relation : MeanRelation, optional
        How SD goes with mean over other animals (`bpvet.maths.spread.mean_relation`), for
        variability independent of the mean.

    Returns
    -------
    Variability
        With fewer than three sessions every number but the mean is None, with its reason.

    Raises
    ------
    CallError
        If lengths differ, a value is not finite, a date cannot be read or a count is under 1.

    Examples
    --------
    >>> v = variability([0, 20, 50], [180, 140, 170], [5, 5, 5])
    >>> v.arv.estimate, v.arv_time_weighted.estimate
    (35.0, 34.0)
    """
    checked(level)
    t, y = in_order(dates_or_days, values)
    spreads = _spreads(t, y, level, relation)
    if y.size < LEAST_SESSIONS:
        spreads = dict.fromkeys(spreads, Estimate(None, reason=too_few(y.size)))
    readings = _ends(counts, y.size)
    return Variability(y.size, readings, level, unit, mean=mean(y, level), **spreads)


def _spreads(
    t: Array, y: Array, level: float, relation: MeanRelation | None
) -> dict[str, Estimate]:
    """Return what is told of the scatter of values `y` (n,) on days `t` (n,), by field."""
    cv = coefficient_of_variation(y, level).times(100)
    return {
        "sd": sd(y, level),
        "cv": cv,
        "arv": average_real_variability(y, level=level),
        "arv_time_weighted": average_real_variability(y, np.diff(t), level),
        "successive_variation": successive_variation(y, level),
        "vim": independent_of_mean(y, relation, level),
        "residual_sd": residual_sd(t, y, level),
        "reference_change_value": cv.times(reference_change(1.0, level=level)),
    }


def in_order(dates_or_days: ArrayLike, values: ArrayLike) -> tuple[Array, Array]:
    """Return days since the first session and values, both (n,), in order of time."""
    t, y = _days(dates_or_days), vector(values)
    if t.size != y.size:
        raise CallError(f"there are {t.size} dates and {y.size} values: one each is needed.")
    order = np.argsort(t, kind="stable")
    t, y = t[order], y[order]
    return t - t[:1], y


def _days(dates_or_days: ArrayLike) -> Array:
    given = np.asarray(dates_or_days)
    if given.dtype.kind in "iuf":
        return vector(given)
    try:
        with warnings.catch_warnings():
            # A time zone is only warned of, and dropped.
            warnings.simplefilter("error")
            dates = given.astype("datetime64[ns]")
    except (TypeError, ValueError, UserWarning, DeprecationWarning):
        raise CallError("dates must be dates, date-times without a zone, or days.") from None
    if np.any(np.isnat(dates)):
        raise CallError("a session has no date.")
    return vector((dates - dates[:1]) / np.timedelta64(1, "D"))


def _ends(counts: ArrayLike | None, n: int) -> tuple[int, int] | None:
    if counts is None or n == 0:
        return None
    k = vector(counts)
    if k.size != n or np.any(k < 1):
        raise CallError(f"{n} sessions need {n} counts of 1 reading or more.")
    return int(k.min()), int(k.max())


def table_heads(level: float) -> tuple[str, str, str]:
    """Return the heads of an estimate and of its interval's ends."""
    return reason("table.estimate"), reason("table.from", level=100 * level), reason("table.to")


def too_few(n: int) -> str:
    """Return the reason for giving nothing of `n` sessions."""
    return reason("variability.few", least=LEAST_SESSIONS, sessions=n)


def plural(n: int) -> str:
    """Return the "s" of so many sessions."""
    return "" if n == 1 else "s"


def plain(estimate: Estimate) -> dict[str, Any]:
    """Return an estimate as plain values."""
    shown = estimate.value, estimate.lower, estimate.upper, estimate.reason
    return dict(zip(("estimate", "lower", "upper", "reason"), shown, strict=True))


def frame(rows: Sequence[tuple[str, Estimate, str]]) -> pd.DataFrame:
    """Return (name, estimate, unit) rows as a frame in full precision; NaN where None."""
    import pandas as pd

    ends = ("estimate", "lower", "upper")
    columns: dict[str, Any] = {
        end: np.array([getattr(estimate, end) for _, estimate, _ in rows], dtype=float)
        for end in ends
    }
    columns["unit"] = [unit for _, _, unit in rows]
    columns["reason"] = [estimate.reason or "" for _, estimate, _ in rows]
    return pd.DataFrame(columns, index=pd.Index([row[0] for row in rows], name="statistic"))


def table(
    title: str, shown: Sequence[tuple[str, Estimate, str]], level: float, notes: tuple[str, ...]
) -> ShortTable:
    """Return a row for what could be given; the reasons of what could not, below, once each."""
    rows: list[tuple[str, ...]] = []
    missing: dict[str, list[str]] = {}
    for words, estimate, unit in shown:
        if estimate.reason is not None:
            missing.setdefault(estimate.reason, []).append(words)
        if estimate.estimate is not None:
            digits = _digits(estimate)
            cells = (
                number(value, digits)
                for value in (estimate.estimate, estimate.lower, estimate.upper)
            )
            rows.append((words, *cells, unit))
    reasons = tuple(f"{'; '.join(words)}: {reason}." for reason, words in missing.items())
    head = ("", *table_heads(level), reason("table.unit"))
    return ShortTable(title, head, tuple(rows), (*notes, *reasons))


def _digits(estimate: Estimate) -> int:
    """Decimals by the nearer end: the far one of three sessions is far indeed."""
    if estimate.estimate is None:
        return 1
    ends = [end for end in (estimate.lower, estimate.upper) if end is not None]
    return decimals(min((abs(end - estimate.estimate) for end in ends), default=0.0) / 2)
