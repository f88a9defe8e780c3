"""Every kind of page beside axe-core's rules of accessibility, on two widths, light and dark."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bpvet.command.main import main

from .conftest import AS_OF
from .made import Made
from .test_browser import browser as browser

pytestmark = pytest.mark.browser

WRITTEN = {
    "cohort": ("cohort", "-o", "cohort"),
    "agreement": ("agreement", "-o", "agreement"),
    "audit": ("audit", "-o", "audit"),
    "due": ("due", "-o", "due"),
    "letter": ("figure", "--animal", "Pilchard", "--letter", "-o", "letter.html"),
    "sheet": ("sheet", "--animal", "Pilchard", "-o", "sheet.html"),
    "owner": ("owner", "--animal", "Pilchard", "-o", "owner.html"),
}


@pytest.fixture(scope="module")
def pages(
    clinic: Path, urgent: Made, hostile: Made, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    """A page of every kind, by name."""
    folder = tmp_path_factory.mktemp("pages")
    made = {"animal": urgent.page, "hostile animal": hostile.page}
    for name, (command, *more) in WRITTEN.items():
        *options, out = more
        place = folder / out
        asked = [command, str(clinic), "--as-of", AS_OF, *options, str(place), "--quiet"]
        assert main(asked) == 0
        made[name] = place if place.is_file() else place / f"{name}.html"
    return made


@pytest.mark.parametrize("name", ["animal", "hostile animal", *WRITTEN])
def test_axe_finds_nothing(browser: Any, pages: dict[str, Path], name: str) -> None:
    # Where browser tests are left out this need not be installed.
    from axe_playwright_python.sync_playwright import Axe

    found = []
    for scheme in ("light", "dark"):
        for width in (390, 1280):
            page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
            page.goto(pages[name].as_uri())
            rules = Axe().run(page).response
            assert len(rules["passes"]) > 5
            found += [
                (scheme, width, rule["id"], rule["nodes"][0]["html"])
                for rule in rules["violations"]
            ]
            page.close()
    assert found == []
