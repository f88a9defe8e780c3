"""Whether it is at target, in which category, how long, and when again, in sentences.

A headline carries the probability of what it says, never of the opposite. Where an urgent rule
withholds a verdict the sentence says so, and numbers stay in the table.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bpvet.answers.statement import Statement
from bpvet.answers.trend.result import TrendAnswer
from bpvet.answers.trend.safety import RecheckAnswer
from bpvet.answers.trend.verdicts import Verdict
from bpvet.facts.categories import guideline
from bpvet.facts.sources import credit, fact
from bpvet.printing import number, probability
from bpvet.wording.en.phrases import about, capital, cited, counted, day, listed
from bpvet.wording.en.safety.recheck import window_words
from bpvet.wording.en.trend.settle import settle_words
from bpvet.wording.en.trend.uncounted import but_for_drugs

_JUDGED = "judgement of this project"
#: What is told of the target, by key: how its sentence begins, and what its tile leads with.
_LEADS = {
    "at": "At target",
    "below": "Below the raised range",
    "above": "Above target",
    "in_range": "In the raised range",
    "not_settled": "Not settled",
    "withheld": "See “Urgent” first",
    "not_judged": "Not judged",
}
#: From this probability on, "below the floor" stands beside "at target"; from that on it is told.
_LOW, _FLOOR_TOLD = 0.5, 0.1


def target_question(answer: TrendAnswer) -> str:
    """Return what is asked of the usual pressure, as the heading of its answer."""
    return "Raised?" if answer.target.kind == "raised" else "At target?"


def target(answer: TrendAnswer) -> Iterator[Statement]:
    """Whether it is at target, or in the raised range; judged apart from any drug."""
    found = answer.target
    if found.value is None or found.p_at_or_below is None:
        return
    at = f"{number(found.value, 0)} mmHg"
    chosen = guideline(answer.guideline)
    name = credit((chosen.raised if found.kind == "raised" else chosen.target).fact)
    whose = {
        "own": f"at or below {at}, the target set for this animal",
        "guideline": f"at or below {at}, the guideline's target; {name}",
        "raised": f"below {at}, where the raised range starts; {name}",
    }[str(found.kind)]
    over = {
        "own": f"above {at}, the target set for this animal",
        "guideline": f"above {at}, the guideline's target; {name}",
        "raised": f"{at} or more, where the raised range starts; {name}",
    }[str(found.kind)]
    p, q = probability(found.p_at_or_below), probability(1 - found.p_at_or_below)
    raised = found.kind == "raised"
    unjudged = raised and found.verdict == Verdict.ABOVE and answer.category.withheld is not None
    if found.withheld is not None:
        key = lead = "withheld"
        what = "raised" if raised else "at target"
        words = f"Whether it is {what} is not said: the urgent line comes first."
    elif found.verdict == Verdict.AT_OR_BELOW:
        key = lead = "below" if raised else "at"
        words = f"{_LEADS[lead]}: {p} likely (the usual pressure {whose})."
    elif found.verdict == Verdict.ABOVE:
        key, lead = "above", "in_range" if raised else "above"
        first = "In the range called raised in others" if unjudged else _LEADS[lead]
        words = f"{first}: {q} likely (the usual pressure {over})."
        if unjudged:
            lead = "not_judged"
            words += " Whether that is raised for this animal is not judged: "
            words += f"{answer.category.withheld}."
    else:
        key = lead = "not_settled"
        first = "Whether it is raised is not settled: not raised" if raised else ""
        first = first or "Whether it is at target is not settled: at target"
        words = f"{first} {p} likely (the usual pressure {whose})."
        words = " ".join([words, *settle_words(found.settle)])
    parts = [words, *_offset(answer), *_floor(answer), *_without(answer)]
    text = " ".join(parts)
    # Where there is no verdict, why there is none is told in full.
    short = text if found.verdict is None or unjudged else _likely(answer)
    low = answer.treated and found.verdict is not None and (found.p_below_floor or 0.0) >= _LOW
    leads = f"{_LEADS[lead]}{', and low' if low else ''}"
    yield Statement(f"target.{key}", text, short=short, lead=leads)


def _likely(answer: TrendAnswer) -> str:
    """Return how likely the usual pressure is at target, and below the floor where that counts."""
    found = answer.target
    bound = f"{number(found.value, 0)} {answer.unit}"
    whose = {"own": ", set for this animal", "raised": ", the bound called raised"}
    text = f"{probability(found.p_at_or_below)} likely at or below {bound}"
    text += whose.get(str(found.kind), ", the guideline's")
    if found.judged_offset:
        text += f", judged on {number(found.judged_offset, 0)} more than was measured"
    if found.floor is not None and (found.p_below_floor or 0.0) >= _FLOOR_TOLD:
        text += f"; {probability(found.p_below_floor)} below {number(found.floor, 0)}"
    return f"{text}."


def target_clause(answer: TrendAnswer) -> str:
    """Return how likely it is at target, to stand behind the usual pressure; blank if withheld."""
    found = answer.target
    # Beside what is urgent nothing stands that could reassure.
    if found.value is None or found.p_at_or_below is None or found.withheld is not None:
        return ""
    name = "target" if answer.treated else "the bound called raised"
    return f"; then at or below {name}, {found.value:g}: {probability(found.p_at_or_below)}"


def _added(answer: TrendAnswer) -> str:
    """Say in short that a home or calmed series was judged on more than it reads."""
    added = answer.target.judged_offset
    return f" Judged on {number(added, 0)} mmHg more than was read." if added else ""


def _offset(answer: TrendAnswer) -> list[str]:
    """Say that a home or calmed series is judged on more than it reads."""
    added = answer.target.judged_offset
    if not added:
        return []
    where = {"home": "at home", "calmed": "after a calming drug"}[answer.condition]
    return [
        f"Readings {where} run lower than a clinic's, for which this value was set: they are "
        f"judged on {number(added, 0)} mmHg more than they read (judgement of this project)."
    ]


def _floor(answer: TrendAnswer) -> list[str]:
    """Say how likely it is below the floor, for treated animals where it is not negligible."""
    found = answer.target
    if not answer.treated or found.p_below_floor is None or found.p_below_floor < _FLOOR_TOLD:
        return []
    chosen = guideline(answer.guideline)
    name = credit(chosen.floor.fact)
    return [
        f"It is {probability(found.p_below_floor)} likely below {number(found.floor, 0)} mmHg, "
        f"where weakness may mean too low a pressure ({name}). Ask about weakness and appetite."
    ]


def _without(answer: TrendAnswer) -> list[str]:
    return [] if answer.treated else [without_drug(answer)]


def without_drug(answer: TrendAnswer) -> str:
    """Return that no blood-pressure drug is on record, or no treatment at all."""
    table = answer.recorded.treatments_table
    none = "It is without a blood-pressure drug on record" if table else "No treatment is recorded"
    return f"{none}{but_for_drugs(answer.recorded)}."


def category(answer: TrendAnswer) -> Iterator[Statement]:
    """Where the usual pressure lies among the guideline's categories."""
    found = answer.category
    if found.withheld is not None:
        if answer.quantity == "systolic":
            yield category_withheld(found.withheld)
        return
    assert found.probability is not None  # one of the two is always given
    source = guideline(found.guideline)
    holding = [alarm.rule for alarm in answer.urgent if alarm.withholds in ("all", "verdicts")]
    if holding and (holding != ["severe"] or _lies_low(answer)):
        return
    parts = []
    for kind in source.categories:
        p = found.probability[kind.name]
        if p >= 0.01:
            parts.append((p, f"{kind.name} ({_range(kind.low, kind.high)}) {probability(p)}"))
    parts.sort(key=lambda chance: -chance[0])
    yield Statement(
        "category",
        f"Of the categories of the {_categories_of(answer)}, this usual pressure "
        f"lies in: {listed([words for _, words in parts])}.{_added(answer)}",
    )


