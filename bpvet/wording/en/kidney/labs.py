"""Laboratory values and weights in sentences: of a kidney value a rise is what matters.

No sentence speaks of a fall of a kidney value as good or as lacking, and none weighs a drug by it.
Of a weight a loss is what matters.
"""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.drugs import TreatmentAnswer
from bpvet.answers.trend.joined import LeftOutAnswer
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.verdicts import Settled, settled
from bpvet.facts.analytes import analyte, short_name
from bpvet.maths.estimate import Estimate
from bpvet.models.kidney.rate import Rate
from bpvet.printing import number, probability
from bpvet.wording.en.kidney.stage import doubling_words
from bpvet.wording.en.phrases import capital, chance, counted, day, interval, listed, percent

#: Why an effect cannot be known, of values in place of sessions.
_REASONS = {
    "effect.none_before": "no value before it started, nor long enough after it stopped",
    "effect.none_on": "no value once it had half of its effect",
}


def lab_usual(answer: TrendAnswer) -> str:
    """Return which values are not part of the trend, and why; blank where all are."""
    sentences = []
    for reason in dict.fromkeys(value.reason for value in answer.left_out):
        mine = [value for value in answer.left_out if value.reason == reason]
        named = listed([_left_out(value) for value in mine[-3:]])
        first = "the newest three are " if len(mine) > 3 else ""
        sentences.append(
            f"{capital(counted(len(mine), 'value'))} "
            f"{'is' if len(mine) == 1 else 'are'} not part of this trend ({reason}): "
            f"{first}{named}."
        )
    return " ".join(sentences)


def _left_out(value: LeftOutAnswer) -> str:
    unit = "" if value.unit == "ratio" else value.unit
    return " ".join(filter(None, (value.bound, f"{value.value:g}", unit, f"on {day(value.date)}")))


def lab_slope(answer: TrendAnswer) -> str:
    """Return whether the usual value is rising, or a weight falling, apart from the drugs."""
    found = answer.slope
    if found.span_days == 0:
        return ""
    apart = "apart from treatment, " if answer.treatments else ""
    over = found.rise_over_record
    each = (
        f"{apart}the usual {short_name(answer.quantity)} changes by "
        f"{number(found.per_30_days, 1)} % a month ({percent(answer.level)} interval "
        f"{number(found.lower, 1)} to {number(found.upper, 1)})"
    )
    falls = analyte(answer.quantity).worse == "fall"
    words = _falling(answer, each) if falls else _rising(answer, each)
    if not falls and settled(found.p_rising) is Settled.YES:
        rate = Rate(Estimate(found.per_30_days, found.lower, found.upper), found.p_rising)
        words = f"{words} {doubling_words(rate)}"
    return (
        f"{words} Over the {counted(found.span_days, 'day')} of the record that makes "
        f"{number(over.estimate, 0)} % ({number(over.lower, 0)} to {number(over.upper, 0)})."
    )


def _rising(answer: TrendAnswer, each: str) -> str:
    found = answer.slope
    fast = f"by more than 3 % a month {probability(found.p_rising_by_1)}"
    if settled(found.p_rising_by_1) is Settled.YES:
        return f"It is rising by more than 3 % a month ({chance(found.p_rising_by_1)}): {each}."
    rising = settled(found.p_rising)
    if rising is Settled.YES:
        return f"It is rising ({chance(found.p_rising)}, {fast}): {each}."
    if rising is Settled.NO:
        return f"A rise is unlikely ({chance(found.p_rising)}): {each}."
    return (
        f"Whether it is rising: cannot tell yet ({chance(found.p_rising)}, {fast}). "
        f"{capital(each)}. It will take some months of values to know."
    )


def _falling(answer: TrendAnswer, each: str) -> str:
    rising = answer.slope.p_rising
    settles = settled(1 - rising)
    if settles is Settled.YES:
        return f"It is falling ({chance(1 - rising)}): {each}."
    if settles is Settled.NO:
        return f"It is rising ({chance(rising)}): {each}."
    return (
        f"Whether it is falling: cannot tell yet ({chance(1 - rising)}). {capital(each)}. "
        "It will take some months of values to know."
    )


def lab_treatment(answer: TrendAnswer, treatment: TreatmentAnswer) -> str:
    """Return how the value stands with a pressure drug; nothing is said for or against the drug."""
    since = f"from {day(treatment.started_on)}"
    if not np.isnat(treatment.stopped_on):
        since = f"{day(treatment.started_on)} to {day(treatment.stopped_on)}"
    name, what = f"{capital(treatment.drug)} ({since})", short_name(answer.quantity)
    effect = treatment.effect
    if not treatment.knowable or effect is None:
        why = treatment.reason.code if treatment.reason else ""
        return (
            f"{name}: what it did to {what} cannot be known yet from these records, because there "
            f"is {_REASONS.get(why, 'too little to tell')}."
        )
    full = f"full effect {number(effect.estimate, 0)} %, " + interval(
        answer.level, effect.lower, effect.upper
    )
    lost = analyte(answer.quantity).worse == "fall"
    p = effect.p_lower_by_10 if lost else effect.p_higher_by_10
    did, likely = "fell" if lost else "rose", f"{chance(p)}; {full}"
    words = {
        Settled.YES: f"{name}: {what} {did} by 10 % or more with it ({likely}).",
        Settled.NO: f"{name}: {chance(p)} that {what} {did} by 10 % or more with it ({full}).",
        Settled.OPEN: f"{name}: cannot tell yet whether {what} {did} by "
        f"10 % or more with it ({likely}).",
    }[settled(p)]
    if answer.quantity == "upc":
        words += f" A fall by 10 % or more has {chance(effect.p_lower_by_10)}."
    if treatment.before_sessions < 2:
        lies = f"{capital(counted(treatment.before_sessions, 'value'))} lies before it"
        words += f" {lies}; that cannot be put right now."
    return words


def lab_verdict(answer: TrendAnswer, treatment: TreatmentAnswer) -> str:
    """Return the same in a few words, for a tile."""
    if not treatment.knowable or treatment.effect is None:
        return "cannot be known yet"
    lost = analyte(answer.quantity).worse == "fall"
    p = treatment.effect.p_lower_by_10 if lost else treatment.effect.p_higher_by_10
    change, did = ("fall", "fell") if lost else ("rise", "rose")
    return {
        Settled.YES: f"{short_name(answer.quantity)} {did} with it",
        Settled.NO: f"a {change} of 10 % or more: {chance(p)}",
        Settled.OPEN: "cannot tell yet",
    }[settled(p)]
