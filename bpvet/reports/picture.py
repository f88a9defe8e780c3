"""The figure in a report: drawn twice, for a wide and for a narrow screen, with its caption."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Callable
from functools import partial
from html import escape

from bpvet.answers.parts import TrendAnswer
from bpvet.figures.save import svg_bytes
from bpvet.figures.trend import COLUMN_WIDTH, FULL_WIDTH, caption
from bpvet.models.picture import trend_picture
from bpvet.models.trend import Trend
from bpvet.reports.markup import Shown, tag

#: Up to this width of the window the narrow drawing is shown.
NARROW_WINDOW = "(max-width: 40rem)"


def figure(trend: Trend, answer: TrendAnswer) -> Shown:
    """Return the figure of a trend with its written caption and its alternative text.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer: names the guideline and the level that are drawn.
    """
    picture = trend_picture(trend, answer.guideline, answer.level, labs=True)
    words = caption(picture, FULL_WIDTH)
    return drawn(partial(svg_bytes, picture), picture.alt_text, words)


def drawn(svg: Callable[[float], bytes], alt_text: str, words: str) -> Shown:
    """Return a figure drawn for a wide and for a narrow screen.

    Parameters
    ----------
    svg : function of float
        The drawing as an SVG file, given its width in mm.
    alt_text, words : str
        What it shows to somebody who cannot see it, and its caption.
    """
    wide, narrow = _address(svg(FULL_WIDTH)), _address(svg(COLUMN_WIDTH))
    image = tag("img", "", src=wide, alt=alt_text).removesuffix("</img>")
    source = tag("source", "", media=NARROW_WINDOW, srcset=narrow).removesuffix("</source>")
    html = tag("picture", source + image) + tag("figcaption", escape(words))
    return Shown(tag("figure", html), alt_text)


def _address(svg: bytes) -> str:
    """Return a drawing as an address that holds it."""
    return f"data:image/svg+xml;base64,{b64encode(_lean(svg)).decode('ascii')}"


def _lean(svg: bytes) -> bytes:
    """Return a drawing with its outlines to a hundredth of a point, and without indents."""
    outlines = re.compile(rb' d="[^"]*"')
    rounded = outlines.sub(lambda found: re.sub(rb"(\.\d\d)\d+", rb"\1", found[0]), svg)
    return re.sub(rb"\n +", b"\n", rounded)
