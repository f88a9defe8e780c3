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
    for spell in answer.treatments:
        if of_labs(answer):
            text = " ".join([lab_treatment(answer, spell), *_unfinished(answer, spell)])
            yield _spell_statement("lab", text, answer, spell)
            continue
        yield _spell_statement(_KEYS[spell.verdict], treatment(answer, spell), answer, spell)
        if spell.effect is not None:
            yield from _beside(answer, spell)
    if not of_labs(answer) and any(spell.effect is not None for spell in answer.treatments):
        step = number(fact("project.step.sd").value, 0)
        yield Statement(
            "effect.unrecorded",
            f"A change of {step} {answer.unit} that nobody recorded (another site, cuff or room) "
            "at the time of a start would be counted as the drug.",
        )


def _spell_statement(
    case: str, text: str, answer: TrendAnswer, spell: TreatmentAnswer
) -> Statement:
    """Return what is told of a spell, with the line that stands under a figure."""
    drug = capital(spell.drug)
    verdict = lab_verdict(answer, spell) if of_labs(answer) else _in_short(answer, spell)
    since = f"Since {day(spell.started_on)}"
    if not np.isnat(spell.stopped_on):
        since = f"{day(spell.started_on)} to {day(spell.stopped_on)}"
    what = f"no {one_of(answer)} shows it"
    if spell.effect is not None:
        what = _full_effect(answer, spell.effect)
    return Statement(
        f"drug.{case}",
        text,
        short=f"{since}; {what}.",
        tells=((spell.drug, str(spell.started_on)),),
        lead=f"{drug}: {verdict}",
    )


def _in_short(answer: TrendAnswer, spell: TreatmentAnswer) -> str:
    return {
        Verdict.HAS_LOWERED: "has lowered it",
        Verdict.FALL_UNLIKELY: f"so far no fall of 10 {answer.change_unit} shows",
        Verdict.CANNOT_TELL: "cannot tell yet",
        Verdict.CANNOT_BE_KNOWN: "cannot be known yet",
        None: "see “Urgent” first",
    }[spell.verdict]


def _full_effect(answer: TrendAnswer, effect: EffectAnswer) -> str:
    ends = interval(answer.level, effect.lower, effect.upper)
    return f"full effect {number(effect.estimate, 0)} {answer.change_unit}, {ends}"


def _beside(answer: TrendAnswer, spell: TreatmentAnswer) -> Iterator[Statement]:
    """What bears on how far an effect can be believed."""
    yield from _one_high_session(answer, spell)
    changes = [each for each in answer.recorded_changes if spell.drug in each.not_told_apart]
    if changes:
        what = listed(list(dict.fromkeys(f"another {each.what}" for each in changes)))
        yield Statement(
            "effect.same_time",
            f"The start of {spell.drug} ({day(spell.started_on)}) and {what} fall together in "
            "these records: what the drug did and what that change did cannot be told apart.",
        )
    share = spell.told_by_readings
    if share is not None and share < float(fact("project.told").value or 0):
        yield Statement(
            "effect.assumption",
            f"What is said of the effect of {spell.drug} is mostly assumption so far: the sessions "
            f"since its start have told {probability(max(share, 0.0))} of it.",
        )
    if spell.plain is not None and spell.plain.told:
        yield Statement("effect.plain_means", _plain_means(answer, spell, spell.plain))


def _one_high_session(answer: TrendAnswer, spell: TreatmentAnswer) -> Iterator[Statement]:
    """Say that one high session before a drug makes any fall look larger than it is.

    In simulated animals whose drug does nothing the model, too, tells part of that return as an
    effect (`reference_checks/trials/results.md`), whatever its priors.
    """
    high, before = fact("acvim2018.hypertensive").low, spell.before_mean
    if answer.quantity != "systolic" or spell.effect is None or before is None or high is None:
        return
    if spell.before_sessions == 1 and before >= high and spell.effect.estimate < 0:
        yield Statement(
            "effect.one_high_session",
            f"{capital(spell.drug)} was begun on one high session ({number(before, 0)} "
            f"{answer.unit}): part of the fall may be the return to what is usual, which comes "
            "without a drug too. The estimate allows for that only in part.",
        )


