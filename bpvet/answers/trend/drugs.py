"""What treatments did, course by course and drug by drug."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.settle import SettleAnswer, drug_settle
from bpvet.answers.trend.usual import change_unit
from bpvet.answers.trend.verdicts import Settled, Verdict, settled
from bpvet.equality import Content
from bpvet.facts.analytes import analyte
from bpvet.facts.sources import fact
from bpvet.facts.words import LAB_QUANTITIES
from bpvet.frozen import dataclass
from bpvet.maths.estimate import Estimate, Number
from bpvet.maths.mixture import Mixture
from bpvet.models.trend.effects import Treatment
from bpvet.models.trend.learned import told_by_readings
from bpvet.models.trend.outlook import (
    with_scaled_tau,
)
from bpvet.models.trend.plain_means import plain_difference
from bpvet.models.trend.trend import Trend
from bpvet.reasons import Reason, reason

_LOST = {
    Settled.YES: Verdict.HAS_LOWERED,
    Settled.NO: Verdict.FALL_UNLIKELY,
    Settled.OPEN: Verdict.CANNOT_TELL,
}
_RISEN = {
    Settled.YES: Verdict.HAS_RISEN,
    Settled.NO: Verdict.RISE_UNLIKELY,
    Settled.OPEN: Verdict.CANNOT_TELL,
}


@dataclass(frozen=True, eq=False)
class EffectAnswer(Content):
    """A full effect, with the probabilities that it lowers and that it raises by 10 or more."""

    estimate: float
    lower: float
    upper: float
    p_lower_by_10: float
    p_higher_by_10: float


@dataclass(frozen=True, eq=False)
class CourseAnswer(Content):
    """One course: a base or a dose change."""

    drug: str
    kind: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    dose: str
    tau_days: float
    finished: bool
    knowable: bool
    before_sessions: int
    effect_now: Estimate | None
    effect: EffectAnswer | None
    before_mean: Number
    after_mean: Number


@dataclass(frozen=True, eq=False)
class PlainAnswer(Content):
    """Plain means on a drug less those before it, beside the model's estimate.

    `cause` is what the largest part of the gap is put down to, one of
    `bpvet.models.trend.plain_means.CAUSES`; `told` says whether both are told: they part by more
    than one posterior SD, and the verdict or its sign would be another by the plain means.
    """

    difference: float
    model: float
    cause: str
    before_high: bool
    told: bool


@dataclass(frozen=True, eq=False)
class TreatmentAnswer(Content):
    """A spell on one drug, base and dose changes summed, and the verdict.

    `verdict` is ``has lowered``, ``fall unlikely`` (so far no fall of 10 shows), ``cannot tell
    yet`` or ``cannot be known``; of what cannot be known yet there is no effect, and `reason` says
    why; of kidney values, where a rise is what matters, it is ``has risen`` or ``rise unlikely``
    in place of the first two. It is None where an urgent rule withholds it, and `withheld` is then
    that rule. The effect under half and under double tau shows how far it leans on tau.
    `told_by_readings` is the share of the effect's variance that sessions after the start removed.
    `settle` is as in `SlopeAnswer`.
    """

    drug: str
    started_on: np.datetime64
    stopped_on: np.datetime64
    changed_on: np.datetime64
    tau_days: float
    finished: bool
    knowable: bool
    effect_now: Estimate | None
    effect: EffectAnswer | None
    effect_at_half_tau: EffectAnswer | None
    effect_at_double_tau: EffectAnswer | None
    p_lower_by_10: Number
    verdict: Verdict | None
    withheld: str | None
    reason: Reason | None
    told_by_readings: Number
    settle: tuple[SettleAnswer, ...]
    before_sessions: int
    before_mean: Number
    after_mean: Number
    plain: PlainAnswer | None


def course_answers(trend: Trend, level: float) -> tuple[CourseAnswer, ...]:
    """Return the effect of each course."""
    unit = change_unit(trend)
    return tuple(
        CourseAnswer(
            drug=effect.course.drug,
            kind=effect.course.kind,
            started_on=effect.course.started_on,
            stopped_on=effect.course.stopped_on,
            dose=effect.course.dose,
            tau_days=effect.course.tau_days,
            finished=effect.finished,
            knowable=effect.knowable,
            before_sessions=effect.before_sessions,
            effect_now=Estimate.of(effect.effect_now, level, unit) if effect.knowable else None,
            effect=_effect(effect.effect, level) if effect.knowable else None,
            before_mean=_plain_mean(trend, effect.before_mean),
            after_mean=_plain_mean(trend, effect.after_mean),
        )
        for effect in trend.courses
    )


def treatment_answers(
    trend: Trend, level: float, withheld: str | None = None
) -> tuple[TreatmentAnswer, ...]:
    """Return the effect of each treatment: its base and increments together.

    Parameters
    ----------
    trend : Trend
    level : float
        Probability that intervals hold.
    withheld : str, optional
        The urgent rule that withholds verdicts.
    """
    if not trend.treatments:
        return ()
    half, double = with_scaled_tau(trend, 0.5).treatments, with_scaled_tau(trend, 2.0).treatments
    by_readings = told_by_readings(trend)
    return tuple(
        _treatment(trend, *each, level, withheld)
        for each in zip(trend.treatments, double, half, by_readings, strict=True)
    )


def _treatment(
    trend: Trend,
    treatment: Treatment,
    slow: Treatment,
    fast: Treatment,
    by_readings: float,
    level: float,
    withheld: str | None,
) -> TreatmentAnswer:
    effect = _effect(treatment.effect, level)
    known = treatment.knowable
    verdict: Verdict | None = _verdict(trend, effect)
    if not known:
        verdict = Verdict.CANNOT_BE_KNOWN
    elif withheld is not None:
        verdict = None
    return TreatmentAnswer(
        drug=treatment.drug,
        started_on=treatment.started_on,
        stopped_on=treatment.stopped_on,
        changed_on=treatment.changed_on,
        tau_days=treatment.tau_days,
        finished=treatment.finished,
        knowable=treatment.knowable,
        effect_now=Estimate.of(treatment.effect_now, level, change_unit(trend)) if known else None,
        effect=effect if known else None,
        effect_at_half_tau=_effect(fast.effect, level) if known else None,
        effect_at_double_tau=_effect(slow.effect, level) if known else None,
        p_lower_by_10=effect.p_lower_by_10 if known else None,
        verdict=verdict,
        withheld=withheld if known else None,
        reason=reason(f"effect.{treatment.unknowable}") if treatment.unknowable else None,
        told_by_readings=by_readings if known else None,
        settle=drug_settle(trend, treatment) if verdict is Verdict.CANNOT_TELL else (),
        before_sessions=int(np.sum(trend.series.date <= treatment.started_on)),
        before_mean=_plain_mean(trend, treatment.before_mean),
        after_mean=_plain_mean(trend, treatment.after_mean),
        plain=_plain(trend, treatment, verdict) if known and not trend.logarithmic else None,
    )


def _verdict(trend: Trend, effect: EffectAnswer) -> Verdict:
    """Return what the effect's probabilities say; of kidney values a rise is what matters."""
    if trend.series.quantity in LAB_QUANTITIES:
        if analyte(trend.series.quantity).worse == "fall":
            return _LOST[settled(effect.p_lower_by_10)]
        return _RISEN[settled(effect.p_higher_by_10)]
    return _of_fall(effect.p_lower_by_10)


