"""The sessions, the usual value now, how it changes, and what the next session may show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from bpvet.answers.trend.safety import RecheckAnswer
from bpvet.answers.trend.settle import SettleAnswer, slope_settle
from bpvet.answers.trend.verdicts import Settled, Surprise, Verdict, settled, surprise_by
from bpvet.equality import Content
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.facts.sources import fact
from bpvet.facts.words import LAB_METHOD, Bound
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate, Number
from bpvet.maths.mixture import Mixture
from bpvet.models.trend.columns import SLOPE_DAYS
from bpvet.models.trend.outlook import (
    surprise,
)
from bpvet.models.trend.trend import Trend
from bpvet.reasons import reason
from bpvet.visits.choice import split_flags

_ON_SLOPE = {
    Settled.YES: Verdict.RISING,
    Settled.NO: Verdict.RISE_UNLIKELY,
    Settled.OPEN: Verdict.CANNOT_TELL,
}


@dataclass(frozen=True, eq=False)
class SessionAnswer(Content):
    """A session as it entered the trend, or as it stands beside it."""

    date: np.datetime64
    method: str
    condition: str
    label: str
    n_taken: int
    n_used: int
    mean: Number
    sd: Number
    bound: str
    flags: tuple[str, ...]


class Ended:
    """An interval of which one end alone may be known: `only` says which."""

    lower: float
    upper: float
    only: str

    @property
    def end(self) -> float:
        """The end that is known, where only one is."""
        return self.upper if self.only == Bound.AT_MOST else self.lower


@dataclass(frozen=True, eq=False)
class LatestAnswer(Ended, Content):
    """Usual value at the latest session; `sd` is None on a log scale.

    Where most readings lie beyond the gauge, `only` is ``at least`` or ``at most``, the end of the
    interval that is known: the other numbers are the prior's, and are not told.
    """

    date: np.datetime64
    estimate: float
    lower: float
    upper: float
    sd: Number
    only: str = ""


@dataclass(frozen=True, eq=False)
class SlopeAnswer(Content):
    """Change apart from the drugs: per 30 days, and over the span of the record.

    In per cent for laboratory values, where `p_rising_by_1` is of a rise by 3 % a month. `verdict`
    is None where an urgent rule withholds it, and `withheld` is then that rule. `settle` is as in
    `TargetAnswer`; empty for laboratory values.
    """

    per_30_days: float
    lower: float
    upper: float
    p_rising: float
    p_rising_by_1: float
    rise_over_record: Estimate
    span_days: int
    verdict: Verdict | None
    withheld: str | None
    settle: tuple[SettleAnswer, ...]


@dataclass(frozen=True, eq=False)
class SurpriseAnswer(Content):
    """The newest session under the fit to the earlier ones.

    `bound` is ``at least``, ``at most`` or both where `observed` is a bound.
    """

    date: np.datetime64
    observed: float
    expected: Number
    lower: Number
    upper: Number
    tail: Number
    words: Surprise | None
    withheld: str | None
    reason: str | None
    bound: str = ""


@dataclass(frozen=True, eq=False)
class NextSessionAnswer(Ended, Content):
    """Mean to expect of a session not taken yet; `only` as in `LatestAnswer`."""

    date: np.datetime64
    method: str
    readings: int
    mean: float
    lower: float
    upper: float
    only: str = ""


def _number(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def session_answers(trend: Trend) -> tuple[SessionAnswer, ...]:
    """Return the sessions of the series, in order."""
    if trend.logarithmic:
        return tuple(
            SessionAnswer(date, LAB_METHOD, "", "", 1, 1, float(value), None, "", ())
            for date, value in zip(trend.series.date, trend.observed, strict=True)
        )
    found = dict(every_session(trend, trend.series.quantity))
    return tuple(found[number] for number in trend.series.session.tolist())


def every_session(trend: Trend, quantity: str) -> list[tuple[int, SessionAnswer]]:
    """Return all sessions of the animal with their numbers, newest first."""
    table = trend.context.session_columns
    names = (
        *("date", "method", "condition", "label", "n_taken", "flags"),
        *(f"{quantity}{suffix}" for suffix in ("", "_n", "_sd", "_bound")),
    )
    columns = {name: table[name] for name in names}
    found = [
        (number, session_answer({name: columns[name][row] for name in names}, quantity))
        for row, number in enumerate(table["session"].tolist())
    ]
    return found[::-1]


def session_answer(row: Mapping[Any, Any], quantity: str) -> SessionAnswer:
    """Return one row of `bpvet.sessions` as an answer for one quantity."""
    return SessionAnswer(
        date=np.datetime64(row["date"], "D"),
        method=str(row["method"]),
        condition=str(row["condition"]),
        label=str(row["label"]),
        n_taken=int(row["n_taken"]),
        n_used=int(row[f"{quantity}_n"]),
        mean=_number(row[quantity]),
        sd=_number(row[f"{quantity}_sd"]),
        bound=str(row[f"{quantity}_bound"]),
        flags=split_flags(str(row["flags"])),
    )


def latest_answer(trend: Trend, level: float) -> LatestAnswer:
    """Return the usual value at the latest session."""
    usual = Estimate.of(trend.latest, level, trend.series.unit)
    return LatestAnswer(trend.latest_date, *usual.known, usual.sd, trend.one_sided)


def slope_answer(trend: Trend, level: float, withheld: str | None) -> SlopeAnswer:
    """Return the change apart from the drugs; `withheld`: the rule that withholds verdicts."""
    slope, unit = trend.slope, change_unit(trend)
    span = int((trend.series.date[-1] - trend.series.date[0]) / np.timedelta64(1, "D"))
    months = span / SLOPE_DAYS
    sds = np.maximum(slope.sds * months, 1e-12)
    over = Mixture(slope.weights, slope.means * months, sds, slope.scale)
    rise = float(fact(f"project.verdict.rise{_kind(trend)}").value or 0)
    p_rising_by_1 = float(slope.above(rise))
    per_30_days, lower, upper = Estimate.of(slope, level, unit).known
    verdict = _ON_SLOPE[settled(p_rising_by_1)]
    return SlopeAnswer(
        per_30_days=per_30_days,
        lower=lower,
        upper=upper,
        p_rising=float(slope.above(0.0)),
        p_rising_by_1=p_rising_by_1,
        rise_over_record=Estimate.of(over, level, unit),
        span_days=span,
        verdict=None if withheld else verdict,
        withheld=withheld,
        settle=slope_settle(trend) if verdict is Verdict.CANNOT_TELL and not withheld else (),
    )


def change_unit(trend: Trend) -> str:
    """Return the unit of changes: per cent for laboratory values."""
    return "%" if trend.logarithmic else trend.series.unit


def _kind(trend: Trend) -> str:
    """Return the ending of the facts that hold for laboratory values in place of pressures."""
    return "_labs" if trend.logarithmic else ""


def surprise_answer(trend: Trend, level: float, withheld: str | None) -> SurpriseAnswer:
    """Return how the newest session stands to the fit of the earlier ones."""
    found = surprise(trend)
    date, observed = trend.latest_date, float(trend.observed[-1])
    if found is None:
        why = reason("surprise.none_earlier", what="value" if trend.logarithmic else "session")
        return SurpriseAnswer(date, observed, None, None, None, None, None, None, why)
    expected, lower, upper = Estimate.of(found.expected, level, trend.series.unit).known
    return SurpriseAnswer(
        date=date,
        observed=observed,
        expected=expected,
        lower=lower,
        upper=upper,
        tail=found.tail,
        words=None if withheld else surprise_by(found.tail),
        withheld=withheld,
        reason=None,
        bound=found.bound,
    )


def next_session_answer(trend: Trend, again: RecheckAnswer, level: float) -> NextSessionAnswer:
    """Return what to expect at the next visit; four weeks on where no date is set.

    On the day that is spoken for where a date is withheld for what is to be found out first: no
    day ahead stands beside that.
    """
    date = trend.latest_date + np.timedelta64(28, "D") if again.latest is None else again.latest
    date = trend.as_of if again.read_first else max(date, trend.as_of)
    coming = trend.next_session(date, readings=ENOUGH_READINGS)
    expected = Estimate.of(coming, level, trend.series.unit).known
    method = trend.series.method
    return NextSessionAnswer(date, method, ENOUGH_READINGS, *expected, trend.one_sided)
