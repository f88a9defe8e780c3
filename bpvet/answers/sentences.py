"""The answers of a trend as sentences that a tired vet reads once and understands.

Each says the number, its interval, the date, the method and the guideline's name; "cannot tell
yet" where that is the truth, and what would tell. Nothing here advises a drug or a dose, and
nothing reads as a reason to stop one.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from bpvet.answers.drug_words import drugs, treatment
from bpvet.answers.parts import TrendAnswer
from bpvet.answers.phrases import (
    capital,
    chance,
    cited,
    counted,
    day,
    interval,
    listed,
    of_labs,
    one_of,
    percent,
    value,
    whole,
)
from bpvet.facts.categories import guideline
from bpvet.facts.words import CONDITION_WORDS, METHOD_WORDS, QUANTITY_WORDS
from bpvet.printing import number, probability

#: Width of the range expected of a session from which it is said that little could surprise.
_SO_WIDE = {"mmHg": 120.0, "/min": 150.0}


def urgent(answer: TrendAnswer) -> str:
    """What cannot wait for any trend."""
    return " ".join(f"Urgent: {one.text}" for one in answer.urgent or ())


def usual(answer: TrendAnswer) -> str:
    """Usual pressure at the latest session."""
    latest, what = answer.latest, QUANTITY_WORDS[answer.quantity]
    count, one = len(answer.sessions), one_of(answer)
    held = interval(answer.level, latest.lower, latest.upper, answer.decimals)
    said = (
        f"{_how(answer)} the usual {what} as measured here was "
        f"{value(latest.estimate, answer)} on {day(latest.date)} ({held}). "
    )
    first = answer.sessions[0].date
    if count == 1:
        said += f"It rests on one {one}: the range is wide, because one {one} says little."
    elif first == latest.date:
        said += f"It rests on {counted(count, one)} of that one day."
    else:
        said += f"It rests on {counted(count, one)} since {day(first)}."
    if count == 2:
        said += f" Two {one}s still leave it wide."
    return " ".join([said, *_bounds(answer), *_joins(answer)]).strip()


def _how(answer: TrendAnswer) -> str:
    if of_labs(answer):
        return "By the values as recorded,"
    where = CONDITION_WORDS[answer.condition]
    if answer.method == "doppler":
        return f"By Doppler, {where},"
    return f"By the oscillometric method, {where},"


def _bounds(answer: TrendAnswer) -> list[str]:
    held = [one for one in answer.sessions if one.bound]
    if not held:
        return []
    named = listed([f"{one.bound} {number(one.mean, 0)} on {day(one.date)}" for one in held[-3:]])
    return [
        f"{capital(counted(len(held), 'session'))} went beyond what could be read and "
        f"{'is' if len(held) == 1 else 'are'} used at the bound ({named}), so the true value "
        "lies further out."
    ]


def _joins(answer: TrendAnswer) -> list[str]:
    said = []
    for name, held in answer.bridges.items():
        said.append(
            f"Series are joined through an estimated difference ({name}: "
            f"{number(held.estimate, 0)} {answer.unit}, "
            f"{interval(answer.level, held.lower, held.upper)}); it is not measured exactly."
        )
    own = [
        f"{_series_name(one.method, one.condition)} {number(one.estimate, 0)} on {day(one.date)} "
        f"({number(one.lower, 0)} to {number(one.upper, 0)})"
        for one in answer.apart
    ]
    return [*said, f"Each series on its own: {'; '.join(own)}."] if own else said


def _series_name(method: str, condition: str) -> str:
    how = "by Doppler" if method == "doppler" else "by the oscillometric method"
    return f"{how}, {CONDITION_WORDS[condition]},"


def category(answer: TrendAnswer) -> str:
    """Where the usual pressure lies among the guideline's categories."""
    found = answer.category
    if found.withheld is not None:
        if answer.quantity != "systolic":
            return ""
        return f"No category is named: {found.withheld}."
    assert found.probability is not None  # one of the two is always given
    source = guideline(found.guideline)
    parts = []
    for one in source.categories:
        p = found.probability[one.name]
        if p >= 0.01:
            parts.append((p, f"{one.name} ({_range(one.low, one.high)}) {probability(p)}"))
    parts.sort(key=lambda part: -part[0])
    return (
        f"Of the categories of the {cited(found.name, found.remembered)}, this usual pressure "
        f"lies in: {listed([words for _, words in parts])}."
    )


