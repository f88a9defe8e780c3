"""Whether a drug has lowered the usual pressure, in sentences; never a reason to stop one."""

from __future__ import annotations

import numpy as np

from bpvet.answers.parts import TreatmentAnswer, TrendAnswer
from bpvet.answers.phrases import capital, counted, day, interval, of_labs, one_of
from bpvet.facts.words import QUANTITY_WORDS
from bpvet.printing import number, probability

NOT_A_REASON = "This is not a reason to stop it"
#: Up to so many sessions before a drug, habituation and effect cannot be told apart.
_FEW_BEFORE = 2


def drugs(answer: TrendAnswer) -> str:
    """Whether each drug has lowered the usual pressure."""
    return " ".join(treatment(answer, one) for one in answer.treatments)


def treatment(answer: TrendAnswer, one: TreatmentAnswer) -> str:
    """Return what is known of one spell of treatment."""
    drug, unit = capital(one.drug), answer.change_unit
    what = QUANTITY_WORDS[answer.quantity] if of_labs(answer) else "pressure"
    since = f"from {day(one.started_on)}"
    if not np.isnat(one.stopped_on):
        since = f"{day(one.started_on)} to {day(one.stopped_on)}"
    name = f"{drug} ({since})"
    if one.verdict == "cannot be known":
        return (
            f"{name}: its effect cannot be known from these records, because no {one_of(answer)} "
            f"was taken before it started, nor long enough after it stopped. {NOT_A_REASON}; "
            "whether the pressure is under control is judged apart from it."
        )
    held = interval(answer.level, one.effect.lower, one.effect.upper)
    p = probability(one.p_lower_by_10)
    on = np.isnat(one.stopped_on)
    yet, has = (" yet", "has lowered") if on else ("", "had lowered")
    stay = f" {NOT_A_REASON}." if on else ""
    would = f" {_what_would_tell(answer, one)}" if on else ""
    full = f"full effect {number(one.effect.estimate, 0)} {unit}, {held}"
    verdict = {
        "has lowered": f"{name} has lowered the usual {what} by 10 {unit} or more "
        f"(probability {p}; {full}).",
        "fall unlikely": f"{name}: a fall of 10 {unit} or more is unlikely (probability {p}; "
        f"{full}).{stay}",
        "cannot tell yet": f"{name}: cannot tell{yet} whether it {has} the usual {what} "
        f"by 10 {unit} or more (probability {p}; {full}).{would}{stay}",
    }[one.verdict]
    parts = [*_unfinished(answer, one), *_plain_means(answer, one), *_inseparable(answer, one)]
    return " ".join([verdict, *parts])


def _what_would_tell(answer: TrendAnswer, one: TreatmentAnswer) -> str:
    if one.before_sessions < 2:
        return f"Few {one_of(answer)}s lie before it, and those cannot be made up for."
    return f"More {one_of(answer)}s at the same dose would tell."


def _unfinished(answer: TrendAnswer, one: TreatmentAnswer) -> list[str]:
    if one.finished or not np.isnat(one.stopped_on):
        return []
    gap = int((answer.latest.date - one.changed_on) / np.timedelta64(1, "D"))
    half, double = one.effect_at_half_tau.estimate, one.effect_at_double_tau.estimate
    when = "before the first dose" if gap <= 0 else f"{counted(gap, 'day')} after the last change"
    return [
        f"The response is unfinished: the newest session lies {when}, and about "
        f"{counted(round(3 * one.tau_days), 'day')} are needed (were the drug twice as fast the "
        f"full effect would read {number(half, 0)}, twice as slow {number(double, 0)} "
        f"{answer.change_unit})."
    ]


def _plain_means(answer: TrendAnswer, one: TreatmentAnswer) -> list[str]:
    if one.before_mean is None or one.after_mean is None or of_labs(answer):
        return []
    return [
        f"Plain means: {number(one.before_mean, 0)} before, {number(one.after_mean, 0)} "
        f"{answer.unit} on it; not corrected for starting on a high day or for getting used to "
        "visits."
    ]


def _inseparable(answer: TrendAnswer, one: TreatmentAnswer) -> list[str]:
    """Say what a record cannot separate that goes from first visits straight to treatment."""
    if answer.first_visit is None or one.before_sessions > _FEW_BEFORE:
        return []
    before = counted(one.before_sessions, "session")
    lie = {0: "No session lies", 1: f"Only {before} lies"}.get(
        one.before_sessions, f"Only {before} lie"
    )
    return [
        f"{lie} before it: a fall from getting "
        "used to visits and a fall from the drug look alike there. The estimate allows for both "
        "but cannot separate them."
    ]
