"""What a trend assumes, and the cautions that apply to this animal."""

from __future__ import annotations

import math

from bpvet.answers.trend.priors import PriorGroupAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.usual import SessionAnswer
from bpvet.facts.breeds import sighthound
from bpvet.facts.cautions import cautions_for
from bpvet.facts.protocol import DROP_FIRST_FROM
from bpvet.facts.species import species_of
from bpvet.facts.words import CONDITION_WORDS, LAB_QUANTITIES, METHOD_WORDS
from bpvet.printing import number, probability
from bpvet.wording.en.phrases import CONTEXTS, capital, counted, listed

_RAISED = 160.0
_FEW = 3


def assumptions(answer: TrendAnswer) -> tuple[str, ...]:
    """Return what the trend assumes, a sentence each."""
    if answer.quantity in LAB_QUANTITIES:
        return _of_labs(answer)
    priors, unit = answer.priors, answer.unit
    rule = {
        "guideline": "The first reading of a session is left out where four or more were taken; "
        "the rest are averaged.",
        "all": "Every reading of a session counts, the first included.",
    }[answer.rule]
    lines = [
        rule,
        f"Only {METHOD_WORDS[answer.method]} sessions {CONDITION_WORDS[answer.condition]} are "
        "used; methods and conditions are pooled only on request."
        if not answer.bridged
        else "Sessions of different methods or conditions are joined through an estimated "
        "difference, as requested.",
        *_level_and_effect(answer),
        f"Noise: visit SD about {number(priors.sv[0], 0)}, reading SD about "
        f"{number(priors.sr[0], 0)}, slow wander about {number(priors.sw[0], 0)} {unit} before the "
        f"readings are seen (log-SDs {number(priors.sv[1], 2)}, {number(priors.sr[1], 2)}, "
        f"{number(priors.sw[1], 2)}); after them {number(answer.noise.sv, 0)}, "
        f"{number(answer.noise.sr, 0)} and {number(answer.noise.sw, 0)}.",
    ]
    if priors.first_visit is not None and answer.condition != "home":
        mean, sd = priors.first_visit
        lines.append(
            f"First-visit excitement of {number(mean, 0)} ± {number(sd, 0)} {unit} is allowed "
            "for, fading over the next visits; one animal alone cannot show how large it is."
        )
        if species_of(answer.species).new_visits:
            lines.append(
                f"A {answer.species} that is new to being measured needs three visits first."
            )
    elif answer.condition != "home":
        lines.append("No first-visit excitement is allowed for: this animal was measured before.")
    if priors.change_sd:
        allowed = listed(
            [f"{CONTEXTS.get(what, what)} {number(sd, 0)}" for what, sd in priors.change_sd.items()]
        )
        lines.append(
            "A recorded change may read higher or lower by an unknown amount, with an SD in "
            f"{unit} of: {allowed}. The usual pressure is on the scale of the latest session."
        )
    for drug, tau in priors.tau_days.items():
        lines.append(
            f"{capital(drug)} is taken to reach its effect with a time constant of "
            f"{number(tau, 0)} days."
        )
    if any(session.bound for session in answer.sessions) and answer.quantity == "systolic":
        lines.append(_beyond(answer))
    lines.append(
        "The level and the next session depend little on these assumptions; the effect of a drug "
        "and the slope depend on them more."
    )
    return tuple(lines)


def _beyond(answer: TrendAnswer) -> str:
    """Say how readings beyond the gauge enter, and what is taken of such an untreated animal."""
    count = sum(bool(session.bound) for session in answer.sessions)
    text = (
        "A reading beyond the gauge enters as lying beyond it, never as a number. Medians, plain "
        "means, variability and straight lines between sessions leave out the "
        f"{counted(count, 'session')} with one."
    )
    groups = answer.priors.groups
    if groups and all(group.effect_sd is None and group.under_drug is None for group in groups):
        ends = [
            (number(group.level[0], 0), number(group.level[1], 0), group.weight) for group in groups
        ]
        levels = " or ".join(f"{at} ± {sd} (weight {number(share, 2)})" for at, sd, share in ends)
        text += f" Before the readings, the level of an animal with one is {levels} {answer.unit}."
    return text