def treatment(answer: TrendAnswer, spell: TreatmentAnswer) -> str:
    """Return what is known of one spell of treatment."""
    drug, unit = capital(spell.drug), answer.change_unit
    since = f"from {day(spell.started_on)}"
    if not np.isnat(spell.stopped_on):
        since = f"{day(spell.started_on)} to {day(spell.stopped_on)}"
    name = f"{drug} ({since})"
    if (
        spell.verdict == Verdict.CANNOT_BE_KNOWN
        or spell.effect is None
        or spell.p_lower_by_10 is None
    ):
        return (
            f"{name}: its effect cannot be known yet from these records, because there is "
            f"{spell.reason or 'too little to tell'}. Whether the pressure is under control is "
            "judged apart from it."
        )
    p = probability(spell.p_lower_by_10)
    on = np.isnat(spell.stopped_on)
    yet, has = (" yet", "has lowered") if on else ("", "had lowered")
    more = "".join(f" {words}" for words in _what_can_tell(answer, spell))
    full = _full_effect(answer, spell.effect)
    if spell.verdict is None:
        verdict = f"{name}: no verdict while the urgent line stands ({full})."
    else:
        verdict = {
            Verdict.HAS_LOWERED: f"{name} {has} the usual pressure by 10 {unit} or more: {p} "
            f"likely ({full}).",
            Verdict.FALL_UNLIKELY: f"{name}: so far no fall of 10 {unit} or more shows (one is {p} "
            f"likely; {full}).",
            Verdict.CANNOT_TELL: f"{name}: cannot tell{yet} whether it {has} the usual pressure "
            f"by 10 {unit} or more ({p} likely; {full}).{more}",
        }[spell.verdict]
    parts = [*_unfinished(answer, spell), *_inseparable(answer, spell)]
    return " ".join([verdict, *parts])


def _what_can_tell(answer: TrendAnswer, spell: TreatmentAnswer) -> list[str]:
    """Say what cannot be put right, and how likely further visits settle it."""
    few = f"Few {one_of(answer)}s lie before it, and that cannot be put right now."
    return [*([few] if spell.before_sessions < 2 else []), *settle_words(spell.settle)]


def _unfinished(answer: TrendAnswer, spell: TreatmentAnswer) -> list[str]:
    half, double = spell.effect_at_half_tau, spell.effect_at_double_tau
    if spell.finished or not np.isnat(spell.stopped_on) or half is None or double is None:
        return []
    gap = int((answer.latest.date - spell.changed_on) / np.timedelta64(1, "D"))
    changed = spell.changed_on > spell.started_on
    first = "the change of dose" if changed else "the first dose"
    last = "the change of dose" if changed else "the start"
    needed = counted(round((fact("tau.unfinished").value or 0) * spell.tau_days), "day")
    when = f"before {first}" if gap <= 0 else f"{counted(gap, 'day')} after {last}"
    return [
        f"The response is unfinished: the newest session lies {when}, and about "
        f"{needed} are needed (were the drug twice as fast the "
        f"full effect would read {number(half.estimate, 0)}, twice as slow "
        f"{number(double.estimate, 0)} {answer.change_unit})."
    ]


def _plain_means(answer: TrendAnswer, spell: TreatmentAnswer, plain: PlainAnswer) -> str:
    """Return plain means beside the model's estimate, and what the gap is put down to."""
    read = "high" if plain.before_high else "low"
    few = counted(spell.before_sessions, "session")
    why = {
        "first visits": "getting used to visits",
        "slope": "a rise or fall that went on apart from it",
        "recorded change": "the change of how it was measured",
        "other drug": "the other drug",
        "not at full effect": "sessions in which it was not at its full effect",
        "chance": f"chance (the {few} before it may have read {read})",
    }[plain.cause]
    return (
        f"Plain means change by {number(plain.difference, 0)} {answer.unit} with {spell.drug} "
        f"({number(spell.before_mean, 0)} before, {number(spell.after_mean, 0)} on it), the model "
        f"says {number(plain.model, 0)}: it puts most of the gap down to {why}"
        f"{_beyond_left_out(answer)}."
    )


def _beyond_left_out(answer: TrendAnswer) -> str:
    count = sum(bool(session.bound) for session in answer.sessions)
    return f"; {counted(count, 'session')} beyond the gauge left out" if count else ""


def _inseparable(answer: TrendAnswer, spell: TreatmentAnswer) -> list[str]:
    """Say what a record cannot separate that goes from first visits straight to treatment."""
    if answer.first_visit is None or spell.before_sessions > _FEW_BEFORE:
        return []
    before = counted(spell.before_sessions, "session")
    lie = {0: "No session lies", 1: f"Only {before} lies"}.get(
        spell.before_sessions, f"Only {before} lie"
    )
    return [
        f"{lie} before it: a fall from getting "
        "used to visits and a fall from the drug look alike there. The estimate allows for both "
        "but cannot separate them."
    ]
