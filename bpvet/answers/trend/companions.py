"""The latest usual value by other ways of counting, and a step that nobody recorded."""

from __future__ import annotations

import numpy as np

from bpvet.equality import Content
from bpvet.facts.sources import fact
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate, Number
from bpvet.models.trend.newest import usual_newest
from bpvet.models.trend.outlook import (
    usual_as_latest,
    with_medians,
    without_tense,
)
from bpvet.models.trend.step import unrecorded_step
from bpvet.models.trend.trend import Trend
from bpvet.reasons import reason

#: Sessions of the plain companion "from the last three sessions".
_LAST = 3


@dataclass(frozen=True, eq=False)
class LastThreeAnswer(Content):
    """The plain mean of the last three sessions, with the t interval of three means.

    Sessions with a bound are passed over: `passed_over` counts those newer than the oldest of the
    three. `changed` names the drugs that began, changed or stopped between the first and the last.
    `estimate` is None with fewer than three, the ends where all three are equal; `reason` says so.
    """

    first: np.datetime64 | None
    last: np.datetime64 | None
    estimate: Number
    lower: Number
    upper: Number
    passed_over: int
    changed: tuple[str, ...]
    reason: str | None


@dataclass(frozen=True, eq=False)
class StepAnswer(Content):
    """A step that nobody recorded: how probable any is, and the likeliest place.

    `after` and `before` are the sessions between which it would lie, `usual` the usual value at
    the latest session if there were one, all places weighed; `told` says whether it is told.
    """

    p_any: float
    after: np.datetime64
    before: np.datetime64
    p_there: float
    usual: Estimate
    told: bool


@dataclass(frozen=True, eq=False)
class CompanionAnswer(Content):
    """The latest usual value under another way of counting, and whether it moves enough to show.

    `bounded` sessions have a reading beyond the gauge, and so no median.
    """

    latest_with_medians: Number
    latest_without_tense: Number
    tense_sessions: int
    shown: tuple[str, ...]
    last_three: LastThreeAnswer
    step: StepAnswer | None
    bounded: int = 0


def companion_answer(trend: Trend, level: float) -> CompanionAnswer:
    """Return the latest usual value by other ways of counting, and which of them move it."""
    moves = float(fact("project.verdict.moves").value or 0)
    bounded = int(np.sum(~trend.series.plain))
    now = float(trend.latest.mean)
    medians = float(usual_newest([with_medians(trend)])[0].mean)
    calm = without_tense(trend)
    without = None if calm is None else usual_as_latest(calm, trend)
    shown = []
    if abs(medians - now) > moves:
        shown.append("medians")
    if without is not None and abs(without - now) > moves:
        shown.append("tense")
    return CompanionAnswer(
        latest_with_medians=medians,
        latest_without_tense=without,
        tense_sessions=int(trend.series.tense.sum()),
        shown=tuple(shown),
        last_three=last_three_answer(trend, level),
        step=step_answer(trend, level),
        bounded=bounded,
    )


def last_three_answer(trend: Trend, level: float) -> LastThreeAnswer:
    """Return the plain mean of the last three sessions and its t interval (2 degrees of freedom).

    Of laboratory values the geometric mean. A session with a bound has no plain mean.
    """
    series = trend.series
    what = "values" if trend.logarithmic else "sessions"
    plain = np.flatnonzero(series.bound == "")[-_LAST:]
    if plain.size < _LAST:
        few = reason("last_three.few", what=what)
        return LastThreeAnswer(None, None, None, None, None, 0, (), few)
    first, last = series.date[plain[0]], series.date[plain[-1]]
    means = series.y[plain]
    # t of 2 degrees of freedom in closed form: p = ½ + t/(2·√(2 + t²)).
    reach = level * np.sqrt(2 / (1 - level**2)) * means.std(ddof=1) / np.sqrt(_LAST)
    ends = means.mean() + reach * np.array([0.0, -1.0, 1.0])
    estimate, lower, upper = (float(end) for end in (np.exp(ends) if trend.logarithmic else ends))
    alike = bool(np.ptp(means) == 0)
    # The drugs that began, changed or stopped between the first and the last of them.
    changed = [
        course.drug
        for course in trend.series.courses
        for day in (course.started_on, course.stopped_on)
        if not np.isnat(day) and first <= day < last
    ]
    return LastThreeAnswer(
        first=first,
        last=last,
        estimate=estimate,
        lower=None if alike else lower,
        upper=None if alike else upper,
        passed_over=int(np.sum(series.bound[plain[0] :] != "")),
        changed=tuple(dict.fromkeys(changed)),
        reason=reason("last_three.equal", what=what) if alike else None,
    )


def step_answer(trend: Trend, level: float) -> StepAnswer | None:
    """Return how far the records speak for a step that nobody recorded; None with no place for it.

    Only of pressures.
    """
    found = None if trend.logarithmic else unrecorded_step(trend)
    if found is None:
        return None
    reported = found.p_any >= float(fact("project.step.told").value or 1)
    usual = Estimate.of(found.usual, level, trend.series.unit)
    return StepAnswer(found.p_any, found.after, found.before, found.p_there, usual, reported)
