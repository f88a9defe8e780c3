"""Sheet and owner's page: a sheet of paper each, whatever the records hold; nothing fetched."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import cache
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import bpvet
from bpvet.answers.sheet.sheet import SheetAnswer
from bpvet.facts.cautions import licensed
from bpvet.reports.owner import OWNER
from bpvet.reports.pdf import pdf_bytes
from bpvet.reports.sheet import SHEET, sheet_name
from tests.reports.conftest import hostile_records
from tests.reports.room_records import crowded, records
from tests.reports.test_browser import Seen, browser

__all__ = ["browser"]

PAPERS = ("a4", "letter")
CASES: dict[str, Callable[[], bpvet.Records]] = {
    "ordinary": lambda: records({"2026-10-13": (138, 139, 137, 138)}, note="on the lap"),
    "crowded": crowded,
    "never measured": lambda: records({"2026-10-13": (138,)}, excluded="moved"),
}


@cache
def pages(case: str, paper: str) -> tuple[str, str]:
    made = CASES[case]()
    answers = bpvet.sheet(made, "A1"), bpvet.owner(made, "A1")
    return SHEET.html(answers[0], paper), OWNER.html(answers[1], paper)


def text_of(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html.partition("<body>")[2])).split())


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("case", CASES)
def test_one_sheet_of_paper_as_a_pdf(case: str, paper: str) -> None:
    pytest.importorskip("weasyprint", exc_type=ImportError)
    from pypdf import PdfReader

    for html, sheets in zip(pages(case, paper), (1, 2), strict=True):
        found = PdfReader(io.BytesIO(pdf_bytes(html, "sheet 0123456789")))
        assert len(found.pages) == sheets
        assert round(found.pages[0].mediabox.width) == {"a4": 595, "letter": 612}[paper]
        # The last words of the foot are on the paper, not cut off below it.
        assert "no dose" in " ".join(found.pages[0].extract_text().split())


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("case", CASES)
def test_one_sheet_of_paper_from_a_browser(
    browser: Any, tmp_path: Path, case: str, paper: str
) -> None:
    from pypdf import PdfReader

    for html, sheets in zip(pages(case, paper), (1, 2), strict=True):
        place = tmp_path / "page.html"
        place.write_text(html, encoding="utf-8")
        with Seen(browser, place, 360) as seen:
            assert seen.said == []
            assert seen.asked == [seen.address]
            assert seen.page.evaluate("document.documentElement.scrollWidth") <= 360
            printed = PdfReader(io.BytesIO(seen.page.pdf(prefer_css_page_size=True)))
            assert len(printed.pages) == sheets
            seen.page.emulate_media(media="print")
            held = seen.page.locator("main" if sheets == 1 else ".sheet")
            over = "all => all.map(e => e.scrollHeight - e.clientHeight)"
            assert max(held.evaluate_all(over)) <= 1


@pytest.mark.parametrize("case", CASES)
def test_urgent_lines_come_first_and_what_is_cut_is_said(case: str) -> None:
    made = CASES[case]()
    told = bpvet.sheet(made, "A1")
    text = text_of(pages(case, "letter")[0])
    assert ("Urgent" in text) == bool(told.urgent)
    if told.urgent:
        assert text.index("Urgent") < text.index("Last time")
        whole = all(" ".join(one.text.split()) in text for one in told.urgent)
        assert whole != ("This is shown short: read the record before you measure." in text)
        assert text_of(pages(case, "a4")[1]).index("Please phone the practice today") < 40


def test_every_urgent_line_of_ordinary_length_stands_whole() -> None:
    made = records(
        {"2026-10-20": (225, 231, 228)},
        signs=(("2026-10-20", "sudden blindness"), ("2026-10-20", "seizures x3")),
    )
    told = bpvet.sheet(made, "A1")
    text = text_of(SHEET.html(told))
    assert all(" ".join(one.text.split()) in text for one in told.urgent)


@pytest.mark.parametrize("paper", PAPERS)
def test_boxes_ticks_protocol_and_caution(paper: str) -> None:
    sheet, owner = pages("ordinary", paper)
    text = text_of(sheet)
    assert sheet.count("<td") >= 14
    assert [f" {place} " in text for place in range(2, 8)] == [True] * 6
    assert "1 (first)" in text
    assert sheet.count("<li>") == 5
    for words in ("Doses since the last visit", "Eyes", "Nerves", "wobbly", "retina off", "cuff"):
        assert words in text
    for page in (sheet, owner):
        assert licensed() in text_of(page)
        assert "default-src 'none'" in page
        assert "<script" not in page
    assert owner.count("<tr>") == 15
    assert "Your vet fills in: between" in text_of(owner)


def test_names_are_data(tmp_path: Path) -> None:
    made = bpvet.read(hostile_records(tmp_path / "clinic"), as_of="2026-06-01")
    (animal,) = made.animals["animal"]
    told: SheetAnswer = bpvet.sheet(made, animal)
    for page in (SHEET.html(told), OWNER.html(bpvet.owner(made, animal))):
        assert "<script" not in page
        assert "<img" not in page
        assert "&lt;script&gt;" in page
    assert re.fullmatch(r"sheet-[A-Za-z0-9._-]+\.html", sheet_name(animal))


def test_the_same_records_give_the_same_bytes() -> None:
    made = CASES["ordinary"]()
    assert SHEET.html(bpvet.sheet(made, "A1")) == pages("ordinary", "a4")[0]
    assert OWNER.html(bpvet.owner(made, "A1")) == pages("ordinary", "a4")[1]
