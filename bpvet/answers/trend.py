"""Every answer of a trend as plain frozen numbers: what ``bpvet trend --json`` prints."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from bpvet import __version__
from bpvet.answers.assumptions import assumptions, cautions
from bpvet.answers.parts import (
    ApartAnswer,
    CategoryAnswer,
    CompanionAnswer,
    CourseAnswer,
    EffectAnswer,
    Estimate,
    LatestAnswer,
    NextSessionAnswer,
    NoiseAnswer,
    OtherSeries,
    PriorsAnswer,
    RecheckAnswer,
    SessionAnswer,
    ShareAnswer,
    SlopeAnswer,
    SurpriseAnswer,
    TargetAnswer,
    TreatmentAnswer,
    TrendAnswer,
    UrgentAnswer,
)
from bpvet.answers.sentences import sentences
from bpvet.answers.urgent_words import urgent_sentence
from bpvet.errors import CallError
from bpvet.facts.categories import Guideline, guideline
from bpvet.facts.protocol import ENOUGH_READINGS
from bpvet.facts.sources import fact
from bpvet.facts.words import LAB_METHOD, TREND_CONDITIONS
from bpvet.maths.mixture import Mixture
from bpvet.models.columns import SLOPE_DAYS
from bpvet.models.effects import Treatment
from bpvet.models.fit import fit_trend
from bpvet.models.outlook import (
    category_withheld,
    share_at_target,
    surprise,
    target_for,
    treated,
    with_medians,
    with_scaled_tau,
    without_tense,
)
from bpvet.models.planning import sd_after
from bpvet.models.recheck import recheck
from bpvet.models.trend import Trend
from bpvet.models.variability import variability
from bpvet.records.findings import Finding
from bpvet.visits.urgency import LatestDate, latest_date, urgent

SYSTOLIC_ONLY = "judged on systolic pressure only"
#: Further weekly visits that are tried when asking whether more visits could settle an answer.
_MOST_VISITS = 8


def trend_answer(trend: Trend, guideline: str = "acvim2018", level: float = 0.95) -> TrendAnswer:
    """Return every answer of a trend.

    Parameters
    ----------
    trend : Trend
    guideline : str
        Key of the guideline that names categories, target, floor and intervals.
    level : float
        Probability that intervals hold.

    Raises
    ------
    CallError
        For an unknown guideline, one that does not speak of the species, or a level outside
        0 to 1.
    """
    if not 0 < level < 1:
        raise CallError(f"an interval needs a level between 0 and 1, not {level}.")
    chosen = _guideline(guideline, trend.series.species)
    series, records = trend.series, trend.records
    animal = records.animals.set_index("animal").loc[series.animal]
    systolic = series.quantity == "systolic"
    day = latest_date(
        records, series.animal, trend.context.sessions, trend.context.treatments.courses
    )
    control = _target(trend, chosen) if systolic else _no_target(chosen)
    again = _recheck(trend, day, chosen) if systolic else _no_recheck(chosen, SYSTOLIC_ONLY)
    answer = TrendAnswer(
        animal=series.animal,
        name=str(animal["name"]),
        species=series.species,
        breed=str(animal["breed"]),
        method=series.method,
        condition=series.condition,
        quantity=series.quantity,
        unit=series.unit,
        bridged=trend.bridged,
        bridges={name: Estimate.of(held, level) for name, held in trend.offsets.items()},
        apart=_apart(trend, level),
        as_of=trend.as_of,
        level=level,
        rule=trend.context.rule,
        guideline=chosen.key,
        guideline_name=chosen.name,
        treated=treated(trend),
        sessions=_sessions(trend),
        latest=_latest(trend, level),
        urgent=_urgent(day, chosen) if systolic else None,
        urgent_reason=None if systolic else SYSTOLIC_ONLY,
        category=_category(trend, chosen),
        target=control,
        slope=_slope(trend, level),
        courses=_courses(trend, level),
        treatments=_treatments(trend, level),
        surprise=_surprise(trend, level),
        next_session=_next_session(trend, again, level),
        share_at_target=_share(trend, control),
        variability=variability(
            series.date,
            trend.observed,
            None if trend.logarithmic else series.k,
            level=level,
            unit=series.unit,
        ),
        companions=_companions(trend),
        recheck=again,
        first_visit=None if trend.first_visit is None else Estimate.of(trend.first_visit, level),
        noise=_noise(trend),
        priors=_priors(trend),
        assumptions=(),
        sentences=(),
        cautions=(),
        other_series=_other_series(trend),
        findings=_findings(trend),
        version=__version__,
        data_digest=records.digest,
    )
    answer = replace(answer, assumptions=assumptions(answer), cautions=cautions(answer))
    return replace(answer, sentences=sentences(answer))


def _guideline(key: str, species: str) -> Guideline:
    return guideline(key, species or None)


def _number(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def _sessions(trend: Trend) -> tuple[SessionAnswer, ...]:
    """Return the sessions of the series, in order."""
    if trend.logarithmic:
        return tuple(
            SessionAnswer(date, LAB_METHOD, "", "", 1, 1, float(value), None, "", ())
            for date, value in zip(trend.series.date, trend.observed, strict=True)
        )
    quantity, table = trend.series.quantity, trend.context.sessions
    rows = table.set_index("session").loc[trend.series.session]
    return tuple(session_answer(row, quantity) for _, row in rows.iterrows())


def session_answer(row: pd.Series[Any], quantity: str) -> SessionAnswer:
    """Return one row of `bpvet.sessions` as an answer for one quantity."""
    flags = tuple(flag for flag in str(row["flags"]).split("; ") if flag)
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
        flags=flags,
    )


def _latest(trend: Trend, level: float) -> LatestAnswer:
    usual = Estimate.of(trend.latest, level)
    return LatestAnswer(trend.latest_date, usual.estimate, usual.lower, usual.upper, usual.sd)


def _urgent(day: LatestDate | None, chosen: Guideline) -> tuple[UrgentAnswer, ...]:
    found = urgent(day, chosen) if day is not None else ()
    return tuple(
        UrgentAnswer(
            urgent_sentence(one, chosen), one.rule, one.kind, one.date, one.value, one.signs
        )
        for one in found
    )


def _category(trend: Trend, chosen: Guideline) -> CategoryAnswer:
    source = guideline(chosen.categories_from)
    remembered = any(fact(one.fact_id).remembered for one in source.categories)
    withheld = SYSTOLIC_ONLY if trend.series.quantity != "systolic" else category_withheld(trend)
    if withheld is not None:
        return CategoryAnswer(source.key, source.name, None, withheld, remembered)
    ends = [float(trend.latest.below(one.high)) for one in source.categories[:-1]]
    shares = np.diff([0.0, *ends, 1.0])
    names = (one.name for one in source.categories)
    found = dict(zip(names, (float(share) for share in shares), strict=True))
    return CategoryAnswer(source.key, source.name, found, None, remembered)


def _target(trend: Trend, chosen: Guideline) -> TargetAnswer:
    value, kind = target_for(trend, chosen)
    p = float(trend.latest.below(value))
    verdict = _settled(p, "at or below", "above")
    stated = chosen.target if kind == "guideline" else chosen.raised
    return TargetAnswer(
        guideline=chosen.key,
        kind=kind,
        value=value,
        p_at_or_below=p,
        floor=chosen.floor.value,
        p_below_floor=float(trend.latest.below(chosen.floor.value)),
        verdict=verdict,
        visits_to_settle=0 if verdict != "not settled" else _visits_to_settle(trend, value),
        remembered=kind != "own" and stated.fact.remembered,
        reason=None,
    )


def _no_target(chosen: Guideline) -> TargetAnswer:
    return TargetAnswer(chosen.key, None, None, None, None, None, None, None, False, SYSTOLIC_ONLY)


def _settled(p: float, yes: str, no: str) -> str:
    if p >= float(fact("project.verdict.sure").value or 1):
        return yes
    return no if p <= float(fact("project.verdict.unlikely").value or 0) else "not settled"


def _visits_to_settle(trend: Trend, value: float) -> int | None:
    """Return the fewest weekly visits after which the answer would be settled as it stands."""
    from scipy.special import ndtr

    distance = abs(float(trend.latest.mean) - value)
    sure = float(fact("project.verdict.sure").value or 1)
    for visits in range(1, _MOST_VISITS + 1):
        if ndtr(distance / sd_after(trend, visits, ENOUGH_READINGS)) >= sure:
            return visits
    return None


def _slope(trend: Trend, level: float) -> SlopeAnswer:
    slope = trend.slope
    span = int((trend.series.date[-1] - trend.series.date[0]) / np.timedelta64(1, "D"))
    months = span / SLOPE_DAYS
    sds = np.maximum(slope.sds * months, 1e-12)
    over = Mixture(slope.weights, slope.means * months, sds, slope.scale)
    rise = float(fact(f"project.verdict.rise{_kind(trend)}").value or 0)
    p_rising_by_1 = float(slope.above(rise))
    each = Estimate.of(slope, level)
    return SlopeAnswer(
        per_30_days=each.estimate,
        lower=each.lower,
        upper=each.upper,
        p_rising=float(slope.above(0.0)),
        p_rising_by_1=p_rising_by_1,
        rise_over_record=Estimate.of(over, level),
        span_days=span,
        verdict=_settled(p_rising_by_1, "rising", "rise unlikely").replace(
            "not settled", "cannot tell yet"
        ),
    )


def _kind(trend: Trend) -> str:
    """Return the ending of the facts that hold for laboratory values in place of pressures."""
    return "_labs" if trend.logarithmic else ""


def _effect(mixture: Mixture, level: float) -> EffectAnswer:
    # Ten of the unit, and ten per cent: the two facts hold one number.
    fall = float(fact("project.verdict.fall").value or 0)
    held = Estimate.of(mixture, level)
    return EffectAnswer(held.estimate, held.lower, held.upper, float(mixture.below(-fall)))


def _courses(trend: Trend, level: float) -> tuple[CourseAnswer, ...]:
    return tuple(
        CourseAnswer(
            drug=one.course.drug,
            kind=one.course.kind,
            started_on=one.course.started_on,
            stopped_on=one.course.stopped_on,
            dose=one.course.dose,
            tau_days=one.course.tau_days,
            finished=one.finished,
            knowable=one.knowable,
            before_sessions=one.before_sessions,
            effect_now=Estimate.of(one.effect_now, level),
            effect=_effect(one.effect, level),
            before_mean=one.before_mean,
            after_mean=one.after_mean,
        )
        for one in trend.courses
    )


def _treatments(trend: Trend, level: float) -> tuple[TreatmentAnswer, ...]:
    if not trend.treatments:
        return ()
    half, double = with_scaled_tau(trend, 0.5).treatments, with_scaled_tau(trend, 2.0).treatments
    return tuple(
        _treatment(trend, one, slow, fast, level)
        for one, fast, slow in zip(trend.treatments, half, double, strict=True)
    )


def _treatment(
    trend: Trend, one: Treatment, slow: Treatment, fast: Treatment, level: float
) -> TreatmentAnswer:
    effect = _effect(one.effect, level)
    verdict = _settled(effect.p_lower_by_10, "has lowered", "fall unlikely")
    verdict = verdict.replace("not settled", "cannot tell yet")
    return TreatmentAnswer(
        drug=one.drug,
        started_on=one.started_on,
        stopped_on=one.stopped_on,
        changed_on=one.changed_on,
        tau_days=one.tau_days,
        finished=one.finished,
        knowable=one.knowable,
        effect_now=Estimate.of(one.effect_now, level),
        effect=effect,
        effect_at_half_tau=_effect(fast.effect, level),
        effect_at_double_tau=_effect(slow.effect, level),
        p_lower_by_10=effect.p_lower_by_10,
        verdict=verdict if one.knowable else "cannot be known",
        before_sessions=int(np.sum(trend.series.date <= one.started_on)),
        before_mean=one.before_mean,
        after_mean=one.after_mean,
    )


def _surprise(trend: Trend, level: float) -> SurpriseAnswer:
    found = surprise(trend)
    date, observed = trend.latest_date, float(trend.observed[-1])
    if found is None:
        reason = "there is no earlier session to compare with"
        return SurpriseAnswer(date, observed, None, None, None, None, None, reason)
    held = Estimate.of(found.expected, level)
    if found.tail <= float(fact("project.verdict.very_unusual").value or 0):
        words = "very unusual"
    elif found.tail <= float(fact("project.verdict.unusual").value or 0):
        words = "unusual"
    else:
        words = "as expected"
    return SurpriseAnswer(
        date, observed, held.estimate, held.lower, held.upper, found.tail, words, None
    )


def _next_session(trend: Trend, again: RecheckAnswer, level: float) -> NextSessionAnswer:
    """Return what to expect at the next visit; four weeks on where no date is set."""
    date = trend.latest_date + np.timedelta64(28, "D") if again.by is None else again.by
    date = max(date, trend.as_of)
    expected = Estimate.of(trend.next_session(date, readings=ENOUGH_READINGS), level)
    return NextSessionAnswer(
        date,
        trend.series.method,
        ENOUGH_READINGS,
        expected.estimate,
        expected.lower,
        expected.upper,
    )


def _share(trend: Trend, control: TargetAnswer) -> ShareAnswer:
    if control.value is None:
        return ShareAnswer(None, None, None, 0, SYSTOLIC_ONLY)
    share = share_at_target(trend, control.value)
    reason = None if share.interpolated is not None else "all sessions are of one date"
    return ShareAnswer(control.value, share.expected, share.interpolated, share.days, reason)


def _recheck(trend: Trend, day: LatestDate | None, chosen: Guideline) -> RecheckAnswer:
    left = trend.records.animals.set_index("animal").loc[trend.series.animal]
    if pd.notna(left["left_on"]) and np.datetime64(left["left_on"], "D") <= trend.as_of:
        why = f" ({left['left_reason']})" if left["left_reason"] else ""
        return _no_recheck(chosen, f"the animal left the practice{why}")
    if day is None:
        return _no_recheck(chosen, "no session was taken awake")
    found = recheck(trend, day, chosen)
    return RecheckAnswer(
        guideline=chosen.key,
        state=found.state,
        counted_from=found.counted_from,
        guideline_by=found.guideline_by,
        model=None if np.isnat(found.model_by) else found.model_by,
        model_reason=found.model_reason or None,
        by=found.by,
        overdue_days=found.overdue_days,
        remembered=chosen.recheck[found.state].fact.remembered,
        reason=None,
    )


def _no_recheck(chosen: Guideline, reason: str) -> RecheckAnswer:
    return RecheckAnswer(chosen.key, None, None, None, None, None, None, 0, False, reason)


def _companions(trend: Trend) -> CompanionAnswer:
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


def _noise(trend: Trend) -> NoiseAnswer:
    weight, noise = trend.posterior.weight, trend.posterior.noise
    means = [np.sqrt(part) @ weight for part in (noise.visit[0, 0], noise.reading[0, 0])]
    return NoiseAnswer(float(means[0]), float(means[1]), float(np.sqrt(noise.wander[0]) @ weight))


def _priors(trend: Trend) -> PriorsAnswer:
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


def _apart(trend: Trend, level: float) -> tuple[ApartAnswer, ...]:
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


def _other_series(trend: Trend) -> tuple[OtherSeries, ...]:
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


def _findings(trend: Trend) -> tuple[Finding, ...]:
    """Return the findings of this animal: those of its rows, and of its treatments."""
    lines = _lines(trend)
    own = [
        one for one in trend.records.findings if (one.file, one.line) in lines or one.line is None
    ]
    return (*own, *trend.context.treatments.findings)


def _lines(trend: Trend) -> set[tuple[str, int]]:
    records, animal = trend.records, trend.series.animal
    frames = (records.readings, records.treatments, records.labs, records.observations)
    found: set[tuple[str, int]] = set()
    for frame in frames:
        rows = frame[frame["animal"] == animal]
        found |= set(zip(rows["file"], rows["line"].astype(int), strict=True))
    return found
