"""Cards, and the head of a page on many animals: its title, its basis and what to know now."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from bpvet.reports.markup import Shown, heading, lines, paragraph, prose, tag
from bpvet.wording.en.pages.heads import KNOW_NOW
from bpvet.wording.en.pages.shapes import Card, Head


def card(found: Card, detail: str, mark: str = "") -> Shown:
    """Return a question with its answer.

    Parameters
    ----------
    found : Card
    detail : str
        What the answer rests on, as ready-made HTML.
    mark : str
        What stands in the plain words between the question and its answer.
    """
    answered = tag("dd", prose(found.lead), class_="lead") + tag("dd", detail)
    html = tag("div", tag("dt", escape(found.question)) + answered)
    return Shown(html, f"{found.question}{mark} {found.lead}. {found.detail}")


def head(found: Head) -> Shown:
    """Return the head of a report: its title, what it rests on, and what to know now."""
    made = [card(entry, prose(entry.detail)) for entry in found.cards]
    who = tag("h1", escape(found.title)) + paragraph(found.basis, "basis")
    html = tag("header", who, class_="who") + heading(2, KNOW_NOW) + cards(made, "now")
    return Shown(html, lines(found.title, found.basis, *(shown.text for shown in made)))


def cards(made: Iterable[Shown], class_: str) -> str:
    """Return cards beside each other, as HTML."""
    return tag("dl", "".join(shown.html for shown in made), class_=class_)
