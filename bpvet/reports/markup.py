"""Pieces of HTML, every value escaped: what a notebook's cell shows and a page is made of."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from html import escape

from bpvet.frozen import dataclass
from bpvet.wording.en.pages.shapes import Column, Table

#: Letters from which a cell is given room.
_LONG = 24
#: Spaces at which a line may not break: before the unit of a number.
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|mmHg)(?!\w))")
#: The same for every unit of a laboratory and a dose, and for the parts of a date.
_MONTHS = "January|February|March|April|May|June|July|August|September|October|November|December"
_WITHIN = re.compile(
    r"(?<=\d) (?=(?:µmol/L|mmol/L|µg/dL|mg/dL|mEq/L|mg|ml|kg|g|days?|drops?|tablets?)(?!\w)"
    rf"|(?:{_MONTHS}) \d{{4}})"
)
_ISO_DATE = re.compile(r"\d{4}-\d\d-\d\d(?: \d\d:\d\d)?")


@dataclass(frozen=True, repr=False)
class Shown:
    """What a cell shows: as HTML where that can be drawn, and as plain text elsewhere.

    Parameters
    ----------
    html : str
        HTML without script or style, all values escaped.
    text : str
        The same in plain words, or what it is.
    """

    html: str
    text: str

    def _repr_html_(self) -> str:
        return self.html

    def __repr__(self) -> str:
        return self.text


def tag(name: str, content: str, **attributes: str) -> str:
    """Return an element around ready-made HTML; attributes are escaped, `class_` is ``class``.

    Examples
    --------
    >>> tag("p", "a", class_="note", title='"')
    '<p class="note" title="&quot;">a</p>'
    """
    written = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value)}"'
        for key, value in attributes.items()
        if value
    )
    return f"<{name}{written}>{content}</{name}>"


def prose(text: str) -> str:
    """Return text escaped, each number on one line with its unit.

    Examples
    --------
    >>> prose("95 % < 160 mmHg")
    '95\\xa0% &lt; 160\\xa0mmHg'
    """
    return _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", escape(text))


def together(text: str) -> str:
    """Return text as `prose` does, with doses, laboratory units and days of a month unbroken too.

    Examples
    --------
    >>> together("0.75 ml on 1 May 2026")
    '0.75\\xa0ml on 1\\xa0May 2026'
    """
    return _WITHIN.sub("\N{NO-BREAK SPACE}", prose(text))


def paragraph(text: str, class_: str = "") -> str:
    """Return text as a paragraph; blank text gives nothing."""
    return tag("p", prose(text), class_=class_) if text else ""


def heading(level: int, text: str) -> str:
    """Return text as a heading."""
    return tag(f"h{level}", escape(text))


def bullets(items: Iterable[str], class_: str = "") -> str:
    """Return texts as a list."""
    return tag("ul", "".join(tag("li", prose(item)) for item in items), class_=class_)


def folded(summary: str, content: str) -> str:
    """Return ready-made HTML folded away under a summary; on paper it is left out."""
    return tag("details", tag("summary", escape(summary)) + content)


def fold(title: str, *parts: Shown, columns: bool = False, heads: bool = True) -> Shown:
    """Return a part of a page folded away under its title; on paper it stands open.

    Parameters
    ----------
    title : str
    *parts : Shown
        What it holds; where all are blank there is no fold.
    columns : bool
        Whether it is set in two columns on paper.
    heads : bool
        Whether its title is a heading of the page, or stands below one.
    """
    content = "".join(shown.html for shown in parts)
    if not content:
        return Shown("", "")
    body = tag("div", content, class_="two" if columns else "")
    summary = tag("summary", heading(2, title) if heads else escape(title))
    html = tag("details", summary + body, class_="fold")
    return Shown(html, lines(title, *(shown.text for shown in parts)))


def table(
    caption: str,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    wide: bool = False,
    marked: Collection[int] = (),
    ids: Sequence[str] = (),
) -> str:
    """Return a table with a caption and scoped heads; columns without any cell are left out.

    Parameters
    ----------
    caption : str
        What it shows; also names the region in which a wide table scrolls.
    columns : sequence of Column
        The first heads the rows.
    rows : sequence of sequence of str
        Cells, each row as long as `columns`.
    wide : bool
        Whether it may be wider than the page: it then scrolls in a region of its own, which a
        keyboard can reach.
    marked : collection of int
        Indices of rows that are set back, such as sessions outside the trend.
    ids : sequence of str
        Id of each row, for links that lead to it; none by default.
    """
    kept = [i for i in range(len(columns)) if i == 0 or any(row[i] for row in rows)]

    def cell(row: Sequence[str], i: int) -> str:
        class_ = "number" if columns[i].number else _shape(row[i])
        if i == 0:
            return tag("th", escape(row[i]), scope="row", class_=class_)
        return tag("td", escape(row[i]), class_=class_)

    head = "".join(
        tag("th", escape(column.head), scope="col", class_="number" if column.number else "")
        for column in (columns[i] for i in kept)
    )
    body = "".join(
        tag(
            "tr",
            "".join(cell(row, i) for i in kept),
            id=ids[index] if ids else "",
            class_="aside" if index in marked else "",
        )
        for index, row in enumerate(rows)
    )
    whole = tag(
        "table",
        tag("caption", escape(caption)) + tag("thead", tag("tr", head)) + tag("tbody", body),
        class_="wide" if wide else "",
    )
    return scrolling(caption, whole) if wide else whole


def _shape(text: str) -> str:
    """Return the class of a cell of text: a date is never broken, a long text gets room."""
    if _ISO_DATE.fullmatch(text):
        return "day"
    return "long" if len(text) > _LONG else ""


def tabled(found: Table, class_: str = "") -> Shown:
    """Return a table with what is said below it, in an element of a class where one is given."""
    html = table(found.caption, found.columns, found.rows, found.wide, found.marked, found.ids)
    if class_:
        html = tag("div", html, class_=class_)
    return Shown(html + "".join(map(paragraph, found.notes)), found.text)


def told_or_tabled(found: Table | str) -> Shown:
    """Return a table as `tabled` does, or what stands in its place as a paragraph."""
    return Shown(paragraph(found), found) if isinstance(found, str) else tabled(found)


def table_html(found: Table | None) -> str:
    """Return a table as HTML; nothing where there is none."""
    return "" if found is None else tabled(found).html


def scrolling(name: str, content: str) -> str:
    """Return ready-made HTML in a named region that scrolls sideways, also with a keyboard."""
    return tag("div", content, class_="scroll", role="region", tabindex="0", aria_label=name)


def lines(*texts: str) -> str:
    """Return the texts that are not blank, a line each."""
    return "\n".join(text for text in texts if text)
