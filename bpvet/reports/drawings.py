"""Drawings set into a page itself, so that their words are found, selected and followed.

A notebook's drawings are images; in a page of ours each SVG among them becomes part of the page,
if nothing but what `bpvet.figures.svg` writes is in it. One that holds anything else stays an
image, which can neither load nor run anything.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from base64 import b64decode
from binascii import Error
from html import unescape

from bpvet.figures.svg import rules, serialised
from bpvet.reports.markup import tag

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_TAGS = frozenset(
    f"{_SVG}{name}"
    for name in (
        *("svg", "title", "desc", "defs", "style", "g", "a", "path", "use", "text", "rect"),
        *("clipPath", "pattern", "tspan"),
    )
)
_ATTRIBUTES = frozenset(
    (
        *("width", "height", "viewBox", "version", "role", "class", "id", "style", "d", "x", "y"),
        *("transform", "clip-path", "patternUnits", "type", "clip-rule"),
        *("aria-labelledby", "aria-describedby", "aria-label"),
        *(f"data-{name}" for name in ("kind", "date", "until", "value", "unit", "bound", "panel")),
    )
)
#: What a value of a style or a clip may refer to: a place of the drawing itself.
_ADDRESS = re.compile(r"url\((?!#[\w-]+\))|javascript|expression|@import|[<>\\]", re.IGNORECASE)
_LINK = re.compile(r"#session-\d+")
_PLACE = re.compile(r"#[\w-]+")
_IMAGE = r"data:image/svg\+xml;base64,([A-Za-z0-9+/=]+)"
_PICTURE = re.compile(
    rf'<picture><source (?=[^>]*srcset="{_IMAGE}")[^>]*>'
    rf'<img (?=[^>]*src="{_IMAGE}")[^>]*></picture>'
)


def inlined(html: str) -> str:
    """Return cleaned HTML with each drawing for two widths set into the page, wide and narrow.

    Parameters
    ----------
    html : str
        As `bpvet.reports.page.cleaned` returns it.
    """

    def drawn(found: re.Match[str]) -> str:
        narrow, wide = _drawing(found[1]), _drawing(found[2])
        if narrow is None or wide is None:
            return found[0]
        return tag("div", wide, class_="wide") + tag("div", narrow, class_="narrow")

    return _PICTURE.sub(drawn, html)


def _drawing(encoded: str) -> str | None:
    """Return an SVG as it may stand in a page; None where it holds what it should not."""
    try:
        text = b64decode(unescape(encoded), validate=True).decode("utf-8")
    except (Error, UnicodeDecodeError):
        return None
    if "<!" in text:
        return None
    try:
        root = ElementTree.fromstring(text)
    except ElementTree.ParseError:
        return None
    if root.tag != f"{_SVG}svg" or not all(map(_allowed, root.iter())):
        return None
    return serialised(root)


def _allowed(element: ElementTree.Element) -> bool:
    if element.tag not in _TAGS:
        return False
    if element.tag == f"{_SVG}style" and element.text not in (rules(True), rules(False)):
        return False
    return all(_allowed_attribute(element, *attribute) for attribute in element.attrib.items())


def _allowed_attribute(element: ElementTree.Element, name: str, value: str) -> bool:
    if name == "href":
        return element.tag == f"{_SVG}a" and bool(_LINK.fullmatch(value))
    if name == _HREF:
        return element.tag == f"{_SVG}use" and bool(_PLACE.fullmatch(value))
    if name == "tabindex":
        return value == "-1"
    if name == "fill":  # of a hatch's ground
        return value == "none"
    if name in ("style", "clip-path", "transform", "d"):
        return not _ADDRESS.search(value)
    return name in _ATTRIBUTES
