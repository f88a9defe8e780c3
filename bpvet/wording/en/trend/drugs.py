"""Whether a drug has lowered the usual pressure, in sentences; what to do is the vet's decision."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.drugs import EffectAnswer, PlainAnswer, TreatmentAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.verdicts import Verdict
from bpvet.facts.sources import fact
from bpvet.printing import number, probability
from bpvet.wording.en.kidney.labs import lab_treatment, lab_verdict
from bpvet.wording.en.phrases import capital, counted, day, interval, listed, of_labs, one_of
from bpvet.wording.en.trend.settle import settle_words

#: Up to so many sessions before a drug, habituation and effect cannot be told apart.
_FEW_BEFORE = 2
_KEYS = {
    Verdict.HAS_LOWERED: "has_lowered",
    Verdict.FALL_UNLIKELY: "no_fall",
    Verdict.CANNOT_TELL: "cannot_tell",
    Verdict.CANNOT_BE_KNOWN: "cannot_be_known",
    None: "withheld",
}


def drugs(answer: TrendAnswer) -> Iterator[Statement]:
    """Whether each drug has lowered the usual pressure."""
    for one in answer.treatments:
        if of_labs(answer):
            text = " ".join([lab_treatment(answer, one), *_unfinished(answer, one)])
            yield _told("lab", text, answer, one)
            continue
        yield _told(_KEYS[one.verdict], treatment(answer, one), answer, one)
        if one.effect is not None:
            yield from _beside(answer, one)
    if not of_labs(answer) and any(one.effect is not None for one in answer.treatments):
        step = number(fact("project.step.sd").value, 0)
        yield Statement(
            "effect.unrecorded",
            f"A change of {step} {answer.unit} that nobody recorded (another site, cuff or room) "
            "at the time of a start would be counted as the drug.",
        )


def _told(case: str, text: str, answer: TrendAnswer, one: TreatmentAnswer) -> Statement:
    """Return what is told of a spell, with the line that stands under a figure."""
    drug = capital(one.drug)
    verdict = lab_verdict(answer, one) if of_labs(answer) else _in_short(answer, one)
    since = f"Since {day(one.started_on)}"
    if not np.isnat(one.stopped_on):
        since = f"{day(one.started_on)} to {day(one.stopped_on)}"
    what = f"no {one_of(answer)} shows it"
    if one.effect is not None:
        what = _full_effect(answer, one.effect)
    return Statement(
        f"drug.{case}",
        text,
        short=f"{since}; {what}.",
        tells=((one.drug, str(one.started_on)),),
        lead=f"{drug}: {verdict}",
    )


def _in_short(answer: TrendAnswer, one: TreatmentAnswer) -> str:
    return {
        Verdict.HAS_LOWERED: "has lowered it",
        Verdict.FALL_UNLIKELY: f"so far no fall of 10 {answer.change_unit} shows",
        Verdict.CANNOT_TELL: "cannot tell yet",
        Verdict.CANNOT_BE_KNOWN: "cannot be known yet",
        None: "see “Urgent” first",
    }[one.verdict]


def _full_effect(answer: TrendAnswer, effect: EffectAnswer) -> str:
    held = interval(answer.level, effect.lower, effect.upper)
    return f"full effect {number(effect.estimate, 0)} {answer.change_unit}, {held}"


def _beside(answer: TrendAnswer, one: TreatmentAnswer) -> Iterator[Statement]:
    """What bears on how far an effect can be believed."""
    yield from _one_high_session(answer, one)
    changes = [each for each in answer.recorded_changes if one.drug in each.not_told_apart]
    if changes:
        what = listed(list(dict.fromkeys(f"another {each.what}" for each in changes)))
        yield Statement(
            "effect.same_time",
            f"The start of {one.drug} ({day(one.started_on)}) and {what} fall together in these "
            "records: what the drug did and what that change did cannot be told apart.",
        )
    told = one.told_by_readings
    if told is not None and told < float(fact("project.told").value or 0):
        yield Statement(
            "effect.assumption",
            f"What is said of the effect of {one.drug} is mostly assumption so far: the sessions "
            f"since its start have told {probability(max(told, 0.0))} of it.",
        )
    if one.plain is not None and one.plain.told:
        yield Statement("effect.plain_means", _plain_means(answer, one, one.plain))


def _one_high_session(answer: TrendAnswer, one: TreatmentAnswer) -> Iterator[Statement]:
    """Say that one high session before a drug makes any fall look larger than it is.

    In simulated animals whose drug does nothing the model, too, tells part of that return as an
    effect (`reference_checks/trials/results.md`), whatever its priors.
    """
    high, before = fact("acvim2018.hypertensive").low, one.before_mean
    if answer.quantity != "systolic" or one.effect is None or before is None or high is None:
        return
    if one.before_sessions == 1 and before >= high and one.effect.estimate < 0:
        yield Statement(
            "effect.one_high_session",
            f"{capital(one.drug)} was begun on one high session ({number(before, 0)} "
            f"{answer.unit}): part of the fall may be the return to what is usual, which comes "
            "without a drug too. The estimate allows for that only in part.",
        )


def treatment(answer: TrendAnswer, one: TreatmentAnswer) -> str:
    """Return what is known of one spell of treatment."""
    drug, unit = capital(one.drug), answer.change_unit
    since = f"from {day(one.started_on)}"
    if not np.isnat(one.stopped_on):
        since = f"{day(one.started_on)} to {day(one.stopped_on)}"
    name = f"{drug} ({since})"
    if one.verdict == Verdict.CANNOT_BE_KNOWN or one.effect is None or one.p_lower_by_10 is None:
        return (
            f"{name}: its effect cannot be known yet from these records, because there is "
            f"{one.reason or 'too little to tell'}. Whether the pressure is under control is "
            "judged apart from it."
        )
    p = probability(one.p_lower_by_10)
    on = np.isnat(one.stopped_on)
    yet, has = (" yet", "has lowered") if on else ("", "had lowered")
    more = "".join(f" {words}" for words in _what_can_tell(answer, one))
    full = _full_effect(answer, one.effect)
    if one.verdict is None:
        verdict = f"{name}: no verdict while the urgent line stands ({full})."
    else:
        verdict = {
            Verdict.HAS_LOWERED: f"{name} {has} the usual pressure by 10 {unit} or more: {p} "
            f"likely ({full}).",
            Verdict.FALL_UNLIKELY: f"{name}: so far no fall of 10 {unit} or more shows (one is {p} "
            f"likely; {full}).",
            Verdict.CANNOT_TELL: f"{name}: cannot tell{yet} whether it {has} the usual pressure "
            f"by 10 {unit} or more ({p} likely; {full}).{more}",
        }[one.verdict]
    parts = [*_unfinished(answer, one), *_inseparable(answer, one)]
    return " ".join([verdict, *parts])


def _what_can_tell(answer: TrendAnswer, one: TreatmentAnswer) -> list[str]:
    """Say what cannot be put right, and how likely further visits settle it."""
    few = f"Few {one_of(answer)}s lie before it, and that cannot be put right now."
    return [*([few] if one.before_sessions < 2 else []), *settle_words(one.settle)]


def _unfinished(answer: TrendAnswer, one: TreatmentAnswer) -> list[str]:
    half, double = one.effect_at_half_tau, one.effect_at_double_tau
    if one.finished or not np.isnat(one.stopped_on) or half is None or double is None:
        return []
    gap = int((answer.latest.date - one.changed_on) / np.timedelta64(1, "D"))
    changed = one.changed_on > one.started_on
    first = "the change of dose" if changed else "the first dose"
    last = "the change of dose" if changed else "the start"
    needed = counted(round((fact("tau.unfinished").value or 0) * one.tau_days), "day")
    when = f"before {first}" if gap <= 0 else f"{counted(gap, 'day')} after {last}"
    return [
        f"The response is unfinished: the newest session lies {when}, and about "
        f"{needed} are needed (were the drug twice as fast the "
        f"full effect would read {number(half.estimate, 0)}, twice as slow "
        f"{number(double.estimate, 0)} {answer.change_unit})."
    ]


def _plain_means(answer: TrendAnswer, one: TreatmentAnswer, plain: PlainAnswer) -> str:
    """Return plain means beside the model's estimate, and what the gap is put down to."""
    read = "high" if plain.before_high else "low"
    few = counted(one.before_sessions, "session")
    why = {
        "first visits": "getting used to visits",
        "slope": "a rise or fall that went on apart from it",
        "recorded change": "the change of how it was measured",
        "other drug": "the other drug",
        "not at full effect": "sessions in which it was not at its full effect",
        "chance": f"chance (the {few} before it may have read {read})",
    }[plain.cause]
    return (
        f"Plain means change by {number(plain.difference, 0)} {answer.unit} with {one.drug} "
        f"({number(one.before_mean, 0)} before, {number(one.after_mean, 0)} on it), the model says "
        f"{number(plain.model, 0)}: it puts most of the gap down to {why}"
        f"{_beyond_left_out(answer)}."
    )


def _beyond_left_out(answer: TrendAnswer) -> str:
    held = sum(bool(one.bound) for one in answer.sessions)
    return f"; {counted(held, 'session')} beyond the gauge left out" if held else ""


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
