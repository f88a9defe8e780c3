"""What stands beside a trend's answer: other ways of counting, other series, priors, findings."""

from __future__ import annotations

import numpy as np
import pandas as pd

from bpvet.answers.parts import (
    ApartAnswer,
    CompanionAnswer,
    Estimate,
    LastThreeAnswer,
    LeftOutAnswer,
    NoiseAnswer,
    OtherSeries,
    PriorGroupAnswer,
    PriorsAnswer,
    RecordedChangeAnswer,
    StepAnswer,
)
from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.models.trend.fit import fit_trend
from bpvet.models.trend.outlook import usual_as_latest, with_medians, without_tense
from bpvet.models.trend.step import unrecorded_step
from bpvet.models.trend.trend import Trend
from bpvet.records.findings import Finding
from bpvet.visits.labs.series import left_out

#: Sessions of the plain companion "from the last three sessions".
_LAST = 3


def companion_answer(trend: Trend, level: float) -> CompanionAnswer:
    """Return the latest usual value by other ways of counting, and which of them move it."""
    moves = float(fact("project.verdict.moves").value or 0)
    bounded = int(np.sum(~trend.series.plain))
    now = float(trend.latest.mean)
    medians = float(with_medians(trend).latest.mean)
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
        reason = f"there are fewer than three {what} with a plain mean"
        return LastThreeAnswer(None, None, None, None, None, 0, (), reason)
    first, last = series.date[plain[0]], series.date[plain[-1]]
    means = series.y[plain]
    # t of 2 degrees of freedom in closed form: p = ½ + t/(2·√(2 + t²)).
    reach = level * np.sqrt(2 / (1 - level**2)) * means.std(ddof=1) / np.sqrt(_LAST)
    ends = means.mean() + reach * np.array([0.0, -1.0, 1.0])
    estimate, lower, upper = (float(end) for end in (np.exp(ends) if trend.logarithmic else ends))
    alike = bool(np.ptp(means) == 0)
    return LastThreeAnswer(
        first=first,
        last=last,
        estimate=estimate,
        lower=None if alike else lower,
        upper=None if alike else upper,
        passed_over=int(np.sum(series.bound[plain[0] :] != "")),
        changed=_changed_between(trend, first, last),
        reason=f"the three {what} are equal, which is no measure of scatter" if alike else None,
    )


def _changed_between(trend: Trend, first: np.datetime64, last: np.datetime64) -> tuple[str, ...]:
    """Return the drugs that began, changed or stopped between two sessions."""
    found = [
        course.drug
        for course in trend.series.courses
        for end in (course.started_on, course.stopped_on)
        if not np.isnat(end) and first <= end < last
    ]
    return tuple(dict.fromkeys(found))


def step_answer(trend: Trend, level: float) -> StepAnswer | None:
    """Return how far the records speak for a step that nobody recorded; None with no place for it.

    Only of pressures.
    """
    found = None if trend.logarithmic else unrecorded_step(trend)
    if found is None:
        return None
    told = found.p_any >= float(fact("project.step.told").value or 1)
    usual = Estimate.of(found.usual, level)
    return StepAnswer(found.p_any, found.after, found.before, found.p_there, usual, told)


def recorded_change_answers(trend: Trend, level: float) -> tuple[RecordedChangeAnswer, ...]:
    """Return the recorded changes of measuring that the trend allows for."""
    return tuple(
        RecordedChangeAnswer(
            what=one.change.kind,
            latest=one.change.latest,
            other=one.change.other,
            sessions=int(np.sum(one.change.column < 0)),
            difference=Estimate.of(one.difference, level),
            prior=one.prior,
            not_told_apart=tuple(dict.fromkeys(course.drug for course in one.courses)),
        )
        for one in trend.changes
    )


