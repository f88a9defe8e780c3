"""The figure in a report: drawn twice, for a wide and for a narrow screen, with its caption."""

from __future__ import annotations

import re
from base64 import b64encode
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
    picture = trend_picture(trend, answer.guideline, answer.level)
    wide = _address(svg_bytes(picture, FULL_WIDTH))
    narrow = _address(svg_bytes(picture, COLUMN_WIDTH))
    image = tag("img", "", src=wide, alt=picture.alt_text).removesuffix("</img>")
    source = tag("source", "", media=NARROW_WINDOW, srcset=narrow).removesuffix("</source>")
    words = tag("figcaption", escape(caption(picture, FULL_WIDTH)))
    return Shown(tag("figure", tag("picture", source + image) + words), picture.alt_text)


def _address(svg: bytes) -> str:
    """Return a drawing as an address that holds it."""
    return f"data:image/svg+xml;base64,{b64encode(_lean(svg)).decode('ascii')}"


def _lean(svg: bytes) -> bytes:
    """Return a drawing with its outlines to a hundredth of a point, and without indents."""
    outlines = re.compile(rb' d="[^"]*"')
    rounded = outlines.sub(lambda found: re.sub(rb"(\.\d\d)\d+", rb"\1", found[0]), svg)
    return re.sub(rb"\n +", b"\n", rounded)
