"""The owner's page, and the home diary on its back: two sheets of paper, and a CSV to fill in."""

from __future__ import annotations

from bpvet.answers.owner.owner import OwnerAnswer
from bpvet.facts.cautions import licensed
from bpvet.facts.sources import footnotes
from bpvet.figures.lettering import block
from bpvet.files import csv_bytes
from bpvet.frozen import replace
from bpvet.records.entries.diary import HEADINGS, READINGS
from bpvet.reports.markup import bullets, heading, paragraph, prose, tag
from bpvet.reports.paper import WIDTH, PaperKind
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
from bpvet.wording.en.pages.owner import (
    DIARY_HEADS,
    MOOD,
    NEXT_LINE,
    OTHER_SIDE,
    PAGE_TITLE,
    PHONE_LINE,
    TARGET_HEAD,
    TARGET_LINE,
    diary_title,
    written_on,
)

#: What both papers have room for, mm.
_HEIGHT = 253.0
#: Days of the diary on paper, and lines of the table to fill in.
DAYS, ROWS = 14, 28
#: A name in a sentence, and in the title, is no longer than this, mm at 11 points.
_NAME = 60.0


def diary_csv(answer: OwnerAnswer) -> bytes:
    """Return a home diary to fill in, as `bpvet.read` takes it: one line a time of measuring.

    Parameters
    ----------
    answer : OwnerAnswer
    """
    filled = {"animal": answer.animal, "setting": "home"}
    row = [filled.get(name) for name in HEADINGS]
    return csv_bytes(HEADINGS, [row] * ROWS)


def _first(answer: OwnerAnswer, _: str) -> str:
    title, answer = _title(answer), _named(answer)
    phone = phone_texts(answer)
    was, coming, tablets = owner_parts(answer)
    alarm = "".join(paragraph(text) for text in phone[1:])
    clinic = block(answer.clinic, WIDTH - 4, 1, 12).text if answer.clinic else ""
    foot = owner_credit()
    front = "".join(
        (
            tag("section", heading(2, phone[0]) + alarm, class_="phone") if phone else "",
            tag(
                "header",
                heading(1, title) + paragraph(clinic) + paragraph(written_on(answer.as_of)),
            ),
            _section(was),
            heading(2, TARGET_HEAD),
            tag("p", TARGET_LINE.format(line=_line())),
            _section(coming),
            tag("p", NEXT_LINE.format(line=_line("long"))),
            _section(tablets),
            tag(
                "section",
                heading(2, RED_HEAD)
                + bullets(RED_FLAGS)
                + paragraph(RED_WAIT)
                + tag("p", PHONE_LINE.format(line=_line("long"))),
                class_="phone",
            ),
            paragraph(" ".join((licensed(), foot, *footnotes(foot))), "foot"),
        )
    )
    return tag("section", front, class_="sheet")


def _named(answer: OwnerAnswer) -> OwnerAnswer:
    """Return the same with a name that on paper has a line: it may be as long as it likes."""
    return replace(answer, name=block(answer.name, _NAME, 1, 11).text if answer.name else "")


def _title(answer: OwnerAnswer) -> str:
    return PAGE_TITLE.format(called=called(_named(answer)))


def _section(section: Part) -> str:
    return heading(2, section.head) + paragraph(" ".join(section.texts))


def _line(class_: str = "") -> str:
    return tag("span", "", class_=f"line {class_}".strip())


def _diary(answer: OwnerAnswer, _: str) -> str:
    heads = (*DIARY_HEADS, *(str(number) for number in range(1, READINGS + 1)), MOOD)
    head = "".join(tag("th", prose(text), scope="col") for text in heads)
    row = tag("tr", "".join(tag("td", "") for _ in heads))
    whole = tag("table", tag("thead", tag("tr", head)) + tag("tbody", row * DAYS), class_="diary")
    back = (
        heading(1, diary_title(called(_named(answer))))
        + bullets(DIARY_HELP)
        + whole
        + paragraph(OTHER_SIDE)
    )
    return tag("section", back, class_="sheet")


#: A sheet of paper, front and back.
OWNER: PaperKind[OwnerAnswer] = PaperKind(
    name="owner",
    animal=lambda answer: answer.animal,
    title=_title,
    sections=(_first, _diary),
    rules=lambda *_: ("", f"@media print {{ .sheet {{ height: {_HEIGHT:g}mm; }} }}\n"),
)
