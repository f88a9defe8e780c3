"""A letter as a page of its own: it flows over as many sheets as it needs, alike everywhere."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from bpvet.reports.drawings import NARROW_WINDOW
from bpvet.reports.letter.fit import BLANKS, labelled_parts, placed
from bpvet.reports.letter.labs import LabTable
from bpvet.reports.letter.letter import Letter
from bpvet.reports.letter.sessions import FLAGGED, SessionRow, Sessions
from bpvet.reports.markup import bullets, heading, paragraph, prose, scrolling, tag
from bpvet.reports.paper import PaperKind, visible
from bpvet.wording.en.pages.heads import URGENT
from bpvet.wording.en.pages.letter import (
    HAND,
    HEADS,
    LABELS,
    NOTES,
    PAGE_OF,
    TABLE_HEADS,
    apart_words,
    earlier_way,
    readings_note,
)

Lines = tuple[str, ...]


def _rules(letter: Letter, paper: str) -> tuple[str, str]:
    """Return whose each page is, at its foot, and the figure's width."""
    foot = (
        f"\n  @bottom-left {{ content: {_css(visible(letter.foot))}; }}\n"
        f"  @bottom-right {{ content: {PAGE_OF}; }}"
    )
    width = placed(letter, paper).width
    return foot, f"@media print {{ main > figure img {{ width: {width:.1f}mm; }} }}\n"


def _css(text: str) -> str:
    """Return text as a string of a style sheet; whatever it holds, it ends nothing.

    Examples
    --------
    >>> _css('A"</style>')
    '"A\\\\22 \\\\3c \\\\2f style\\\\3e "'
    """
    plain = (
        char if char.isascii() and (char.isalnum() or char == " ") else f"\\{ord(char):x} "
        for char in text
    )
    return f'"{"".join(plain)}"'


def _middle(letter: Letter, paper: str) -> str:
    """Return the figure and what stands about it: where it fits is measured."""
    parts, above = _parts(letter), placed(letter, paper).above
    return "".join((*parts[:above], _figure(letter), *parts[above:]))


def _foot(letter: Letter, _: str) -> str:
    """Return the cautions, room for a signature, and what all of it rests on."""
    return (
        paragraph(letter.cautions, "cautions")
        + tag("div", "".join(map(paragraph, HAND)), class_="hand")
        + paragraph(letter.basis, "basis")
    )


def _head(letter: Letter, _: str) -> str:
    """Return addressee, sender and reason, with lines to write on, and who the animal is."""
    who = letter.who
    given = (("to", who.to), ("clinic", who.clinic))
    pairs = "".join(_line(*pair) for pair in (*given, ("question", who.question)))
    return (
        tag("dl", pairs, class_="address")
        + heading(1, who.name)
        + "".join(paragraph(text, "who") for text in who.lines)
    )


def _line(name: str, text: str) -> str:
    """Return a line of the address: what is given, or lines to write on."""
    blank = tag("dd", "\N{NO-BREAK SPACE}", class_="blank") * BLANKS[name]
    return tag("div", tag("dt", escape(LABELS[name])) + (tag("dd", prose(text)) if text else blank))


def _urgent(letter: Letter, _: str) -> str:
    if not letter.words.urgent:
        return ""
    alarms = "".join(paragraph(text) for text in letter.words.alarms)
    return tag("section", heading(2, URGENT) + alarms, class_="urgent")


def _summary(letter: Letter, _: str) -> str:
    """Return newest value, usual, target and when again, a label and its words each."""
    newer = [(LABELS["newest" if letter.figure is None else "newer"], letter.newer)]
    return labelled([*newer, *((label, (text,)) for label, text in letter.words.summary)])


def _figure(letter: Letter) -> str:
    found = letter.figure
    if found is None:
        return paragraph(NOTES["figure"], "none")
    address = "data:image/svg+xml;base64,"
    image = tag("img", "", src=f"{address}{found.wide}", alt=found.alt_text)
    narrow = tag("source", "", media=f"screen and {NARROW_WINDOW}", srcset=address + found.narrow)
    pictured = narrow.removesuffix("</source>") + image.removesuffix("</img>")
    words = tag("figcaption", prose(found.words)) if found.words else ""
    return tag("figure", tag("picture", pictured) + words)


def _parts(letter: Letter) -> list[str]:
    """Return drugs, eyes, signs, laboratory values and what stands out, as `letter_fit.parts`."""
    words, labs = letter.words, letter.labs
    kidney = paragraph("" if labs.others else NOTES["none"])
    if labs.newest is not None:
        kidney = _table(labs.newest, HEADS["newest_labs"], "course")
    return [
        *(labelled([entry]) for entry in labelled_parts(letter)),
        heading(2, HEADS["labs"]) + kidney + bullets(labs.others),
        statement_list(words.kidney),
        heading(2, HEADS["short"]) + statement_list(words.short) if words.short else "",
    ]


