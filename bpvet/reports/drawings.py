"""Drawings as a notebook holds them, and set into a page, so that their words can be followed.

A notebook's drawings are images; in a page of ours each SVG among them becomes part of the page,
if nothing but what `bpvet.figures.svg` writes is in it. One that holds anything else stays an
image, which can neither load nor run anything.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from base64 import b64decode, b64encode
from binascii import Error
from collections.abc import Callable
from html import escape, unescape

from bpvet.figures.sheet import COLUMN_WIDTH, FULL_WIDTH
from bpvet.figures.svg import rules, serialised
from bpvet.reports.markup import Shown, tag

#: Up to this width of the window the narrow drawing is shown.
NARROW_WINDOW = "(max-width: 40rem)"

_SVG = "{http://www.w3.org/2000/svg}"
_HREF = "{http://www.w3.org/1999/xlink}href"
_TAGS = frozenset(
    f"{_SVG}{name}"
    for name in (
        *("svg", "title", "desc", "defs", "style", "g", "a", "path", "use", "text", "rect"),
        *("clipPath", "pattern", "tspan"),
    )
)
#: Attributes that may hold anything, and those that may hold no address from outside.
_FREE = frozenset(
    (
        *("width", "height", "viewBox", "version", "role", "class", "id", "x", "y"),
        *("patternUnits", "type", "clip-rule"),
        *("aria-labelledby", "aria-describedby", "aria-label"),
        *(f"data-{name}" for name in ("kind", "date", "until", "value", "unit", "bound", "panel")),
    )
)
_ADDRESSED = frozenset(("style", "clip-path", "transform", "d"))
#: What a value of a style or a clip may refer to: a place of the drawing itself.
_ADDRESS = re.compile(r"url\((?!#[\w-]+\))|javascript|expression|@import|[<>\\]", re.IGNORECASE)
_LINK = re.compile(r"#session-\d+")
_PLACE = re.compile(r"#[\w-]+")
_IMAGE = r"data:image/svg\+xml;base64,([A-Za-z0-9+/=]+)"
_PICTURE = re.compile(
    rf'<picture><source (?=[^>]*srcset="{_IMAGE}")[^>]*>'
    rf'<img (?=[^>]*src="{_IMAGE}")[^>]*></picture>'
)
#: Digits of an outline that nobody sees, and blanks at the begin of a line.
_FINER, _INDENT = re.compile(rb"(\.\d\d)\d+"), re.compile(rb"\n +")


def drawn(
    svg: Callable[[float], bytes],
    alt_text: str,
    words: str,
    width: float = FULL_WIDTH,
    class_: str = "",
) -> Shown:
    """Return a figure drawn for a wide and for a narrow screen.

    Parameters
    ----------
    svg : function of float
        The drawing as an SVG file, given its width in mm.
    alt_text, words : str
        What it shows to somebody who cannot see it, and its caption.
    width : float
        Width of the wide drawing, mm.
    class_ : str
        Class of the figure in the page's style sheet; blank for none.
    """
    wide, narrow = _address(svg(width)), _address(svg(COLUMN_WIDTH))
    image = tag("img", "", src=wide, alt=alt_text).removesuffix("</img>")
    source = tag("source", "", media=NARROW_WINDOW, srcset=narrow).removesuffix("</source>")
    html = tag("picture", source + image) + tag("figcaption", escape(words))
    return Shown(tag("figure", html, class_=class_), alt_text)


def _address(svg: bytes) -> str:
    """Return a drawing as an address that holds it."""
    return f"data:image/svg+xml;base64,{b64encode(_lean(svg)).decode('ascii')}"


def _lean(svg: bytes) -> bytes:
    """Return a drawing with its outlines to a hundredth of a point, and without indents."""
    before, *outlines = svg.split(b' d="')
    pieces = [before]
    for outline in outlines:
        path, end, rest = outline.partition(b'"')
        # Without an end it is no outline but somebody's words.
        pieces.append((_FINER.sub(rb"\1", path) if end else path) + end + rest)
    return _INDENT.sub(b"\n", b' d="'.join(pieces))


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
    looked_at = element.attrib.keys() - _FREE
    return all(_allowed_attribute(element, name, element.attrib[name]) for name in looked_at)


def _allowed_attribute(element: ElementTree.Element, name: str, value: str) -> bool:
    if name == "href":
        return element.tag == f"{_SVG}a" and bool(_LINK.fullmatch(value))
    if name == _HREF:
        return element.tag == f"{_SVG}use" and bool(_PLACE.fullmatch(value))
    if name == "tabindex":
        return value == "-1"
    if name == "fill":  # of a hatch's ground
        return value == "none"
    return name in _ADDRESSED and not _ADDRESS.search(value)