def _of_fall(p: float) -> Verdict:
    """Return the verdict on a fall of 10 of this probability, under a pressure drug."""
    if p >= float(fact("project.verdict.sure").value or 1):
        return Verdict.HAS_LOWERED
    none = p <= float(fact("project.verdict.no_fall").value or 0)
    return Verdict.FALL_UNLIKELY if none else Verdict.CANNOT_TELL


def _plain(trend: Trend, treatment: Treatment, verdict: Verdict | None) -> PlainAnswer | None:
    """Return the plain difference beside the model's, and whether both must be told.

    The verdict by the plain means is that of their difference with the model's SD about it.
    """
    from bpvet.maths.special import ndtr

    found = plain_difference(trend, treatment)
    if found is None:
        return None
    fall = float(fact("project.verdict.fall").value or 0)
    by_plain = _of_fall(float(ndtr((-fall - found.plain) / found.sd)))
    changes = by_plain != verdict or found.plain * found.model < 0
    reported = verdict is not None and found.apart and changes
    return PlainAnswer(found.plain, found.model, found.cause, found.before_high, reported)


def _effect(mixture: Mixture, level: float) -> EffectAnswer:
    kind = "_labs" if mixture.scale == "log" else ""
    fall = float(fact(f"project.verdict.fall{kind}").value or 0)
    lower, higher = float(mixture.below(-fall)), float(mixture.above(fall))
    return EffectAnswer(*Estimate.of(mixture, level).known, lower, higher)


def _plain_mean(trend: Trend, mean: float | None) -> float | None:
    """Return a plain mean in the unit; of logarithms that is the geometric mean."""
    return float(np.exp(mean)) if trend.logarithmic and mean is not None else mean
