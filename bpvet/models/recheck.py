"""When again: the named guideline's interval, which the model may only ever shorten."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bpvet.facts.categories import Guideline
from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.models.outlook import days_until_likely_above, target_for, treated
from bpvet.models.trend import Trend
from bpvet.visits.urgency import LatestDate

_DAY = np.timedelta64(1, "D")


@dataclass(frozen=True)
class Recheck:
    """The next visit.

    Parameters
    ----------
    state : str
        The state of `bpvet.facts.categories.RECHECK_STATES` that fits first.
    counted_from : datetime64[D]
        The latest session, change or sign from which the interval runs.
    guideline_by : datetime64[D]
        Date by the guideline's interval.
    model_by : datetime64[D]
        Date by which the model would look; NaT where it asks for none.
    model_reason : str
        Why it asks for none; blank otherwise.
    by : datetime64[D]
        The earlier of the two.
    overdue_days : int
        Days that the date lies before `as of`; 0 where it does not.
    """

    state: str
    counted_from: np.datetime64
    guideline_by: np.datetime64
    model_by: np.datetime64
    model_reason: str
    by: np.datetime64
    overdue_days: int


def recheck(trend: Trend, latest: LatestDate, guideline: Guideline) -> Recheck:
    """Return when the animal should be measured again.

    Parameters
    ----------
    trend : Trend
        A systolic trend.
    latest : LatestDate
        The animal's latest date, by any method.
    guideline : Guideline
        The guideline whose intervals are used.
    """
    state, counted_from = _state(trend, latest, guideline)
    guideline_by = counted_from + guideline.recheck[state].days * _DAY
    ahead, reason = days_until_likely_above(trend, target_for(trend, guideline)[0])
    never = np.datetime64("NaT", "D")
    model_by = never if ahead is None else trend.latest_date + ahead * _DAY
    by = guideline_by if np.isnat(model_by) else min(guideline_by, model_by)
    overdue = max(0, int((trend.as_of - by) / _DAY))
    return Recheck(state, counted_from, guideline_by, model_by, reason, by, overdue)


def _state(trend: Trend, latest: LatestDate, guideline: Guideline) -> tuple[str, np.datetime64]:
    """Return the first state that fits, and the date its interval counts from."""
    severe = float(fact("project.urgent.severe").value or 0)
    mild = float(fact("project.recheck.raised_again_from").value or 0)
    if latest.damage:
        return "sign", max(latest.date, *(sign.seen_on for sign in latest.damage))
    change = _unanswered_change(trend)
    if change is not None:
        return "changed", change
    if latest.highest is not None and latest.highest >= severe:
        return "severe", latest.date
    if treated(trend):
        value, _ = target_for(trend, guideline)
        unmet = float(trend.latest.below(value)) < float(
            fact("project.verdict.unlikely").value or 0
        )
        return ("above_target" if unmet else "treated"), latest.date
    # Judged on the series shown, so that the date agrees with what is said of it.
    newest = float(trend.series.y[-1])
    if newest >= guideline.raised.value:
        if _raised_dates(trend, guideline) < 2:
            return "first_raised", latest.date
        return ("raised_again" if newest >= mild else "raised_mild"), latest.date
    return "otherwise", latest.date


def _unanswered_change(trend: Trend) -> np.datetime64 | None:
    """Return the last start, dose change or stop if no session lies 7 days or more after it."""
    as_of = trend.as_of
    spans = [span for span in trend.context.treatments.spans if span.modelled]
    days = [span.started_on for span in spans] + [span.stopped_on for span in spans]
    past = [day for day in days if not np.isnat(day) and day <= as_of]
    if not past:
        return None
    last = max(past)
    wait = int(fact("project.recheck.answers_change").value or 0) * _DAY
    sessions = trend.context.sessions
    awake = sessions["condition"].isin(TREND_CONDITIONS) & sessions["systolic"].notna()
    dates = sessions.loc[awake, "date"].to_numpy(dtype="datetime64[D]")
    return None if np.any(dates >= last + wait) else last


def _raised_dates(trend: Trend, guideline: Guideline) -> int:
    """Return the number of dates on which the series read in the raised range."""
    return int(np.unique(trend.series.date[trend.series.y >= guideline.raised.value]).size)
