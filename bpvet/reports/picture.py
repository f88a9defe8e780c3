"""The figure in a report: drawn twice, for a wide and for a narrow screen, with its caption."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from html import escape
from weakref import ref

from bpvet.answers.trend.result import TrendAnswer
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import svg_bytes
from bpvet.figures.trend import COLUMN_WIDTH, FULL_WIDTH, caption
from bpvet.models.trend.trend import Trend
from bpvet.pictures.answered import answered_picture
from bpvet.reports.markup import Shown, heading, paragraph, tag
from bpvet.wording.en.pages.heads import FIGURE_SHORT, FIGURE_SHOWS

#: Up to this width of the window the narrow drawing is shown.
NARROW_WINDOW = "(max-width: 40rem)"
#: The picture that was made last, and of what.
_newest: tuple[ref[Trend], ref[TrendAnswer], TrendPicture] | None = None
#: Width of the drawing on a wide page, mm: that of the text on A4, so that paper has its letters
#: at their size.
PAGE_WIDTH = 182.0


def figure(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the figure of a trend with its alternative text and what it could not show.

    The head of the page has its title and the newest value; the written caption stands with how
    it was computed (`about_figure`).

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer: names the guideline and the level that are drawn.
    """
    # The page's head says the newest value already.
    picture = replace(_picture(trend, answer), newest="", caption=FIGURE_SHORT)
    words = caption(picture, PAGE_WIDTH)
    svg = partial(svg_bytes, picture, links=True)
    # On paper it leaves room for what is urgent above it, so that all of it is the first page.
    class_ = ("calm", "urged", "pressed")[min(2, len(answer.urgent))]
    return drawn(svg, picture.alt_text, words, PAGE_WIDTH, class_)


def about_figure(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the figure's caption, whole.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer.
    """
    words = _picture(trend, answer).caption
    return Shown(heading(3, FIGURE_SHOWS) + paragraph(words), words)


def _picture(trend: Trend, answer: TrendAnswer) -> TrendPicture:
    """Return the picture of a trend; several cells show it, and it is made once for them."""
    global _newest
    if _newest is not None and _newest[0]() is trend and _newest[1]() is answer:
        return _newest[2]
    picture = answered_picture(trend, answer)
    _newest = ref(trend), ref(answer), picture
    return picture


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
    outlines = re.compile(rb' d="[^"]*"')
    rounded = outlines.sub(lambda found: re.sub(rb"(\.\d\d)\d+", rb"\1", found[0]), svg)
    return re.sub(rb"\n +", b"\n", rounded)
