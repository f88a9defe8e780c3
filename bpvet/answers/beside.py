"""What stands beside a trend's answer: other ways of counting, other series, priors, findings."""

from __future__ import annotations

import numpy as np

from bpvet.answers.parts import (
    ApartAnswer,
    CompanionAnswer,
    Estimate,
    NoiseAnswer,
    OtherSeries,
    PriorsAnswer,
)
from bpvet.facts.sources import fact
from bpvet.facts.words import TREND_CONDITIONS
from bpvet.models.fit import fit_trend
from bpvet.models.outlook import with_medians, without_tense
from bpvet.models.trend import Trend
from bpvet.records.findings import Finding


def companion_answer(trend: Trend) -> CompanionAnswer:
    """Return the latest usual value by other ways of counting, and which of them move it."""
    moves = float(fact("project.verdict.moves").value or 0)
    now = float(trend.latest.mean)
    medians = float(with_medians(trend).latest.mean)
    calm = without_tense(trend)
    without = None if calm is None else float(calm.at(trend.latest_date).mean)
    shown = []
    if abs(medians - now) > moves:
        shown.append("medians")
    if without is not None and abs(without - now) > moves:
        shown.append("tense")
    return CompanionAnswer(medians, without, int(trend.series.tense.sum()), tuple(shown))


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
        tau_days=taus,
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
        own = fit_trend(
            trend.records,
            series.animal,
            method,
            series.quantity,
            rule=trend.context.rule,
            condition=condition,
            priors=trend.context.given,
            fixed=trend.context.fixed,
        )
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
        )
        for (method, condition), rows in usable.groupby(["method", "condition"], sort=True)
    )


def own_findings(trend: Trend) -> tuple[Finding, ...]:
    """Return the findings of this animal: those of its rows, and of its treatments."""
    return (*trend.records.findings.about(_lines(trend)), *trend.context.treatments.findings)


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
