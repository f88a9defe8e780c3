"""The clinic's list as a page: read at a glance, dates in words, no reason said twice."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

import bpvet
from bpvet.answers.due.bands import BANDS, band_name
from bpvet.answers.due.due import Due
from bpvet.reports.due import due_page

from .conftest import AS_OF
from .test_browser import CONTRASTS, Seen
from .test_browser import browser as browser


@pytest.fixture(scope="module")
def due(clinic: Path) -> Due:
    return bpvet.due(bpvet.read(clinic, as_of=AS_OF))


def body(due: Due) -> str:
    page = unescape(due_page(due)).split("<main", 1)[1]
    return page.replace("\N{NO-BREAK SPACE}", " ")


def test_the_first_line_counts_every_band(due: Due) -> None:
    text = body(due)
    counts = {band: sum(one.band == band for one in due.rows) for band in BANDS}
    assert sum(counts.values()) == len(due.rows)
    for band, count in counts.items():
        words = f"{band_name(band)} {count}"
        assert (words in text.split("<section", 1)[0]) == bool(count)


def test_dates_are_written_as_readers_write_them(due: Due) -> None:
    text = body(due)
    assert not re.search(r"\d{4}-\d\d-\d\d", text)
    assert re.search(r"<strong>[A-Z][^<]* by \d{1,2} [A-Z][a-z]+ \d{4}", text)


def test_no_reason_is_said_twice(due: Due) -> None:
    text = body(due).casefold()
    listed = [one for one in due.listed if one.band == "checks"]
    assert listed
    for one in listed:
        entry = text.split(f"({one.animal.casefold()})", 1)[1].split("<h3", 1)[0]
        for check in one.asked:
            assert entry.count(check.why.casefold()) == 1


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 820, 1280])
def test_in_a_browser(browser: Any, due: Due, tmp_path: Path, width: int, scheme: str) -> None:
    page = tmp_path / "due.html"
    page.write_text(due_page(due), encoding="utf-8")
    with Seen(browser, page, width, color_scheme=scheme) as seen:
        assert seen.said == []
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        # The most pressing animal, what to do and by when stand on the first screen.
        box = seen.page.locator("section h3 + p strong").first.bounding_box()
        assert box["y"] + box["height"] < 800
        found = seen.page.evaluate(CONTRASTS)
        assert [(round(ratio, 2), text) for ratio, text in found if ratio < 4.5] == []