def _level_and_effect(answer: TrendAnswer) -> tuple[str, ...]:
    """Return what is assumed of level, slope and drugs; of a treated animal, its three groups."""
    priors, unit = answer.priors, answer.unit
    slope = f"slope 0 ± {number(priors.slope_sd, 1)} {unit} a month"
    dose = f"effect of a dose change 0 ± {number(priors.increment_sd, 0)} {unit}"
    learn = "A clinic of 30 animals or more can learn its own."
    grouped = priors.groups and any(group.effect_sd or group.under_drug for group in priors.groups)
    if not grouped:
        return (
            f"Priors: {priors.source}. Level {_pair(priors.level)} {unit}; {slope}; full effect of "
            f"a drug 0 ± {number(priors.effect_sd, 0)}; {dose}. {learn}",
        )
    kinds = "; or of ".join(f"{_kind(group)} ({_weights(group)})" for group in priors.groups)
    return (
        f"Priors: {priors.source}. In {unit}, a treated animal may be of {kinds}. Its {slope}; "
        f"{dose}. {learn}",
        "In published trials severely hypertensive cats ended near 150–160 mmHg on treatment "
        "wherever they began, and a drug can do little for a pressure that was never high.",
        "So a large fall may be large, none is expected of an ordinary pressure, and a place is "
        "kept for a drug that does nothing.",
    )


def _kind(group: PriorGroupAnswer) -> str:
    level = f"level {_pair(group.level)}"
    if group.under_drug is not None:
        return f"{level} and, whatever it is, {_pair(group.under_drug)} under the drug"
    return f"{level} with an effect of 0 ± {number(group.effect_sd, 0)}"


def _weights(group: PriorGroupAnswer) -> str:
    return f"{probability(group.weight)}, after the readings {probability(group.share)}"


def _pair(pair: tuple[float, float]) -> str:
    return f"{number(pair[0], 0)} ± {number(pair[1], 0)}"


def _of_labs(answer: TrendAnswer) -> tuple[str, ...]:
    priors = answer.priors
    return (
        "Values are modelled as logarithms, so changes are in per cent.",
        f"Priors: {priors.source}. Level about "
        f"{number(math.exp(priors.level[0]), answer.decimals)} {answer.unit}, slope 0 ± "
        f"{number(100 * priors.slope_sd, 0)} % a month, full effect of a drug 0 ± "
        f"{number(100 * priors.effect_sd, 0)} %.",
        f"Noise of a single value about {number(100 * priors.sv[0], 0)} %, slow wander about "
        f"{number(100 * priors.sw[0], 0)} % before the values are seen; after them "
        f"{number(100 * answer.noise.sv, 0)} % and {number(100 * answer.noise.sw, 0)} %.",
    )


def cautions(answer: TrendAnswer) -> tuple[str, ...]:
    """Return the cautions of this animal's report."""
    return tuple(caution.text for caution in cautions_for(_situations(answer)))


def _situations(answer: TrendAnswer) -> set[str]:
    """Return the situations of `bpvet.facts.cautions` that hold."""
    latest, means = (
        answer.latest,
        [session.mean for session in answer.sessions if session.mean is not None],
    )
    systolic, labs = answer.quantity == "systolic", answer.quantity in LAB_QUANTITIES
    methods = {answer.method, *(series.method for series in answer.other_series)}
    conditions = {answer.condition, *(series.condition for series in answer.other_series)}
    floor = answer.target.floor
    states = {
        "raised": systolic and (latest.estimate >= _RAISED or means[-1] >= _RAISED),
        "situational": not labs and conditions != {"home"},
        "two_methods": len(methods) > 1,
        "treated": not labs and bool(answer.courses),
        "remembered": _remembered(answer),
        "sighthound": sighthound(answer.breed),
        "few_visits": len(answer.sessions) < _FEW,
        "low_on_treatment": answer.treated and floor is not None and means[-1] < floor,
        "doppler": "doppler" in methods,
        "oscillometric": "oscillometric" in methods,
        "labs": labs or bool(answer.courses),
        "calming": "calmed" in conditions,
        "left_out": any(_left_out(session, answer.rule) for session in answer.sessions),
    }
    return {name for name, holds in states.items() if holds}


def _left_out(session: SessionAnswer, rule: str) -> bool:
    """Whether readings are missing beyond the first that the rule leaves out."""
    by_rule = 1 if rule == "guideline" and session.n_taken >= DROP_FIRST_FROM else 0
    return session.n_taken - session.n_used > by_rule


def _remembered(answer: TrendAnswer) -> bool:
    return answer.category.remembered or answer.target.remembered or answer.recheck.remembered