def noise_answer(trend: Trend) -> NoiseAnswer:
    """Return the posterior means of the SDs of visit, reading and wander."""
    weight, noise = trend.posterior.weight, trend.posterior.noise
    means = [np.sqrt(part) @ weight for part in (noise.visit[0, 0], noise.reading[0, 0])]
    return NoiseAnswer(float(means[0]), float(means[1]), float(np.sqrt(noise.wander[0]) @ weight))


def priors_answer(trend: Trend) -> PriorsAnswer:
    """Return the priors that the trend used."""
    own = trend.priors
    taus = {course.drug: course.tau_days for course in trend.series.courses}
    return PriorsAnswer(
        source=own.source,
        level=own.level,
        slope_sd=own.slope_sd,
        effect_sd=own.effect_sd,
        increment_sd=own.increment_sd,
        sv=own.sv,
        sr=own.sr,
        sw=own.sw,
        wander_days=own.wander_days,
        first_visit=own.first_visit,
        change_sd=dict(own.change_sd),
        tau_days=taus,
        groups=_groups(trend),
    )


def _groups(trend: Trend) -> tuple[PriorGroupAnswer, ...]:
    """Return the groups of an animal's prior; empty where it has one normal.

    Those of a treated animal, or the levels that stand in for one where an untreated animal has a
    reading beyond the gauge.
    """
    groups, forms = trend.priors.groups, trend.columns.forms
    if groups is None or len(forms) == 1:
        return ()
    if trend.columns.bounded:
        return tuple(
            PriorGroupAnswer(
                one.weight, (float(one.mean[0]), float(one.sd[0])), None, None, float(share)
            )
            for one, share in zip(forms, trend.posterior.shares, strict=True)
        )
    return tuple(
        PriorGroupAnswer(one.weight, one.level, one.effect_sd, one.under_drug, float(share))
        for one, share in zip(groups.parts, trend.posterior.shares, strict=True)
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
        own = _alone(trend, method, condition)
        usual = Estimate.of(own.latest, level)
        found.append(
            ApartAnswer(
                method,
                condition,
                own.series.y.size,
                own.latest_date,
                usual.estimate,
                usual.lower,
                usual.upper,
            )
        )
    return tuple(found)


def other_series(trend: Trend) -> tuple[OtherSeries, ...]:
    """Return the animal's other sessions that could enter a trend, by method and condition."""
    if trend.logarithmic:
        return ()
    table = trend.context.sessions
    usable = table[table["condition"].isin(TREND_CONDITIONS) & (table["n_used"] > 0)]
    usable = usable[~usable["session"].isin(trend.series.session)]
    return tuple(
        OtherSeries(
            str(method),
            str(condition),
            len(rows),
            np.datetime64(rows["date"].min(), "D"),
            np.datetime64(rows["date"].max(), "D"),
            _usual_beside(trend, str(method), str(condition), rows),
        )
        for (method, condition), rows in usable.groupby(["method", "condition"], sort=True)
    )


def _usual_beside(trend: Trend, method: str, condition: str, rows: pd.DataFrame) -> float | None:
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
    return tuple(LeftOutAnswer(one.date, one.value, one.unit, one.bound, why) for one, why in found)


def own_findings(trend: Trend) -> tuple[Finding, ...]:
    """Return the findings of this animal: those of its rows, and of its treatments."""
    found = (*trend.records.findings.about(_lines(trend)), *trend.context.treatments.findings)
    # What the check asks of a drug, the courses ask too.
    return tuple(dict.fromkeys(found))


def _lines(trend: Trend) -> dict[str, set[int]]:
    """Return the lines of this animal's rows, by their files."""
    records, animal = trend.records, trend.series.animal
    frames = (records.readings, records.treatments, records.labs, records.observations)
    found: dict[str, set[int]] = {}
    for frame in frames:
        rows = frame[frame["animal"] == animal]
        for file, line in zip(rows["file"], rows["line"].astype(int), strict=True):
            found.setdefault(str(file), set()).add(line)
    return found
