"""The page in a real browser: nothing loaded or run, and read at every width, light and dark."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

import bpvet
from bpvet.reports.letter.letter import letter_of
from bpvet.reports.letter.page import LETTER
from bpvet.reports.paper import PAPERS

from .conftest import AS_OF, HOSTILE_NAME
from .made import Made

pytestmark = pytest.mark.browser

ARGUMENTS = [
    *("--no-sandbox", "--disable-gpu", "--disable-background-networking"),
    *("--disable-component-update", "--disable-sync", "--no-first-run"),
]
WIDTHS = (360, 800, 1400)

#: The contrast of each element that has text of its own, against the ground it stands on.
CONTRASTS = """() => {
  const rgb = text => text.match(/[\\d.]+/g).map(Number);
  const light = ([r, g, b]) => [r, g, b].map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const ground = element => {
    for (let e = element; e; e = e.parentElement) {
      const found = rgb(getComputedStyle(e).backgroundColor);
      if (found.length < 4 || found[3] === 1) return found;
    }
    return [255, 255, 255];
  };
  return [...document.body.querySelectorAll("*")]
    .filter(e => [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()))
    .map(e => {
      const pair = [light(rgb(getComputedStyle(e).color)), light(ground(e))].sort((a, b) => b - a);
      return [(pair[0] + 0.05) / (pair[1] + 0.05), e.tagName + ": " + e.textContent.slice(0, 40)];
    });
}"""


def chromium() -> str | None:
    return os.environ.get("BPVET_CHROMIUM") or shutil.which("chromium")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    path = chromium()
    if path is None:
        if os.environ.get("BPVET_REQUIRE_BROWSER") == "1":
            pytest.fail("Chromium is required and was not found (BPVET_CHROMIUM names it)")
        pytest.skip("Chromium was not found")
    api = pytest.importorskip("playwright.sync_api")
    with api.sync_playwright() as play:
        opened = play.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield opened
        opened.close()


class Seen:
    """A page as opened: what it said and what it asked for."""

    def __init__(self, browser: Any, path: Path, width: int = 1400, **context: Any) -> None:
        self.said: list[str] = []
        self.asked: list[str] = []
        self.context = browser.new_context(viewport={"width": width, "height": 900}, **context)
        self.page = self.context.new_page()
        self.page.on("console", lambda message: self.said.append(message.text))
        self.page.on("pageerror", lambda error: self.said.append(str(error)))
        self.page.on("dialog", lambda dialog: self.said.append(dialog.message))
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.address = path.resolve().as_uri()
        self.page.goto(self.address)
        self.page.wait_for_load_state("load")

    def __enter__(self) -> Seen:
        return self

    def __exit__(self, *error: object) -> None:
        self.context.close()


@pytest.fixture(params=["urgent", "hostile"])
def written(request: pytest.FixtureRequest) -> Made:
    made: Made = request.getfixturevalue(request.param)
    return made


@pytest.mark.parametrize("width", WIDTHS)
def test_it_opens_asks_for_nothing_and_fits(browser: Any, written: Made, width: int) -> None:
    with Seen(browser, written.page, width) as seen:
        assert seen.said == []
        assert [url for url in seen.asked if not url.startswith("data:")] == [seen.address]
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        assert seen.page.locator("script, iframe, object, embed, link, form, base").count() == 0
        wide = seen.page.evaluate(
            "[...document.querySelectorAll('main *')].filter(e => !e.closest('.scroll, pre') && "
            "e.getBoundingClientRect().right > innerWidth + 1).map(e => e.outerHTML.slice(0, 80))"
        )
        assert wide == []


def test_it_reads_without_javascript(browser: Any, hostile: Made) -> None:
    with Seen(browser, hostile.page, java_script_enabled=False) as seen:
        assert seen.page.title().startswith(HOSTILE_NAME.split("{")[0].strip()[:8])
        assert seen.page.locator("h1").inner_text() == HOSTILE_NAME
        assert seen.page.locator(".now .lead").first.is_visible()


def test_the_figure_is_drawn_at_each_width(browser: Any, urgent: Made) -> None:
    natural = []
    for width in WIDTHS:
        with Seen(browser, urgent.page, width) as seen:
            drawing = seen.page.locator("figure svg:visible")
            assert drawing.count() == 1
            assert drawing.locator("> desc").text_content()
            natural.append(drawing.evaluate("e => e.viewBox.baseVal.width"))
    assert 0 < natural[0] < natural[1] == natural[2]


def test_a_mark_leads_to_the_row_of_its_session(browser: Any, urgent: Made) -> None:
    with Seen(browser, urgent.page) as seen:
        links = seen.page.locator("figure .wide a")
        targets = links.evaluate_all("all => all.map(e => e.getAttribute('href'))")
        assert targets
        assert all(seen.page.locator(one).count() == 1 for one in set(targets))


def test_a_drawing_follows_the_page_s_colours_and_prints_light(browser: Any, urgent: Made) -> None:
    ground = "e => getComputedStyle(e.querySelector('path')).fill"
    found = {}
    for scheme in ("light", "dark"):
        with Seen(browser, urgent.page, color_scheme=scheme) as seen:
            drawing = seen.page.locator("figure .wide svg")
            found[scheme] = drawing.evaluate(ground)
            seen.page.emulate_media(media="print", color_scheme=scheme)
            found[f"{scheme} print"] = drawing.evaluate(ground)
    white = "rgb(255, 255, 255)"
    assert found["light"] == found["light print"] == found["dark print"] == white
    assert found["dark"] != white


def test_the_outline_is_in_order(browser: Any, written: Made) -> None:
    with Seen(browser, written.page) as seen:
        levels = seen.page.evaluate(
            "[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(e => +e.tagName[1])"
        )
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in pairwise(levels))
        assert seen.page.evaluate("document.documentElement.lang") == "en"
        bare = "table:not(:has(caption)), th:not([scope])"
        assert seen.page.locator(bare).count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_stands_out(browser: Any, written: Made, scheme: str) -> None:
    with Seen(browser, written.page, color_scheme=scheme) as seen:
        found = seen.page.evaluate(CONTRASTS)
        assert len(found) > 100
        assert [(round(ratio, 2), text) for ratio, text in found if ratio < 4.5] == []


def test_a_keyboard_reaches_the_report_and_wide_tables(browser: Any, urgent: Made) -> None:
    with Seen(browser, urgent.page, 360) as seen:
        seen.page.keyboard.press("Tab")
        skip = seen.page.locator("a.skip")
        assert skip.evaluate("e => e === document.activeElement")
        assert skip.bounding_box()["x"] >= 0
        seen.page.keyboard.press("Enter")
        assert seen.page.evaluate("document.activeElement.id") == "report"
        # The folds are next, the wide tables within them once one is open.
        for _ in range(2):
            seen.page.keyboard.press("Tab")
        assert seen.page.evaluate("document.activeElement.innerText") == "The sessions"
        seen.page.keyboard.press("Enter")
        seen.page.keyboard.press("Tab")
        assert seen.page.evaluate("document.activeElement.getAttribute('role')") == "region"
        assert seen.page.evaluate("document.activeElement.getAttribute('aria-label')")


def test_a_screenshot_is_not_blank(browser: Any, urgent: Made) -> None:
    from io import BytesIO

    from matplotlib.image import imread

    with Seen(browser, urgent.page, 800) as seen:
        shot = imread(BytesIO(seen.page.screenshot()), format="png")
        urgent_box = seen.page.locator(".urgent").bounding_box()
    assert shot.std() > 0.05
    assert urgent_box["y"] < 400


def test_it_prints_on_a4_and_letter(browser: Any, urgent: Made) -> None:
    pypdf = pytest.importorskip("pypdf")
    from io import BytesIO

    with Seen(browser, urgent.page) as seen:
        for size in ("A4", "Letter"):
            document = pypdf.PdfReader(BytesIO(seen.page.pdf(format=size)))
            first = document.pages[0].extract_text()
            assert "Urgent" in first
            assert "When again?" in first
            assert len(document.pages) <= 12


@pytest.fixture(scope="module")
def letters(clinic: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Letters of a cat with 46 sessions and labs, by their paper."""
    trend = bpvet.fit_trend(bpvet.read(clinic, as_of=AS_OF), "Tolliver")
    whole = letter_of(trend, trend.answer(), "letter.csv")
    folder = tmp_path_factory.mktemp("letters")
    made = {paper: folder / f"{paper}.html" for paper in PAPERS}
    for paper, path in made.items():
        path.write_text(LETTER.html(whole, paper), encoding="utf-8")
    return made


