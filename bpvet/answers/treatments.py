"""What treatments did, course by course and drug by drug."""

from __future__ import annotations

import numpy as np

from bpvet.answers.control import settled
from bpvet.answers.parts import CourseAnswer, EffectAnswer, Estimate, TreatmentAnswer
from bpvet.facts.sources import fact
from bpvet.maths.mixture import Mixture
from bpvet.models.effects import Treatment
from bpvet.models.outlook import with_scaled_tau
from bpvet.models.trend import Trend


def course_answers(trend: Trend, level: float) -> tuple[CourseAnswer, ...]:
    """Return the effect of each course."""
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


def treatment_answers(trend: Trend, level: float) -> tuple[TreatmentAnswer, ...]:
    """Return the effect of each treatment: its base and increments together."""
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
    verdict = settled(effect.p_lower_by_10, "has lowered", "fall unlikely")
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


def _effect(mixture: Mixture, level: float) -> EffectAnswer:
    # Ten of the unit, and ten per cent: the two facts hold one number.
    fall = float(fact("project.verdict.fall").value or 0)
    held = Estimate.of(mixture, level)
    return EffectAnswer(held.estimate, held.lower, held.upper, float(mixture.below(-fall)))