def category_withheld(why: str) -> Statement:
    """Return that no category is named; in short, that a figure shows none."""
    return Statement(
        "category.withheld",
        f"No category is named: {why}.",
        short=f"No categories are shown: {why}.",
    )


def _lies_low(answer: TrendAnswer) -> bool:
    """Whether the usual pressure lies in a category below 160, as likely as not.

    Beside a session of 180 that would read as if all were well.
    """
    high = float(fact("project.urgent.raised").value or 0)
    categories = guideline(answer.category.guideline).categories
    shares = answer.category.probability or {}
    return sum(shares[kind.name] for kind in categories if kind.high <= high) >= 0.5


def _categories_of(answer: TrendAnswer) -> str:
    """Return whose categories they are: the source that their bounds are of."""
    categories = guideline(answer.category.guideline).categories
    facts = [fact(kind.fact_id) for kind in categories]
    return next((credit(bound) for bound in facts if bound.remembered), credit(facts[0]))


def _range(low: float, high: float) -> str:
    if np.isinf(low):
        return f"below {number(high, 0)}"
    return (
        f"{number(low, 0)} or more" if np.isinf(high) else f"{number(low, 0)}–{number(high - 1, 0)}"
    )


def share(answer: TrendAnswer) -> Iterator[Statement]:
    """Share of the period at target."""
    found = answer.share_at_target
    if found.expected is None or found.days == 0 or answer.target.withheld is not None:
        return
    lines = ""
    if found.interpolated is not None:
        without = ""
        if found.left_out:
            without = f", {counted(found.left_out, 'session')} beyond the gauge left out"
        straight = probability(found.interpolated)
        lines = f" (by straight lines between sessions {straight}{without})"
    rare = 0 < found.expected < 0.01
    on = "on fewer than 1 % of days" if rare else f"on {about(found.expected)} of days"
    yield Statement(
        "share",
        f"From {day(answer.sessions[0].date)} to {day(answer.latest.date)} the usual pressure "
        f"was at or below {number(found.value, 0)} mmHg {on}{lines}.",
    )