#: Heads and dates of a table that are torn: in more lines than they have words.
TORN = """() => [...document.querySelectorAll('thead th, .day')].filter(one => {
  const words = one.innerText.trim().split(/\\s+/).length;
  const range = document.createRange();
  range.selectNodeContents(one);
  const tops = [...range.getClientRects()].filter(box => box.width).map(box => Math.round(box.top));
  return new Set(tops).size > words;
}).map(one => one.innerText)"""


@pytest.mark.parametrize("width", WIDTHS)
def test_a_letter_opens_asks_for_nothing_and_fits(
    browser: Any, letters: dict[str, Path], width: int
) -> None:
    with Seen(browser, letters["a4"], width) as seen:
        assert seen.said == []
        assert [url for url in seen.asked if not url.startswith("data:")] == [seen.address]
        assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
        assert seen.page.locator("h1").count() == 1
        assert seen.page.locator("figure img").get_attribute("alt")
        drawn = seen.page.evaluate("document.querySelector('figure img').naturalWidth")
        assert (drawn < 400) == (width <= 640)
        assert seen.page.evaluate(TORN) == []
        assert seen.page.locator("table:not(:has(caption)), th:not([scope])").count() == 0
        found = seen.page.evaluate(CONTRASTS)
        assert [(round(ratio, 2), text) for ratio, text in found if ratio < 4.5] == []


def test_a_letter_prints_alike_on_both_papers(browser: Any, letters: dict[str, Path]) -> None:
    pypdf = pytest.importorskip("pypdf")
    from io import BytesIO

    for paper, path in letters.items():
        with Seen(browser, path) as seen:
            document = pypdf.PdfReader(BytesIO(seen.page.pdf(prefer_css_page_size=True)))
        assert len(document.pages) == 3  # 46 sessions, each with its readings
        assert round(document.pages[0].mediabox.width) == {"a4": 595, "letter": 612}[paper]
        texts = [held.extract_text() for held in document.pages]
        assert "Current drugs" in texts[0]
        assert "± 1 SD of its readings" in texts[0]
        assert "Telephone" in texts[2]
        for place, text in enumerate(texts, start=1):
            assert f"Page {place} of 3" in text
            assert "Tolliver (animal E02), 1 November 2026" in text
