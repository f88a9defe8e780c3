"""One animal's letter for a colleague: a single page, and the same in full as a table beside it.

Every text is measured in millimetres before it is set, in the widest of the fonts that the page
may be shown in, so that the page holds in any browser: what does not fit is counted and stands
in the table.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from html import escape

from bpvet.answers.letter import five
from bpvet.answers.parts import TrendAnswer
from bpvet.answers.phrases import counted, percent
from bpvet.errors import CallError
from bpvet.facts.words import LAB_QUANTITIES, QUANTITY_WORDS
from bpvet.figures.lettering import block
from bpvet.figures.save import svg_bytes
from bpvet.figures.style import MM_PER_INCH
from bpvet.figures.trend import draw
from bpvet.models.picture import trend_picture
from bpvet.models.trend import Trend
from bpvet.reports.letter_parts import (
    SessionRow,
    eyes_line,
    lab_lines,
    session_rows,
    short,
    sign_lines,
    treatment_lines,
)
from bpvet.reports.markup import bullets, heading, paragraph, scrolling, tag
from bpvet.reports.naming import digest_of
from bpvet.reports.now import Whose, whose
from bpvet.reports.page import cleaned, document

#: Width and height of paper, mm, by the name that its style sheet knows it by.
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
#: Margins of the page, and its parts, mm: those of the style sheet.
_MARGIN, _WIDTH, _FIGURE, _COLUMN = 12.0, 186.0, 100.0, 82.0
#: Size of the letters, points, and one line of them, mm.
_SIZE, _LINE = 8.0, 10.0 * MM_PER_INCH / 72
_COLUMNS = (20.0, 24.0, 22.0, 17.0, 22.0, 49.0, 32.0)
_CELL_EDGE, _ROW_EDGE = 2.0, 0.9
#: What stands above and below the parts that are measured: title, rules, room for a hand, mm.
_TITLE, _SIGNATURE, _BETWEEN = 6.0, 13.5, 2.2
#: Kept free, because browsers round lines up.
_SPARE = 4.0
#: Letters of one of the five texts before it is cut; the table holds it whole.
_LONGEST = 500
#: Room for treatments, signs and the like where the figure leaves less, mm.
_LEAST = 45.0
#: A figure taller than this leaves no room for sessions; it is then left to a file of its own.
_TALLEST = 165.0
#: Beginnings of the cautions that a letter gives room to; the table beside it holds all.
_CAUTIONS = (
    "These figures describe",
    "Do not start, stop",
    "Excitement lifts",
    "Doppler and oscillometric",
    "Some of the guideline's",
    "No dose is recommended",
)
_HEADS = ("Date", "Method", "Site", "Cuff, cm", "Setting", "Readings as taken", "Mean")


@dataclass(frozen=True)
class Letter:
    """A letter's content before and after it is fitted to its page.

    `left` counts what was left to the table beside it, by the kind of thing; before that
    it is empty.
    """

    title: str
    whose: Whose
    said: tuple[str, ...]
    urgent: int
    sessions: tuple[SessionRow, ...]
    lists: dict[str, tuple[str, ...]]
    cautions: str
    basis: str
    unit: str
    figure: str
    alt_text: str
    figure_height: float
    left: dict[str, int]
    table: str
    mark: str

    @property
    def column(self) -> float:
        """Width of the sentences and lists, mm: beside the figure, or the whole page."""
        return _COLUMN if self.figure else _WIDTH


def letter_html(letter: Letter, paper: str, fewer: int = 0) -> str:
    """Return a letter as a page of its own, with as much of the records as fits on one sheet.

    Parameters
    ----------
    letter : Letter
        As `letter_of` returns it.
    paper : str
        One of `PAPERS`.
    fewer : int
        So many sessions less than were measured to fit.
    """
    kept = _fitted(letter, paper, fewer)
    width, height = PAPERS[paper]
    side = f"{_MARGIN:g}mm {(width - _WIDTH) / 2:g}mm"
    page = f"@page {{ size: {width:g}mm {height:g}mm; margin: {side}; }}\n"
    html = document(cleaned(_body(kept)), kept.title, kept.mark, "letter.css")
    return html.replace("<style>\n", f"<style>\n{page}", 1)


def letter_of(trend: Trend, answer: TrendAnswer, table: str) -> Letter:
    """Return everything that a letter could tell.

    Parameters
    ----------
    trend : Trend
        Of a pressure.
    answer : TrendAnswer
        Its answer.
    table : str
        Name of the CSV file beside it.

    Raises
    ------
    CallError
        For a laboratory value, which has no sessions.
    """
    if answer.quantity in LAB_QUANTITIES:
        raise CallError(
            "A letter tells of sessions, and a laboratory value has none. Choose a pressure with "
            "--quantity, or leave out --letter for the figure alone."
        )
    picture = trend_picture(trend, answer.guideline, answer.level)
    tall = draw(picture, _FIGURE).get_size_inches()[1] * MM_PER_INCH
    figure = b64encode(svg_bytes(picture, _FIGURE)).decode("ascii") if tall <= _TALLEST else ""
    who = Whose(*(short(part, 160) for part in whose(trend, answer)))
    return Letter(
        title=f"{short(who.name, 60)}: {QUANTITY_WORDS[answer.quantity]}",
        whose=who,
        said=tuple(short(text, _LONGEST) for text in five(answer)),
        urgent=len(answer.urgent or ()),
        sessions=session_rows(trend),
        lists={
            "Treatments, doses as written": treatment_lines(trend),
            "Eyes last looked at": (eyes_line(trend),),
            "Signs": sign_lines(trend),
            "Laboratory values": lab_lines(trend),
        },
        cautions=" ".join(one for one in answer.cautions if one.startswith(_CAUTIONS)),
        basis=_basis(answer, table),
        unit=answer.unit,
        figure=figure,
        alt_text=picture.alt_text,
        figure_height=tall if figure else 0.0,
        left={},
        table=table,
        mark=f"letter {digest_of(answer.animal)}",
    )


def _basis(answer: TrendAnswer, table: str) -> str:
    return (
        f"Intervals and shaded bands hold {percent(answer.level)}. Guideline: "
        f"{answer.guideline_name}. Which readings count: rule “{answer.rule}”. Everything in full: "
        f"{table}. bpvet {answer.version}, records {answer.data_digest[:12]}."
    )


def _fitted(whole: Letter, paper: str, fewer: int) -> Letter:
    """Return the letter with the newest of everything, as much as its page holds."""
    room = PAPERS[paper][1] - 2 * _MARGIN - _SPARE
    column = whole.column
    said = _LINE + sum(
        _tall(text, column - 2.5, i < whole.urgent) + 0.7 for i, text in enumerate(whole.said)
    )
    lists, left = _fitted_lists(whole.lists, max(whole.figure_height - said, _LEAST), column)
    listed = sum(_list_tall(entries, column) for entries in lists.values())
    used = _TITLE + sum(map(_tall, _who_lines(whole.whose))) + 3 * _BETWEEN
    used += max(whole.figure_height, said + listed)
    used += sum(map(_tall, (_caption(whole), whole.cautions, whole.basis, _rest(99, whole))))
    used += 2 * (_LINE + _ROW_EDGE) + _SIGNATURE
    if whole.figure and used > room:
        return _fitted(replace(whole, figure="", figure_height=0.0), paper, fewer)
    kept = 0
    for row in whole.sessions:
        used += _row_tall(row)
        if used > room:
            break
        kept += 1
    kept = max(0, kept - fewer)
    left["sessions"] = len(whole.sessions) - kept
    return replace(whole, sessions=whole.sessions[:kept], lists=lists, left=left)


def _fitted_lists(
    lists: dict[str, tuple[str, ...]], room: float, column: float
) -> tuple[dict[str, tuple[str, ...]], dict[str, int]]:
    """Return as many entries of each list as fit, the first of every list before the second."""
    kept = dict.fromkeys(lists, 0)
    room -= len(lists) * _list_tall((), column)
    for place in range(max(map(len, lists.values()))):
        for name, entries in lists.items():
            if place >= len(entries) or kept[name] < place:
                continue
            room -= _tall(entries[place], column)
            if room < 0 and place:
                return _cut(lists, kept)
            kept[name] += 1
    return _cut(lists, kept)


def _cut(
    lists: dict[str, tuple[str, ...]], kept: dict[str, int]
) -> tuple[dict[str, tuple[str, ...]], dict[str, int]]:
    shown = {name: entries[: kept[name]] for name, entries in lists.items()}
    return shown, {name: len(lists[name]) - kept[name] for name in lists}


def _tall(text: str, room: float = _WIDTH, bold: bool = False) -> float:
    """Return the height of a text set in lines of a width, mm."""
    return len(block(text, room, 500, _SIZE, bold).lines) * _LINE if text else 0.0


def _list_tall(entries: Sequence[str], column: float) -> float:
    """Return the height of a list with its heading and the line that counts the rest, mm."""
    return 2 * _LINE + 1.5 + sum(_tall(text, column) for text in entries)


def _row_tall(row: SessionRow) -> float:
    cells = zip(row.cells, _COLUMNS, strict=True)
    return max(_tall(text or "–", room - _CELL_EDGE) for text, room in cells) + _ROW_EDGE


def _body(kept: Letter) -> str:
    figure = ""
    if kept.figure:
        address = f"data:image/svg+xml;base64,{kept.figure}"
        image = tag("img", "", src=address, alt=kept.alt_text).removesuffix("</img>")
        figure = tag("figure", image)
    column = heading(2, "In short") + _said(kept)
    if not kept.figure:
        column += paragraph("The figure is too tall for this page; “bpvet figure” draws it alone.")
    column += "".join(
        _list(title, entries, kept.left[title], kept.table) for title, entries in kept.lists.items()
    )
    return "".join(
        (
            tag(
                "header", "".join((heading(1, kept.title), *map(paragraph, _who_lines(kept.whose))))
            ),
            tag("div", tag("div", column) + figure, class_="beside" if figure else "alone"),
            _table(kept),
            paragraph(_rest(kept.left["sessions"], kept), "rest"),
            paragraph(kept.cautions, "cautions"),
            tag("div", "".join(map(paragraph, _HAND)), class_="hand"),
            paragraph(kept.basis, "basis"),
        )
    )


_HAND = ("Name and signature", "Telephone", "Date")


def _who_lines(whose: Whose) -> tuple[str, ...]:
    """Return whose letter it is, a line each; who writes only as the records name it."""
    clinic = f"From: {whose.clinic}." if whose.clinic else ""
    return (f"{whose.id}. {whose.known} {clinic}".strip(), f"{whose.basis} {whose.left}".strip())


def _said(kept: Letter) -> str:
    lines = (
        tag("li", escape(text), class_="first" if i < kept.urgent else "")
        for i, text in enumerate(kept.said)
    )
    return tag("ul", "".join(lines), class_="said")


def _list(title: str, entries: Sequence[str], more: int, table: str) -> str:
    shown = [*entries, *([f"… and {more} more in {table}"] if more else [])]
    return heading(2, title) + bullets(shown or ["None recorded."])


def _table(kept: Letter) -> str:
    head = "".join(tag("th", escape(_head(text, kept)), scope="col") for text in _HEADS)
    body = "".join(map(_row, kept.sessions))
    caption = tag("caption", escape(_caption(kept)))
    whole = tag("table", caption + tag("thead", tag("tr", head)) + tag("tbody", body))
    return scrolling("Sessions, newest first", whole)


def _row(row: SessionRow) -> str:
    def cells() -> Iterator[str]:
        for i, text in enumerate(row.cells):
            if i == 0:
                yield tag("th", escape(text), scope="row", class_="day")
            else:
                yield tag("td", escape(text or "–"))

    return tag("tr", "".join(cells()))


def _head(text: str, kept: Letter) -> str:
    return f"{text}, {kept.unit}" if text == "Mean" else text


def _caption(kept: Letter) -> str:
    several = any("/" in row.readings for row in kept.sessions)
    order = " as systolic/diastolic/mean" if several else ""
    limb = any("/" in row.cuff for row in kept.sessions)
    cuff = " Cuff: its width/round the limb." if limb else ""
    flagged = any(row.mean.endswith("†") for row in kept.sessions)
    mark = f" † has a remark in {kept.table}." if flagged else ""
    return (
        f"Sessions, newest first. Readings in mmHg in the order of taking{order}; those in "
        f"brackets do not count towards the mean.{cuff}{mark}"
    )


def _rest(count: int, kept: Letter) -> str:
    """Return how many sessions the table beside the letter holds besides those shown."""
    if not count:
        return ""
    are = "is" if count == 1 else "are"
    return f"{counted(count, 'older session').capitalize()} {are} in {kept.table}."
