"""The newest session as a picture: its readings in order, and what was expected of their mean."""

from __future__ import annotations

from typing import Any

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.errors import CallError
from bpvet.facts.words import METHOD_WORDS
from bpvet.figures.clinic.cohort_picture import IntervalPanel, IntervalsPicture
from bpvet.models.trend.trend import Trend
from bpvet.printing import number, prose_date
from bpvet.visits.readings import readings_used
from bpvet.wording.en.phrases import percent


def session_picture(trend: Trend, answer: TrendAnswer) -> IntervalsPicture:
    """Return the newest session's readings against what the earlier sessions let one expect.

    Parameters
    ----------
    trend : Trend
        Of systolic pressure.
    answer : TrendAnswer
        Its answer.

    Raises
    ------
    CallError
        For another quantity, or where no earlier session says what was to be expected.
    """
    found = answer.surprise
    if trend.series.quantity != "systolic":
        raise CallError("a session's readings are drawn for systolic pressure.")
    if found.expected is None or found.lower is None or found.upper is None:
        raise CallError("no earlier session says what was to be expected of the newest.")
    rows = _readings(trend)
    mean, day = found.expected, prose_date(found.date)
    values = [float(row["systolic"]) for row in rows]
    used = f"the session: {_mean(found.bound, found.observed)} mmHg, the mean of what counts"
    estimate = np.array([0.0, *(value - mean for value in values), found.observed - mean])
    unknown = np.full(len(values) + 1, np.nan)
    who = answer.name or answer.animal
    lies = "within" if found.lower <= found.observed <= found.upper else "outside"
    level = percent(answer.level)
    expected = f"{number(mean, 0)} mmHg, {level} from {number(found.lower, 0)} to "
    expected += number(found.upper, 0)
    return IntervalsPicture(
        title=f"{who}: the readings of {day} beside what was expected",
        names=(f"expected: {expected}", *map(_name, rows), used),
        panels=(
            IntervalPanel(
                "",
                "mmHg from the expected mean",
                estimate,
                np.array([found.lower - mean, *unknown]),
                np.array([found.upper - mean, *unknown]),
            ),
        ),
        zero_is=f"{number(mean, 0)} mmHg, expected of the session's mean",
        mark="Reading or mean",
        interval=f"line: {level} of such sessions",
        caption=(
            f"{METHOD_WORDS[trend.series.method]} readings in the order of taking, beside what the "
            f"earlier sessions let one expect of their mean: {expected}. The session lies {lies} "
            "that. A single reading scatters more than a mean. What was expected is told when the "
            "readings are down."
        ),
        alt_text=(
            f"Readings of {day} in order: {'; '.join(map(_name, rows))}. Expected {expected}; "
            f"{used}, {lies} it."
        ),
    )


def _readings(trend: Trend) -> list[dict[str, Any]]:
    """Return the readings with a number of the newest session, in the order of taking."""
    series = trend.series
    frame = readings_used(trend.records, trend.context.rule)
    own = frame[(frame["animal"] == series.animal) & (frame["method"] == series.method)]
    own = own[own["session"] > 0]
    newest = own[own["taken_at"].to_numpy("datetime64[D]") == series.date[-1]]
    newest = newest[newest["session"] == newest["session"].max()]
    newest = newest[newest["systolic"].notna()].sort_values("order", kind="stable")
    return [{str(key): value for key, value in row.items()} for row in newest.to_dict("records")]


def _name(row: dict[str, Any]) -> str:
    bound = f"{row['systolic_bound']} " if row["systolic_bound"] else ""
    told = f"{row['order']}: {bound}{row['systolic']:.0f}"
    return told if row["fate"] == "used" else f"{told}, {row['fate']}"


def _mean(bound: str, value: float) -> str:
    return f"{bound} {number(value, 0)}".strip()
