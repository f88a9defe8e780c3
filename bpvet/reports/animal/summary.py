"""What to know now: whose report it is, what cannot wait, and four answers in a glance each."""

from __future__ import annotations

from html import escape

from bpvet.answers.parts import TrendAnswer
from bpvet.models.trend.trend import Trend
from bpvet.reports.cards import card, cards
from bpvet.reports.markup import Shown, heading, lines, paragraph, tag, together
from bpvet.wording.en.pages.animal.cards import animal_cards
from bpvet.wording.en.pages.heads import KNOW_NOW, URGENT
from bpvet.wording.en.pages.identity import identity


def now(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the head of a report: identity, what is urgent, and four answers of one verdict each.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    who, urgent = _identity(trend, answer), [one.text for one in answer.urgent]
    made = [card(one, together(one.detail), ":") for one in animal_cards(trend, answer)]
    alarm = heading(2, URGENT) + "".join(paragraph(text) for text in urgent)
    html = "".join(
        (
            tag("header", who.html, class_="who animal"),
            tag("section", alarm, class_="urgent") if urgent else "",
            tag("h2", KNOW_NOW, class_="unseen"),
            cards(made, "now first"),
        )
    )
    alarms = (f"{URGENT}: {text}" for text in urgent)
    return Shown(html, lines(who.text, *alarms, *(one.text for one in made)))


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
