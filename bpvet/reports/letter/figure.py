"""The figure of a letter: drawn at full width for paper, and for a narrow screen."""

from __future__ import annotations

from base64 import b64encode

from bpvet.answers.trend.result import TrendAnswer
from bpvet.facts.analytes import all_analytes
from bpvet.figures.lettering import written
from bpvet.figures.save import svg_bytes
from bpvet.figures.style import MM_PER_INCH
from bpvet.figures.trend import COLUMN_WIDTH, caption, draw
from bpvet.frozen import dataclass, replace
from bpvet.models.trend.trend import Trend
from bpvet.pictures.answered import answered_picture
from bpvet.reports.paper import WIDTH

#: What has a small row under the pressure; every value of the others stands in the letter's table.
ROWS = tuple(key for key, analyte in all_analytes().items() if analyte.in_letter)


@dataclass(frozen=True)
class LetterFigure:
    """A letter's figure.

    Parameters
    ----------
    wide, narrow : str
        The drawing for paper and wide screens, and for narrow ones: an SVG as base64. What is
        urgent, and the newest value in words, stand above it in the letter and not in it again.
    height : float
        Of the wide one at its full `WIDTH`, mm.
    alt_text : str
        What it shows.
    words : str
        Written out, what the drawing had to cut or leave out; mostly blank.
    """

    wide: str
    narrow: str
    height: float
    alt_text: str
    words: str


def letter_figure(trend: Trend, answer: TrendAnswer) -> LetterFigure:
    """Return the figure of a trend for its letter.

    Parameters
    ----------
    trend : Trend
    answer : TrendAnswer
        Its answer: names the guideline and the level that are drawn.
    """
    whole = answered_picture(trend, answer, rows_of=ROWS)
    picture = replace(whole, urgent=(), newest="")
    wide, narrow = (
        b64encode(svg_bytes(picture, width, dark=False)).decode("ascii")
        for width in (WIDTH, COLUMN_WIDTH)
    )
    # The caption's own sentences are in the letter already; what was cut stands behind them.
    words = caption(picture, WIDTH).removeprefix(written(picture.caption)).strip()
    height = float(draw(picture, WIDTH).get_size_inches()[1]) * MM_PER_INCH
    return LetterFigure(wide, narrow, height, picture.alt_text, words)
