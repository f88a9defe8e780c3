"""What could act on a page: elements and attributes that a report never needs."""

from __future__ import annotations

import re
from html.parser import HTMLParser

ACTING = {"script", "iframe", "object", "embed", "link", "form", "input", "base", "video", "audio"}
_SAFE_LINK = re.compile(r"#[\w-]*|https:[^\s\"'<>]+")
_SAFE_IMAGE = re.compile(r"data:image/(?:png|svg\+xml);base64,[A-Za-z0-9+/=]+")


class _Reader(HTMLParser):
    """Collects what could act on a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note elements and attributes that a report never needs."""
        if tag in ACTING:
            self.found.append(tag)
        for name, value in attrs:
            held = value or ""
            bad_link = name == "href" and not _SAFE_LINK.fullmatch(held)
            bad_image = name in ("src", "srcset") and not _SAFE_IMAGE.fullmatch(held)
            if name.startswith("on") or bad_link or bad_image:
                self.found.append(f"{tag} {name}={held[:60]}")


def acting(page: str) -> list[str]:
    """Return what on a page could act: elements, and attributes with their beginnings."""
    reader = _Reader()
    reader.feed(page)
    return reader.found