def _behind(letter: Letter, _: str) -> str:
    """Return the other answers, and what came before."""
    words, labs = letter.words, letter.labs
    entries = [
        (LABELS["earlier_drugs"], letter.drugs.earlier),
        (LABELS["earlier_signs"], letter.signs.earlier),
        (LABELS["aside"], labs.aside),
        (LABELS["future"], letter.future),
    ]
    every = "".join(_table(table, HEADS["earlier_table"], "labs") for table in labs.earlier)
    return (
        (heading(2, HEADS["further"]) + statement_list(words.behind) if words.behind else "")
        + labelled(entries)
        + (heading(2, HEADS["earlier_labs"]) + every if every else "")
    )


def labelled(entries: Sequence[tuple[str, Lines]]) -> str:
    """Return texts under their labels; a label without any is left out."""
    pairs = "".join(
        tag("div", tag("dt", escape(label)) + "".join(tag("dd", prose(text)) for text in texts))
        for label, texts in entries
        if texts
    )
    return tag("dl", pairs, class_="summary") if pairs else ""


def statement_list(texts: Sequence[str]) -> str:
    """Return statements as a list; none give nothing."""
    points = "".join(tag("li", prose(text)) for text in texts)
    return tag("ul", points, class_="said") if texts else ""


def _table(found: LabTable, caption: str, class_: str) -> str:
    head = "".join(tag("th", _date_head(text), scope="col") for text in found.heads)
    rows = "".join(
        tag(
            "tr",
            tag("th", escape(row[0]), scope="row")
            + "".join(tag("td", prose(text)) for text in row[1:]),
        )
        for row in found.rows
    )
    words = tag("caption", escape(caption))
    whole = tag("table", words + tag("thead", tag("tr", head)) + tag("tbody", rows), class_=class_)
    return scrolling(caption, whole)


def _date_head(text: str) -> str:
    """Return a head, a date in two lines: its year over month and day."""
    year, _, day = text.partition("-")
    return f"{escape(year)}-<br>{escape(day)}" if day else escape(text)


def _sessions(letter: Letter, _: str) -> str:
    """Return every session: the recent ones in a table, the older ones in a line each."""
    sessions = letter.sessions
    marks = {flag: str(i) for i, flag in enumerate(sessions.remarks, start=1)}
    if not sessions.recent:
        return heading(2, HEADS["none"]) + paragraph(NOTES["none"]) + _apart(letter)
    heads = (*TABLE_HEADS[:-1], f"{TABLE_HEADS[-1]}, {letter.unit}")
    head = "".join(tag("th", escape(text), scope="col") for text in heads)
    body = "".join(_row(row, marks) for row in sessions.recent)
    caption = tag("caption", HEADS["sessions"])
    table = tag(
        "table", caption + tag("thead", tag("tr", head)) + tag("tbody", body), class_="sessions"
    )
    remarks = [f"{FLAGGED}{mark} {flag}" for flag, mark in marks.items()]
    return (
        heading(2, HEADS["sessions"])
        + paragraph(caption_of(sessions), "rest")
        + scrolling(HEADS["sessions"], table)
        + "".join(_older(way, rows, marks) for way, rows in sessions.older)
        + paragraph(f"{'; '.join(remarks)}." if remarks else "", "rest")
        + _apart(letter)
    )


def _apart(letter: Letter) -> str:
    return paragraph(apart_words(letter.apart), "rest")


def _row(row: SessionRow, marks: dict[str, str]) -> str:
    def cells() -> Iterator[str]:
        *others, mean = row.cells
        yield tag("th", escape(others[0]), scope="row", class_="day")
        yield from (tag("td", escape(text or "–")) for text in others[1:])
        yield tag("td", escape(_marked(mean or "–", row, marks)))

    return tag("tr", "".join(cells()))


def _older(way: str, rows: Sequence[SessionRow], marks: dict[str, str]) -> str:
    """Return older sessions that were measured one way, a line each."""
    points = "".join(tag("li", escape(_line_of(row, marks))) for row in rows)
    return heading(3, earlier_way(way)) + tag("ul", points, class_="older")


def _line_of(row: SessionRow, marks: dict[str, str]) -> str:
    """Return a session in a line; its mean is never torn."""
    mean = f"= {_marked(row.mean or '–', row, marks)}".replace(" ", "\N{NO-BREAK SPACE}")
    return f"{row.date}: {row.readings} {mean}"


def _marked(mean: str, row: SessionRow, marks: dict[str, str]) -> str:
    numbers = ",".join(marks[flag] for flag in row.remarks)
    return f"{mean} {FLAGGED}{numbers}" if numbers else mean


def caption_of(sessions: Sessions) -> str:
    """Return what the sessions show, and how they are read."""
    rows = sessions.rows
    several = any("/" in row.readings for row in rows)
    return readings_note(several, any(row.limb for row in rows))


#: Composed as an animal's page is, under addressee and reason.
LETTER: PaperKind[Letter] = PaperKind(
    name="letter",
    animal=lambda letter: letter.animal,
    title=lambda letter: letter.title,
    sections=(_head, _urgent, _summary, _middle, _behind, _sessions, _foot),
    rules=_rules,
)
