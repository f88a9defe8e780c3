"""What to know now: whose report it is, what cannot wait, and four answers in a glance each."""

from __future__ import annotations

from html import escape

import numpy as np

from bpvet.answers.parts import TrendAnswer
from bpvet.facts.words import LAB_QUANTITIES
from bpvet.models.trend.trend import Trend
from bpvet.printing import number, probability
from bpvet.reports.cards import card
from bpvet.reports.markup import Shown, heading, lines, paragraph, tag, together
from bpvet.wording.en.pages.identity import identity
from bpvet.wording.en.phrases import capital, cited, counted, day, interval, value
from bpvet.wording.en.picture import doses_on
from bpvet.wording.en.safety.recheck import window_words
from bpvet.wording.en.trend.statements import sentence

#: From this probability on, "below the floor" stands beside "at target"; from that on it is told.
_LOW, _FLOOR_TOLD = 0.5, 0.1
_JUDGED = "judgement of this project"


def now(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the head of a report: identity, what is urgent, and four answers of one verdict each.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    who, urgent = _identity(trend, answer), [one.text for one in answer.urgent]
    cards = [_newest(trend, answer), _usual(answer), *_target(answer), *_again(answer)]
    alarm = heading(2, "Urgent") + "".join(paragraph(text) for text in urgent)
    html = "".join(
        (
            tag("header", who.html, class_="who animal"),
            tag("section", alarm, class_="urgent") if urgent else "",
            tag("h2", "What to know now", class_="unseen"),
            tag("dl", "".join(card.html for card in cards), class_="now first"),
        )
    )
    alarms = (f"Urgent: {text}" for text in urgent)
    return Shown(html, lines(who.text, *alarms, *(card.text for card in cards)))


def _identity(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return whose report it is and what it rests on."""
    whose = identity(trend.records, answer)
    id = f"Animal {whose.id}"
    where = f"{whose.clinic}." if whose.clinic else ""
    told = " ".join(filter(None, (f"{id}. {whose.known}", where, whose.left)))
    told = paragraph(told, "known") + " " + paragraph(whose.basis, "basis")
    html = tag("h1", tag("span", escape(whose.name), class_="name")) + told
    text = lines(whose.name, id, whose.known, whose.clinic, whose.left, whose.basis)
    return Shown(html, text)


def _asked(question: str, lead: str, detail: str) -> Shown:
    return card(question, lead, together(detail), f"{question}: {lead}. {detail}")


def _newest(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the newest value, its age, and the drugs of that day."""
    last = answer.sessions[-1]
    read = "No number" if last.mean is None else value(last.mean, answer)
    lead = capital(f"{last.bound} {read}".strip())
    age = int((answer.as_of - last.date) / np.timedelta64(1, "D"))
    ago = {0: "today", 1: "yesterday"}.get(age, f"{age} days ago")
    return _asked("Newest", lead, f"{day(last.date)}, {ago}; {doses_on(trend)}.")


def _usual(answer: TrendAnswer) -> Shown:
    latest = answer.latest
    one = "value" if answer.quantity in LAB_QUANTITIES else "session"
    rests = f"from {counted(len(answer.sessions), one)}"
    lead = value(latest.estimate, answer)
    held = interval(answer.level, latest.lower, latest.upper, answer.decimals)
    detail = f"On {day(latest.date)}, {rests}; {held}."
    if latest.only:
        lead = capital(f"{latest.only} {value(latest.end, answer)}")
        detail = f"On {day(latest.date)}, {rests}; most readings lie beyond the gauge."
    return _asked("Usual", lead, detail)


def _target(answer: TrendAnswer) -> list[Shown]:
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
        return [_asked(question, lead, sentence(answer, "target"))]
    return [_asked(question, lead, _likely(answer))]


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


def _again(answer: TrendAnswer) -> list[Shown]:
    found = answer.recheck
    if answer.quantity != "systolic" and found.latest is None:
        return []
    if found.latest is None:
        return [_asked("When again?", "No date proposed", sentence(answer, "recheck"))]
    lead = f"By {day(found.latest)}"
    if found.overdue_days > 0:
        lead = f"Overdue since {day(found.latest)}"
    whose = _JUDGED if found.grade == "J" else cited(found.guideline_name or "", found.remembered)
    when = capital(window_words(found.earliest, found.latest))
    # Why, and what else fits, stands below the figure: it can be five reasons long.
    return [_asked("When again?", lead, f"{when} ({whose}).")]
