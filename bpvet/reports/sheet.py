"""The sheet for the room as a page: one sheet of paper, A4 or letter, whatever the records hold.

It is laid out for what both papers have room for. Texts of the records are measured before they are
set, in the widest of the fonts that the page may be shown in, and cut with an ellipsis where they
would push the boxes off the sheet; urgent lines are cut last, and the sheet says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from bpvet.answers.sheet.sheet import SheetAnswer
from bpvet.facts.cautions import licensed
from bpvet.facts.sources import footnotes
from bpvet.figures.lettering import ELLIPSIS, block
from bpvet.figures.style import MM_PER_INCH
from bpvet.frozen import dataclass, replace
from bpvet.reports.markup import heading, paragraph, prose, tag
from bpvet.reports.naming import slug
from bpvet.reports.paper import WIDTH, PaperKind
from bpvet.wording.en.pages.heads import URGENT
from bpvet.wording.en.pages.sheet import PAGE_TITLE, SHEET_WORDS, shown_short, who_line
from bpvet.wording.en.sheet import (
    BACK,
    BOXES,
    DOSES,
    EYES,
    HOW_TO_WRITE,
    NERVES,
    SheetRow,
    last_head,
    protocol_credit,
    protocol_lines,
    sheet_rows,
)

#: The height of what is set: room for it is on both papers, mm.
HEIGHT = 253.0
#: Widths of the columns of the first table, mm.
_WHAT, _LAST = 30.0, 74.0
#: Size of letters, points; one line of them, and the edges of a row, mm.
_SIZE, _LINE, _EDGE = 8.5, 11.0 * MM_PER_INCH / 72, 3.5
_SMALL, _SMALL_LINE = 7.0, 8.5 * MM_PER_INCH / 72
_TITLE = 14.0
#: What stands whatever the records hold: title, headings, boxes, ticks, edges; mm.
_FIXED = 103.0
_BOX_EDGE, _BOX_HEAD = 5.0, 4.6
_CELL_EDGE = 2.5


@dataclass(frozen=True)
class Fitted:
    """What of the records stands on a sheet, cut to what it has room for.

    Parameters
    ----------
    urgent : tuple of str
        Urgent lines, then open questions.
    rows : tuple of SheetRow
    cut : bool
        Whether some text is shown short.
    """

    urgent: tuple[str, ...]
    rows: tuple[SheetRow, ...]
    cut: bool


def sheet_name(animal: str) -> str:
    """Return the name of the file of an animal's sheet, beside the clinic's list.

    Examples
    --------
    >>> sheet_name("A17")
    'sheet-A17.html'
    """
    return f"sheet-{slug(animal)}.html"


def sheet_pages(sheets: Mapping[str, SheetAnswer]) -> dict[str, bytes]:
    """Return the pages of several sheets by the names of their files."""
    return {sheet_name(animal): SHEET.file(answer) for animal, answer in sheets.items()}


def _title(answer: SheetAnswer) -> str:
    who = f"{answer.name} ({answer.animal})" if answer.name else answer.animal
    return block(who, WIDTH - 2, 1, _TITLE, bold=True).text


def _body(answer: SheetAnswer, _: str) -> str:
    fitted = _fitted(answer)
    species = block(answer.species, 40, 1, _SIZE).text if answer.species else ""
    made = who_line(answer, species)
    urgent = heading(2, URGENT if answer.urgent else SHEET_WORDS["open"]) + "".join(
        map(paragraph, fitted.urgent)
    )
    protocol = protocol_lines(answer.species)
    notes = " ".join((BACK, protocol_credit(answer.species)))
    foot = " ".join((notes, *footnotes(notes), licensed()))
    return "".join(
        (
            tag("header", heading(1, _title(answer)) + paragraph(made)),
            tag("section", urgent, class_="urgent") if fitted.urgent else "",
            _last_table(answer, fitted.rows),
            paragraph(SHEET_WORDS["cut"], "short") if fitted.cut else "",
            heading(2, SHEET_WORDS["readings"]),
            _boxes(),
            paragraph(HOW_TO_WRITE, "short"),
            _ticks(SHEET_WORDS["doses"], DOSES, SHEET_WORDS["last_dose"]),
            _ticks(SHEET_WORDS["eyes"], EYES),
            _ticks(SHEET_WORDS["nerves"], NERVES),
            heading(2, SHEET_WORDS["how"]),
            tag("ol", "".join(tag("li", prose(line)) for line in protocol)),
            paragraph(foot, "foot"),
        )
    )


def _last_table(answer: SheetAnswer, rows: Iterable[SheetRow]) -> str:
    heads = (SHEET_WORDS["what"], last_head(answer), SHEET_WORDS["today"])
    head = "".join(tag("th", prose(text), scope="col") for text in heads)
    body = "".join(
        tag(
            "tr",
            tag("th", prose(row.what), scope="row")
            + tag("td", prose(row.last), class_="was")
            + tag("td", _today(row)),
        )
        for row in rows
    )
    return tag("table", tag("thead", tag("tr", head)) + tag("tbody", body), class_="last")


def _today(row: SheetRow) -> str:
    if not row.today:
        return tag("span", prose(f" {row.unit}" if row.unit else ""), class_="unit")
    if row.unit:
        return "".join(
            f"{prose(choice)} {tag('span', '', class_='line')} {prose(row.unit)} "
            for choice in row.today
        )
    return "".join(_tick(choice) for choice in row.today)


def _tick(text: str) -> str:
    return tag("span", tag("span", "", class_="box") + prose(text), class_="tick")


def _ticks(title: str, texts: Sequence[str], line: str = "") -> str:
    more = f"{prose(line)} {tag('span', '', class_='line')}" if line else ""
    shown = "".join(map(_tick, texts))
    return tag("div", tag("strong", prose(title)) + shown + more, class_="ticks")


def _boxes() -> str:
    names = [SHEET_WORDS["first"], *(str(number) for number in range(2, BOXES + 1))]
    head = "".join(
        tag("th", prose(name), scope="col", class_="first" if index == 0 else "")
        for index, name in enumerate(names)
    )
    empty = "".join(tag("td", "", class_="first" if index == 0 else "") for index in range(BOXES))
    why = "".join(tag("td", prose(SHEET_WORDS["why"])) for _ in range(BOXES))
    body = tag("tr", empty, class_="write") + tag("tr", why, class_="why")
    return tag("table", tag("thead", tag("tr", head)) + tag("tbody", body), class_="boxes")


def _fitted(answer: SheetAnswer) -> Fitted:
    """Return what stands on the sheet: rows of two lines, of one where much is urgent."""
    urgent = [*(finding.text for finding in answer.urgent), *answer.open_questions]
    space = HEIGHT - _FIXED - _below(answer)
    for most in (3, 2, 1):
        rows = tuple(
            replace(row, last=" ".join(block(row.last, _LAST - _CELL_EDGE, most, _SIZE).lines))
            for row in sheet_rows(answer)
        )
        tall = (max(1, _lines(row.last, _LAST - _CELL_EDGE, _SIZE)) for row in rows)
        left = space - sum(lines * _LINE + _EDGE for lines in tall)
        if _urgent_tall(urgent) <= left:
            break
    alarms = tuple(urgent) if _urgent_tall(urgent) <= left else _cut(urgent, left)
    whole = sheet_rows(answer)
    cut = any(
        a.last != b.last and a.last.endswith(ELLIPSIS) for a, b in zip(rows, whole, strict=True)
    )
    return Fitted(alarms, rows, cut)


def _lines(text: str, space: float, size: float, bold: bool = False) -> int:
    return len(block(text, space, 10**6, size, bold).lines)


def _below(answer: SheetAnswer) -> float:
    """Return how tall protocol and foot are, mm."""
    lines = protocol_lines(answer.species)
    notes = " ".join((BACK, protocol_credit(answer.species)))
    foot = " ".join((notes, *footnotes(notes), licensed()))
    tall = sum(_lines(text, WIDTH - 6, _SIZE) * _LINE for text in lines)
    return tall + _lines(foot, WIDTH, _SMALL) * _SMALL_LINE


def _urgent_tall(texts: Sequence[str]) -> float:
    if not texts:
        return 0.0
    lines = sum(_lines(text, WIDTH - 8, _SIZE, bold=True) for text in texts)
    return _BOX_EDGE + _BOX_HEAD + lines * _LINE


def _cut(texts: Sequence[str], space: float) -> tuple[str, ...]:
    """Return the urgent lines that a sheet has room for, each cut, and what is left out."""
    lines = max(2, int((space - _BOX_EDGE - _BOX_HEAD) / _LINE) - 1)
    shown, most = texts[: lines // 2 or 1], 2
    if len(texts) <= lines // 3:
        most = 3
    alarms = [" ".join(block(text, WIDTH - 8, most, _SIZE, bold=True).lines) for text in shown]
    left = len(texts) - len(shown)
    return (*alarms, shown_short(left))


#: To take into the room: one side of paper.
SHEET: PaperKind[SheetAnswer] = PaperKind(
    name="sheet",
    animal=lambda answer: answer.animal,
    title=lambda answer: PAGE_TITLE.format(who=_title(answer)),
    sections=(_body,),
    rules=lambda *_: ("", f"@media print {{ main {{ height: {HEIGHT:g}mm; }} }}\n"),
)