def _range(low: float, high: float) -> str:
    if np.isinf(low):
        return f"below {number(high, 0)}"
    return (
        f"{number(low, 0)} or more" if np.isinf(high) else f"{number(low, 0)}–{number(high - 1, 0)}"
    )


def target(answer: TrendAnswer) -> str:
    """Whether it is at target, or below the raised range; judged apart from any drug."""
    found = answer.target
    if found.value is None or found.p_at_or_below is None:
        return ""
    value = f"{number(found.value, 0)} mmHg"
    name = cited(answer.guideline_name, found.remembered)
    whose = {
        "own": f"the target set for this animal, {value}",
        "guideline": f"the guideline's target, {value} ({name})",
        "raised": f"the start of the raised range, {value} ({name})",
    }[str(found.kind)]
    p = f"at or below {whose}: {chance(found.p_at_or_below)}"
    withheld = answer.category.withheld
    if found.kind == "raised" and withheld is not None and found.verdict == "above":
        words = (
            f"The usual pressure lies above the start of the guideline's raised range; whether "
            f"that is raised for this animal is not judged: {withheld}. It lies {p}."
        )
    elif found.kind == "raised":
        words = {
            "at or below": f"The usual pressure is below the raised range. It lies {p}.",
            "above": f"The usual pressure is in the raised range. It lies {p}.",
            "not settled": f"Whether the usual pressure is raised is not settled. It lies {p}.",
        }[str(found.verdict)]
    elif too_low(answer):
        words = (
            f"Not a matter of the target today: see the urgent line. The usual pressure lies {p}."
        )
    else:
        words = {
            "at or below": f"At target. The usual pressure lies {p}.",
            "above": f"Above target. The usual pressure lies {p}.",
            "not settled": f"Whether it is at target is not settled. The usual pressure lies {p}.",
        }[str(found.verdict)]
    return " ".join([words, *_settling(answer), *_floor(answer)])


def too_low(answer: TrendAnswer) -> bool:
    """Whether something urgent speaks of a pressure that may be too low."""
    return any(one.kind.startswith(("low", "no sound")) for one in answer.urgent or ())


def _settling(answer: TrendAnswer) -> list[str]:
    found = answer.target
    if found.verdict != "not settled":
        return []
    if found.visits_to_settle is None:
        return ["It sits so close to that value that more visits would hardly settle it."]
    if found.visits_to_settle == 1:
        return ["One more visit with five readings could settle it."]
    more = counted(found.visits_to_settle, "more weekly visit")
    return [f"About {more} with five readings each could settle it."]


def _floor(answer: TrendAnswer) -> list[str]:
    """Say how likely it is below the floor, for treated animals where it is not negligible."""
    found = answer.target
    if not answer.treated or found.p_below_floor is None or found.p_below_floor < 0.1:
        return []
    chosen = guideline(answer.guideline)
    name = cited(answer.guideline_name, chosen.floor.fact.remembered)
    return [
        f"It lies below {number(found.floor, 0)} mmHg, where weakness may mean too low a "
        f"pressure ({name}), with {chance(found.p_below_floor)}"
        f"{'' if too_low(answer) else '; many healthy animals sit there'}."
    ]


