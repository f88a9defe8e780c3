"""The figure of a trend in a report, with its caption."""

from __future__ import annotations

from functools import partial
from weakref import ref

from bpvet.answers.trend.result import TrendAnswer
from bpvet.figures.pictures import TrendPicture
from bpvet.figures.save import svg_bytes
from bpvet.figures.trend import caption
from bpvet.frozen import replace
from bpvet.models.trend.trend import Trend
from bpvet.pictures.answered import answered_picture
from bpvet.reports.drawings import drawn
from bpvet.reports.markup import Shown, heading, paragraph
from bpvet.wording.en.pages.heads import FIGURE_SHORT, FIGURE_SHOWS

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
