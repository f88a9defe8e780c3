"""What to know now of an animal: four answers in a glance each."""

from __future__ import annotations

import numpy as np

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.words import LAB_QUANTITIES
from bpvet.models.trend.trend import Trend
from bpvet.printing import number, probability
from bpvet.wording.en.pages.shapes import Card
from bpvet.wording.en.phrases import capital, cited, counted, day, interval, value
from bpvet.wording.en.pictures.trend import doses_on
from bpvet.wording.en.safety.recheck import window_words
from bpvet.wording.en.trend.statements import sentence

#: From this probability on, "below the floor" stands beside "at target"; from that on it is told.
_LOW, _FLOOR_TOLD = 0.5, 0.1
_JUDGED = "judgement of this project"


def animal_cards(trend: Trend, answer: TrendAnswer) -> tuple[Card, ...]:
    """Return what to know now: newest, usual, target and when again, each where it is told.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    return (_newest(trend, answer), _usual(answer), *_target(answer), *_again(answer))


def _newest(trend: Trend, answer: TrendAnswer) -> Card:
    """Return the newest value, its age, and the drugs of that day."""
    last = answer.sessions[-1]
    read = "No number" if last.mean is None else value(last.mean, answer)
    lead = capital(f"{last.bound} {read}".strip())
    age = int((answer.as_of - last.date) / np.timedelta64(1, "D"))
    ago = {0: "today", 1: "yesterday"}.get(age, f"{age} days ago")
    return Card("Newest", lead, f"{day(last.date)}, {ago}; {doses_on(trend)}.")


def _usual(answer: TrendAnswer) -> Card:
    latest = answer.latest
    one = "value" if answer.quantity in LAB_QUANTITIES else "session"
    rests = f"from {counted(len(answer.sessions), one)}"
    lead = value(latest.estimate, answer)
    held = interval(answer.level, latest.lower, latest.upper, answer.decimals)
    detail = f"On {day(latest.date)}, {rests}; {held}."
    if latest.only:
        lead = capital(f"{latest.only} {value(latest.end, answer)}")
        detail = f"On {day(latest.date)}, {rests}; most readings lie beyond the gauge."
    return Card("Usual", lead, detail)


def _target(answer: TrendAnswer) -> list[Card]:
    found = answer.target
    if found.value is None or found.p_at_or_below is None:
        return []
    treated = found.kind != "raised"
    lead = {
        "at or below": "At target" if treated else "Below the raised range",
        "above": "Above target" if treated else "In the raised range",
        "not settled": "Not settled",
        None: "See “Urgent” first",
    }[found.verdict]
    unjudged = found.verdict == "above" and not treated and bool(answer.category.withheld)
    lead = "Not judged" if unjudged else lead
    if found.verdict is not None and answer.treated and (found.p_below_floor or 0.0) >= _LOW:
        lead = f"{lead}, and low"
    question = "At target?" if treated else "Raised?"
    if found.verdict is None or unjudged:
        return [Card(question, lead, sentence(answer, "target"))]
    return [Card(question, lead, _likely(answer))]


def _likely(answer: TrendAnswer) -> str:
    """Return how likely the usual pressure is at target, and below the floor where that counts."""
    found = answer.target
    bound = f"{number(found.value, 0)} {answer.unit}"
    whose = {"own": ", set for this animal", "raised": ", the bound called raised"}
    said = f"{probability(found.p_at_or_below)} likely at or below {bound}"
    said += whose.get(str(found.kind), ", the guideline's")
    if found.judged_offset:
        said += f", judged on {number(found.judged_offset, 0)} more than was measured"
    if found.floor is not None and (found.p_below_floor or 0.0) >= _FLOOR_TOLD:
        said += f"; {probability(found.p_below_floor)} below {number(found.floor, 0)}"
    return f"{said}."


def _again(answer: TrendAnswer) -> list[Card]:
    found = answer.recheck
    if answer.quantity != "systolic" and found.latest is None:
        return []
    if found.latest is None:
        return [Card("When again?", "No date proposed", sentence(answer, "recheck"))]
    lead = f"By {day(found.latest)}"
    if found.overdue_days > 0:
        lead = f"Overdue since {day(found.latest)}"
    whose = _JUDGED if found.grade == "J" else cited(found.guideline_name or "", found.remembered)
    when = capital(window_words(found.earliest, found.latest))
    # Why, and what else fits, stands below the figure: it can be five reasons long.
    return [Card("When again?", lead, f"{when} ({whose}).")]