def slope(answer: TrendAnswer) -> str:
    """Whether the usual pressure is creeping up, apart from the drugs."""
    found, unit = answer.slope, answer.change_unit
    if found.span_days == 0:
        return ""
    rise = "3 %" if of_labs(answer) else f"1 {unit}"
    apart = "apart from treatment, " if answer.treatments else ""
    over = found.rise_over_record
    what = QUANTITY_WORDS[answer.quantity]
    each = (
        f"{apart}the usual {what} changes by {number(found.per_30_days, 1)} {unit} a month "
        f"({percent(answer.level)} interval {number(found.lower, 1)} to {number(found.upper, 1)})"
    )
    p = f"a rise of more than {rise} a month has {chance(found.p_rising_by_1)}"
    record = (
        f"Over the {counted(found.span_days, 'day')} of the record that makes "
        f"{number(over.estimate, 0)} {unit} ({number(over.lower, 0)} to {number(over.upper, 0)})."
    )
    words = {
        "rising": f"It is creeping up: {each}; {p}.",
        "rise unlikely": f"It is hardly creeping up: {each}; {p}.",
        "cannot tell yet": f"Whether it is creeping up: cannot tell yet. {capital(each)}; {p}. "
        "Months of further visits would tell.",
    }[found.verdict]
    return f"{words} {record}"


def surprise(answer: TrendAnswer) -> str:
    """Whether the newest session was a surprise."""
    found, d, one = answer.surprise, answer.decimals, one_of(answer)
    if found.words is None or found.lower is None or found.upper is None:
        return ""
    expected = (
        f"the earlier {one}s led one to expect {number(found.expected, d)} "
        f"({percent(answer.level)} of such {one}s between {number(found.lower, d)} and "
        f"{number(found.upper, d)})"
    )
    said = f"The newest {one}, {value(found.observed, answer)} on {day(found.date)}, was "
    if found.words == "as expected":
        wide = found.upper - found.lower > _SO_WIDE.get(answer.unit, np.inf)
        little = " That range is so wide that hardly anything could surprise." if wide else ""
        return f"{said}no surprise: {expected}.{little}"
    said += f"{found.words}: {expected}; so far out comes up with {chance(found.tail or 0.0)}."
    if found.words == "very unusual":
        said += (
            " Arrange another visit within two weeks; until then the trend and the effect of a "
            "drug may be off."
        )
    return said


def following(answer: TrendAnswer) -> str:
    """What the next session may read."""
    found, d = answer.next_session, answer.decimals
    if answer.urgent or (answer.quantity == "systolic" and answer.recheck.by is None):
        # What is urgent comes first, and an animal that left is not waited for.
        return ""
    if of_labs(answer):
        return (
            f"If nothing changes, the next value ({day(found.date)}) is expected at "
            f"{value(found.mean, answer)}, and {percent(answer.level)} of such values between "
            f"{number(found.lower, d)} and {number(found.upper, d)}."
        )
    return (
        f"If nothing changes, the mean of the next session (five readings, "
        f"{METHOD_WORDS[found.method]}, {day(found.date)}) is expected at "
        f"{whole(found.mean, answer.unit)}, and {percent(answer.level)} of such sessions "
        f"between {number(found.lower, 0)} and {number(found.upper, 0)}: a single visit is noisy."
    )


def share(answer: TrendAnswer) -> str:
    """Share of the period at target."""
    found = answer.share_at_target
    if found.expected is None or found.days == 0:
        return ""
    lines = ""
    if found.interpolated is not None:
        lines = f" (by straight lines between sessions {probability(found.interpolated)})"
    return (
        f"From {day(answer.sessions[0].date)} to {day(answer.latest.date)} the usual pressure "
        f"was at or below {number(found.value, 0)} mmHg for about "
        f"{probability(found.expected)} of the days{lines}."
    )


_STATES = {
    "sign": "a sign of damage to eye or brain is recorded",
    "changed": "treatment was started, changed or stopped and no session lies a week or more after",
    "severe": "the latest session reads 180 or more",
    "first_raised": "untreated, and raised on one date only: to be confirmed on another day",
    "raised_again": "untreated, and raised on two dates or more",
    "raised_mild": "untreated, and mildly raised on two dates or more",
    "above_target": "treated, and above target",
    "treated": "treated, and not clearly above target",
    "otherwise": "untreated, and not raised",
}
#: The same where what is raised is not judged, as for sighthounds: the interval stays the earlier
#: one, and the words say only where the readings lie.
_STATES_NOT_JUDGED = {
    "first_raised": "untreated, and in the guideline's raised range on one date: to be seen again, "
    "although what is raised is not judged for this animal",
    "raised_again": "untreated, and in the guideline's raised range on two dates or more, although "
    "what is raised is not judged for this animal",
    "raised_mild": "untreated, and low in the guideline's raised range on two dates or more, "
    "although what is raised is not judged for this animal",
    "otherwise": "untreated, and below the guideline's raised range",
}


