"""Cards, and the head of a page on many animals: its title, its basis and what to know now."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from bpvet.reports.markup import Shown, heading, lines, paragraph, prose, tag

#: A question, its answer in a phrase, and what it rests on.
Card = tuple[str, str, str]


def card(question: str, lead: str, detail: str, text: str) -> Shown:
    """Return a question with its answer.

    Parameters
    ----------
    question, lead : str
        The question, and the answer in a phrase.
    detail : str
        What the answer rests on, as ready-made HTML.
    text : str
        All of it in plain words.
    """
    answered = tag("dd", prose(lead), class_="lead") + tag("dd", detail)
    return Shown(tag("div", tag("dt", escape(question)) + answered), text)


def head(title: str, basis: str, cards: Iterable[Card]) -> Shown:
    """Return the head of a report: its title, what it rests on, and what to know now."""
    made = [
        card(question, lead, prose(detail), f"{question} {lead}. {detail}")
        for question, lead, detail in cards
    ]
    html = (
        tag("header", tag("h1", escape(title)) + paragraph(basis, "basis"), class_="who")
        + heading(2, "What to know now")
        + tag("dl", "".join(shown.html for shown in made), class_="now")
    )
    return Shown(html, lines(title, basis, *(shown.text for shown in made)))
