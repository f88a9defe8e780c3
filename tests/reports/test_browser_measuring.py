"""The pages on agreement and on measuring in a real browser, with hostile records too."""

from __future__ import annotations

from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from .conftest import AS_OF
from .made import write_agreement, write_audit
from .measuring_records import HOSTILE_ANIMAL, HOSTILE_PERSON, write_hostile
from .test_browser import CONTRASTS, WIDTHS, Seen
from .test_browser import browser as browser

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def pages(clinic: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Both pages of the example clinic and of hostile records."""
    folder = tmp_path_factory.mktemp("measuring")
    enemy = write_hostile(folder / "records")
    return {
        "agreement": write_agreement(clinic, folder / "out", as_of=AS_OF).page,
        "audit": write_audit(clinic, folder / "out", as_of=AS_OF).page,
        "hostile agreement": write_agreement(enemy, folder / "bad", as_of=AS_OF).page,
        "hostile audit": write_audit(enemy, folder / "bad", as_of=AS_OF).page,
    }


@pytest.fixture(params=["agreement", "audit", "hostile agreement", "hostile audit"])
def page(request: pytest.FixtureRequest, pages: dict[str, Path]) -> Path:
    return pages[request.param]


def test_it_opens_asks_for_nothing_and_fits(browser: Any, page: Path) -> None:
    for width in WIDTHS:
        with Seen(browser, page, width) as seen:
            assert seen.said == []
            assert [url for url in seen.asked if not url.startswith("data:")] == [seen.address]
            assert seen.page.evaluate("document.documentElement.scrollWidth") <= width
            assert seen.page.locator("script, iframe, object, embed, link, form, base").count() == 0
            wide = seen.page.evaluate(
                "[...document.querySelectorAll('main *')].filter(e => !e.closest('.scroll, pre')"
                " && e.getBoundingClientRect().right > innerWidth + 1).map(e => e.tagName)"
            )
            assert wide == []


def test_its_outline_tables_and_figures_are_named(browser: Any, page: Path) -> None:
    with Seen(browser, page) as seen:
        levels = seen.page.evaluate(
            "[...document.querySelectorAll('h1,h2,h3,h4,h5,h6')].map(e => +e.tagName[1])"
        )
        assert levels[0] == 1
        assert levels.count(1) == 1
        assert all(after <= before + 1 for before, after in pairwise(levels))
        bare = "table:not(:has(caption)), th:not([scope]), img:not([alt]), img[alt='']"
        assert seen.page.locator(bare).count() == 0
        assert seen.page.locator(".now dt").count() == 4
        assert seen.page.locator(".now").bounding_box()["y"] < 400


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_text_stands_out(browser: Any, page: Path, scheme: str) -> None:
    with Seen(browser, page, color_scheme=scheme) as seen:
        found = seen.page.evaluate(CONTRASTS)
        assert len(found) > 100
        assert [(round(ratio, 2), text) for ratio, text in found if ratio < 4.5] == []


def test_an_audit_takes_eight_screens(browser: Any, pages: dict[str, Path]) -> None:
    for name in ("audit", "hostile audit"):
        with Seen(browser, pages[name], 1280) as seen:
            assert seen.page.evaluate("document.documentElement.scrollHeight") <= 8 * 800
            first = seen.page.locator("h2", has_text="What to change first").bounding_box()
            assert first["y"] < 800
    with Seen(browser, pages["audit"], 390) as seen:
        table = seen.page.locator("table").first
        assert table.evaluate("one => one.scrollWidth <= one.parentElement.clientWidth")


def test_what_is_folded_is_on_paper(browser: Any, pages: dict[str, Path]) -> None:
    pypdf = pytest.importorskip("pypdf")
    with Seen(browser, pages["audit"]) as seen:
        pdf = pypdf.PdfReader(BytesIO(seen.page.pdf(format="A4")))
        text = " ".join(page.extract_text() for page in pdf.pages)
        assert "End digits and identical repeats" in text
        assert "SD of one visit" in text


def test_hostile_words_appear_as_text(browser: Any, pages: dict[str, Path]) -> None:
    with Seen(browser, pages["hostile audit"]) as seen:
        # Operators are folded away: what is not drawn is read as text all the same.
        assert HOSTILE_PERSON in seen.page.locator("main").text_content()
    with Seen(browser, pages["hostile agreement"]) as seen:
        assert HOSTILE_ANIMAL.format(0) in seen.page.locator("main").inner_text()


def test_it_prints(browser: Any, page: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    with Seen(browser, page) as seen:
        for size in ("A4", "Letter"):
            document = pypdf.PdfReader(BytesIO(seen.page.pdf(format=size)))
            assert "What to know now" in document.pages[0].extract_text()
            assert len(document.pages) <= 20