#: What is to be found out before a date is given, by `bpvet.models.safety.safety.READ_FIRST`.
_FIRST = {
    "asked": "whether the sign asked about is there",
    "noted": "whether the pressure in the note is right",
    "since": "how the animal is after the new sign",
    "still": "whether the sign recorded as present is still there",
    "line": "what the line says that cannot be counted",
    "alike": "whose the rows under the other id are",
}


def recheck(answer: TrendAnswer) -> Iterator[Statement]:
    """When to measure again."""
    found = answer.recheck
    if found.latest is None and answer.quantity != "systolic" and not found.read_first:
        return
    yield recheck_statement(found, answer.as_of)


def recheck_statement(found: RecheckAnswer, as_of: np.datetime64) -> Statement:
    """Return when to measure again, or what is found out first, or that no visit is proposed."""
    if found.read_first:
        first = f"first find out {listed([_FIRST[name] for name in found.read_first])}"
        text = f"No date for the next visit yet: {first}, and enter it."
        return Statement("recheck.first", text, short=f"{capital(first)}.", lead="No date yet")
    if found.latest is None:
        text = f"No next visit is proposed: {found.reason}."
        return Statement("recheck.none", text, short=text, lead="No date proposed")
    whose = _JUDGED if found.grade == "J" else cited(found.guideline_name or "", found.remembered)
    past = found.overdue_days > 0
    return Statement(
        f"recheck.{found.state}",
        _recheck_text(found, whose, as_of),
        # Why, and what else fits, can be five reasons long.
        short=f"{capital(window_words(found.earliest, found.latest))} ({whose}).",
        lead=f"Overdue since {day(found.latest)}" if past else f"By {day(found.latest)}",
    )


def _recheck_text(found: RecheckAnswer, whose: str, as_of: np.datetime64) -> str:
    """Return a window in sentences: when, whose it is, why, and whether it is past."""
    assert found.latest is not None  # whoever asks has a window
    others = [
        f"{cited(window.name, window.remembered)}: {window_words(window.earliest, window.latest)}"
        for window in found.others
        if window.latest < found.latest
    ]
    sooner = f"; sooner by the {'; '.join(others)}" if others else ""
    when = window_words(found.earliest, found.latest)
    text = f"Measure again {when} ({whose}{sooner}). {found.reason}."
    if found.overdue_days:
        text += (
            f" That is overdue by {counted(found.overdue_days, 'day')} on {day(as_of)}: these "
            f"answers speak of {day(found.counted_from or found.latest)}, not of today."
        )
    return text