def recheck(answer: TrendAnswer) -> str:
    """When to measure again."""
    found = answer.recheck
    if found.by is None or found.state is None or found.counted_from is None:
        return (
            f"No next visit is proposed: {found.reason}." if answer.quantity == "systolic" else ""
        )
    said = f"Measure again by {day(found.by)}: {recheck_reason(answer)}."
    if answer.urgent and found.state not in ("sign", "severe"):
        said = (
            "The urgent line comes first. Without it the routine date would be "
            f"{day(found.by)}: {recheck_reason(answer)}."
        )
    return said + overdue(answer)


def overdue(answer: TrendAnswer) -> str:
    """Return that the date is past, where it is, with a leading space; else nothing."""
    found = answer.recheck
    if found.overdue_days == 0:
        return ""
    return (
        f" That date is {counted(found.overdue_days, 'day')} past on {day(answer.as_of)}: "
        f"this report speaks of {day(answer.latest.date)}, not of today."
    )


def recheck_reason(answer: TrendAnswer) -> str:
    """Return why the date is proposed, and whose interval it is; blank without a date."""
    found = answer.recheck
    if found.state is None:
        return ""
    if found.model is not None and found.model == found.by:
        source = "the trend, which may rise above the target by then, sooner than the guideline"
    else:
        judged = guideline(answer.guideline).recheck[found.state].fact.grade == "J"
        name = "judgement of this project" if judged else answer.guideline_name
        source = cited(name, found.remembered)
    states = _STATES if answer.category.withheld is None else _STATES | _STATES_NOT_JUDGED
    return f"{states[found.state]} ({source})"


def companions(answer: TrendAnswer) -> str:
    """Other ways of counting, where they move the answer."""
    found, said = answer.companions, []
    if "medians" in found.shown and found.latest_with_medians is not None:
        said.append(
            f"With the median of each session in place of its mean, the latest usual value would "
            f"be {whole(found.latest_with_medians, answer.unit)}."
        )
    if "tense" in found.shown and found.latest_without_tense is not None:
        without = whole(found.latest_without_tense, answer.unit)
        said.append(
            f"Without the {counted(found.tense_sessions, 'session')} noted as tense, the latest "
            f"usual value would be {without}."
        )
    return " ".join(said)


def others(answer: TrendAnswer) -> str:
    """Sessions that are shown beside and not part of the trend."""
    if not answer.other_series:
        return ""
    named = [
        f"{counted(one.sessions, 'session')} by "
        f"{'Doppler' if one.method == 'doppler' else 'the oscillometric method'}, "
        f"{CONDITION_WORDS[one.condition]}"
        for one in answer.other_series
    ]
    return f"Shown beside, and not part of this trend: {listed(named)}."


#: Topics in the order in which a report says them.
TOPICS: dict[str, Callable[[TrendAnswer], str]] = {
    "urgent": urgent,
    "usual": usual,
    "target": target,
    "category": category,
    "drugs": drugs,
    "slope": slope,
    "surprise": surprise,
    "recheck": recheck,
    "next_session": following,
    "share": share,
    "companions": companions,
    "others": others,
}


def sentence(answer: TrendAnswer, topic: str) -> str:
    """Return the sentences on one of `TOPICS`; blank where there is nothing to say."""
    return TOPICS[topic](answer)


def sentences(answer: TrendAnswer) -> tuple[str, ...]:
    """Return every sentence of the answer, the urgent first; each drug has its own."""
    said: list[str] = []
    for topic in TOPICS:
        if topic == "drugs":
            said += [treatment(answer, one) for one in answer.treatments]
        else:
            said.append(sentence(answer, topic))
    joined = " (Joined series.)" if answer.bridged else ""
    return tuple(f"{one}{joined}" for one in said if one)
