"""Which series a trend joins and what it makes of each; those that it leaves out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from bpvet.equality import Content
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.maths.estimate import Estimate, Number
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.trend import Trend
from bpvet.visits.labs.series import left_out


@dataclass(frozen=True, eq=False)
class RecordedChangeAnswer(Content):
    """A recorded change of measuring that the trend allows for.

    `difference` is the latest value minus the other one; `prior` the centre and SD that were
    allowed for it; `not_told_apart` names the drugs on whose start it falls.
    """

    what: str
    latest: str
    other: str
    sessions: int
    difference: Estimate
    prior: tuple[float, float]
    not_told_apart: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class ApartAnswer(Content):
    """One series of a bridged trend on its own: its usual value at its own latest session."""

    method: str
    condition: str
    sessions: int
    date: np.datetime64
    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True, eq=False)
class OtherSeries(Content):
    """Another series of the same animal, shown beside and never joined unasked.

    `usual` is its own usual value at its newest session where that is of the shown series' newest
    date and by the other method, else None.
    """

    method: str
    condition: str
    sessions: int
    first: np.datetime64
    last: np.datetime64
    usual: Number = None


@dataclass(frozen=True, eq=False)
class LeftOutAnswer(Content):
    """A laboratory value that is not part of the trend: as given, and why it is left out."""

    date: np.datetime64
    value: float
    unit: str
    bound: str
    reason: str


def recorded_change_answers(trend: Trend, level: float) -> tuple[RecordedChangeAnswer, ...]:
    """Return the recorded changes of measuring that the trend allows for."""
    return tuple(
        RecordedChangeAnswer(
            what=change.change.kind,
            latest=change.change.latest,
            other=change.change.other,
            sessions=int(np.sum(change.change.column < 0)),
            difference=Estimate.of(change.difference, level, trend.series.unit),
            prior=change.prior,
            not_told_apart=tuple(dict.fromkeys(course.drug for course in change.courses)),
        )
        for change in trend.changes
    )


def apart_answers(trend: Trend, level: float) -> tuple[ApartAnswer, ...]:
    """Return each series of a bridged trend on its own; empty where nothing is joined."""
    if not trend.bridged:
        return ()
    series = trend.series
    found = []
    for method, condition in sorted(
        set(zip(series.methods.tolist(), series.conditions.tolist(), strict=True))
    ):
        alone = _alone(trend, method, condition)
        usual = Estimate.of(alone.latest, level, series.unit).known
        sessions, date = alone.series.y.size, alone.latest_date
        found.append(ApartAnswer(method, condition, sessions, date, *usual))
    return tuple(found)


def other_series(trend: Trend) -> tuple[OtherSeries, ...]:
    """Return the animal's other sessions that could enter a trend, by method and condition."""
    if trend.logarithmic:
        return ()
    table = trend.context.sessions
    keep = table["condition"].isin(TREND_CONDITIONS) & (table["n_used"] > 0)
    keep &= ~table["session"].isin(trend.series.session)
    if not keep.any():
        return ()
    usable = table[keep]
    return tuple(
        OtherSeries(
            str(method),
            str(condition),
            len(rows),
            np.datetime64(rows["date"].min(), "D"),
            np.datetime64(rows["date"].max(), "D"),
            _other_usual(trend, str(method), str(condition), rows),
        )
        for (method, condition), rows in usable.groupby(["method", "condition"], sort=True)
    )


def _other_usual(trend: Trend, method: str, condition: str, rows: pd.DataFrame) -> float | None:
    """Return the usual value of the other method's series that ends on the same date, else None."""
    series = trend.series
    same_day = np.datetime64(rows["date"].max(), "D") == trend.latest_date
    if method == series.method or condition != series.condition or not same_day:
        return None
    if not (rows[f"{series.quantity}_n"] > 0).any():
        return None
    return float(_alone(trend, method, condition).latest.mean)


def _alone(trend: Trend, method: str, condition: str) -> Trend:
    """Return the trend of the animal's sessions by one method under one condition."""
    return fit_trend(
        trend.records,
        trend.series.animal,
        method,
        trend.series.quantity,
        rule=trend.context.rule,
        condition=condition,
        priors=trend.context.given,
        fixed=trend.context.fixed,
    )


def left_out_answers(trend: Trend) -> tuple[LeftOutAnswer, ...]:
    """Return the laboratory values that a trend of them cannot use; none of a pressure."""
    if not trend.logarithmic:
        return ()
    found = left_out(trend.records, trend.series.animal, trend.series.quantity)
    return tuple(
        LeftOutAnswer(value.date, value.value, value.unit, value.bound, why) for value, why in found
    )
