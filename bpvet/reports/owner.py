"""The owner's page, and the home diary on its back: two sheets of paper, and a CSV to fill in."""

from __future__ import annotations

from dataclasses import replace

from bpvet.answers.owner.owner import OwnerAnswer
from bpvet.facts.cautions import licensed
from bpvet.facts.sources import footnotes
from bpvet.figures.lettering import block
from bpvet.files import csv_bytes
from bpvet.records.entries.diary import HEADINGS, READINGS
from bpvet.reports.letter.figure import WIDTH
from bpvet.reports.letter.letter import PAPERS
from bpvet.reports.markup import bullets, heading, paragraph, prose, tag
from bpvet.reports.naming import digest_of
from bpvet.reports.page import cleaned, document
from bpvet.wording.en.owner import (
    DIARY_HELP,
    RED_FLAGS,
    RED_HEAD,
    RED_WAIT,
    Part,
    called,
    owner_credit,
    owner_parts,
    phone_texts,
)
from bpvet.wording.en.phrases import capital, day

#: Margin above and below a sheet, mm, and what both papers have room for.
_MARGIN, _HEIGHT = 12.0, 253.0
#: Days of the diary on paper, and lines of the table to fill in.
DAYS, ROWS = 14, 28
#: A name in a sentence, and in the title, is no longer than this, mm at 11 points.
_NAME = 60.0
_HEADS = ("Date", "Time", "Before or after the tablet", "Given or missed", "Method, cuff")


def owner_html(answer: OwnerAnswer, paper: str = "a4") -> str:
    """Return the owner's page and the diary as a page of its own.

    Parameters
    ----------
    answer : OwnerAnswer
    paper : str
        One of `bpvet.reports.letter.letter.PAPERS`.
    """
    width, height = PAPERS[paper]
    # A name may be as long as it likes: on paper it has a line.
    known = replace(answer, name=block(answer.name, _NAME, 1, 11).text if answer.name else "")
    title = f"Blood pressure: {called(known)}"
    body = tag("section", _first(known, title), class_="sheet") + tag(
        "section", _diary(known), class_="sheet"
    )
    html = document(cleaned(body), title, mark_of(answer), "owner.css")
    side = (width - WIDTH) / 2
    rules = (
        f"@page {{ size: {width:g}mm {height:g}mm; margin: {_MARGIN:g}mm {side:g}mm; }}\n"
        f"@media print {{ .sheet {{ height: {_HEIGHT:g}mm; }} }}\n"
    )
    return html.replace("<style>\n", f"<style>\n{rules}", 1)


def mark_of(answer: OwnerAnswer) -> str:
    """Return what tells whose page a file is."""
    return f"owner {digest_of(answer.animal)}"


def diary_csv(answer: OwnerAnswer) -> bytes:
    """Return a home diary to fill in, as `bpvet.read` takes it: one line a time of measuring.

    Parameters
    ----------
    answer : OwnerAnswer
    """
    own = {"animal": answer.animal, "setting": "home"}
    row = [own.get(name) for name in HEADINGS]
    return csv_bytes(HEADINGS, [row] * ROWS)


def _first(answer: OwnerAnswer, title: str) -> str:
    phone = phone_texts(answer)
    was, coming, tablets = owner_parts(answer)
    alarm = "".join(paragraph(text) for text in phone[1:])
    clinic = block(answer.clinic, WIDTH - 4, 1, 12).text if answer.clinic else ""
    foot = owner_credit()
    return "".join(
        (
            tag("section", heading(2, phone[0]) + alarm, class_="phone") if phone else "",
            tag(
                "header",
                heading(1, title) + paragraph(clinic) + paragraph(f"Written {day(answer.as_of)}."),
            ),
            _part(was),
            heading(2, "Where your vet wants it"),
            tag("p", f"Your vet fills in: between {_line()} and {_line()}"),
            _part(coming),
            tag("p", f"Day and time: {_line('long')}"),
            _part(tablets),
            tag(
                "section",
                heading(2, RED_HEAD)
                + bullets(RED_FLAGS)
                + paragraph(RED_WAIT)
                + tag("p", f"Practice: {_line('long')} At night: {_line('long')}"),
                class_="phone",
            ),
            paragraph(" ".join((licensed(), foot, *footnotes(foot))), "foot"),
        )
    )


def _part(part: Part) -> str:
    return heading(2, part.head) + paragraph(" ".join(part.texts))


def _line(class_: str = "") -> str:
    return tag("span", "", class_=f"line {class_}".strip())


def _diary(answer: OwnerAnswer) -> str:
    heads = (*_HEADS, *(str(place) for place in range(1, READINGS + 1)), "Mood")
    head = "".join(tag("th", prose(text), scope="col") for text in heads)
    row = tag("tr", "".join(tag("td", "") for _ in heads))
    whole = tag("table", tag("thead", tag("tr", head)) + tag("tbody", row * DAYS), class_="diary")
    return (
        heading(1, f"Home diary: {capital(called(answer))}")
        + bullets(DIARY_HELP)
        + whole
        + paragraph("See the other side: when to phone now.")
    )
