"""The newest session as a picture: its readings in order, and what was expected of their mean."""

from __future__ import annotations

from typing import Any

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.errors import CallError
from bpvet.figures.clinic.cohort_picture import IntervalPanel, IntervalsPicture
from bpvet.models.trend.trend import Trend
from bpvet.visits.readings import readings_used
from bpvet.wording.en.pictures.drawn import UNNAMED
from bpvet.wording.en.pictures.session import AXIS, MARK, SessionWords, reading_names


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
    texts = SessionWords(found, answer.level, reading_names(rows))
    mean = found.expected
    values = [float(row["systolic"]) for row in rows]
    estimate = np.array([0.0, *(value - mean for value in values), found.observed - mean])
    unknown = np.full(len(values) + 1, np.nan)
    low = np.array([found.lower - mean, *unknown])
    high = np.array([found.upper - mean, *unknown])
    return IntervalsPicture(
        title=texts.title(answer.name or answer.animal),
        names=texts.names,
        panels=(IntervalPanel("", AXIS, estimate, low, high),),
        zero_is=texts.zero_is,
        mark=MARK,
        interval=texts.interval,
        unnamed=UNNAMED,
        caption=texts.caption(trend.series.method),
        alt_text=texts.alt_text,
    )


def _readings(trend: Trend) -> list[dict[str, Any]]:
    """Return the readings with a number of the newest session, in the order of taking."""
    series = trend.series
    frame = readings_used(trend.records, trend.context.rule, animal=series.animal)
    readings = frame[frame["method"] == series.method]
    readings = readings[readings["session"] > 0]
    newest = readings[readings["taken_at"].to_numpy("datetime64[D]") == series.date[-1]]
    newest = newest[newest["session"] == newest["session"].max()]
    newest = newest[newest["systolic"].notna()].sort_values("order", kind="stable")
    return [{str(key): value for key, value in row.items()} for row in newest.to_dict("records")]
