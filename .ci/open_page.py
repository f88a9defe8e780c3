"""Open a page in headless Chromium: no console error, no request but itself, not blank.

usage: python .ci/open_page.py PAGE.html [SCREENSHOT.png]
"""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

from playwright.sync_api import sync_playwright

ARGUMENTS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)


def main(page_path: str, screenshot: str | None = None) -> int:
    """Return 0 where the page opens cleanly; say what was wrong otherwise."""
    address = Path(page_path).resolve().as_uri()
    chromium = os.environ.get("BPVET_CHROMIUM") or shutil.which("chromium")
    wrong: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=list(ARGUMENTS))
        page = browser.new_page(viewport={"width": 1000, "height": 1400})
        page.on("console", lambda message: wrong.append(f"console: {message.text}"))
        page.on("pageerror", lambda error: wrong.append(f"error: {error}"))
        page.on(
            "request",
            lambda request: (
                None
                if request.url == address or request.url.startswith("data:")
                else wrong.append(f"request: {request.url}")
            ),
        )
        page.goto(address)
        shot = page.screenshot(path=screenshot, full_page=True)
        words = page.inner_text("body")
        browser.close()
    if len(shot) < 20_000:
        wrong.append("the screenshot looks blank")
    if len(words) < 1000:
        wrong.append("the page holds hardly any words")
    for one in wrong:
        print(one, file=sys.stderr)
    print(f"{page_path}: {'not clean' if wrong else 'opens cleanly'}")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
