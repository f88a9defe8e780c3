"""A figure's sheet, in millimetres from its left top: a page for words, the panels, the key."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from bpvet.errors import CallError
from bpvet.figures.lettering import Block, block, height_mm
from bpvet.figures.style import FAINT_GREY, INK, MM_PER_INCH, PAPER, TITLE_SIZE

#: A journal's or letter's full width, and its column; narrower than this nothing is legible.
FULL_WIDTH, COLUMN_WIDTH, LEAST_WIDTH = 160.0, 85.0, 80.0
#: Nothing is drawn nearer to the sheet's edge.
EDGE = 1.5

_DOTS_PER_INCH = 300
#: Space for a row's sample in the key, and between its rows.
_SAMPLE, _BETWEEN = 10.0, 0.8
_LINE_NAMES = ("color", "lw", "ls")

#: How a sample of the key is drawn, by matplotlib's own names.
Style = dict[str, Any]


@dataclass(frozen=True)
class Place:
    """A panel's left, top, width and height, mm."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True)
class KeyRow:
    """One line of the key: how its sample is drawn, and its words."""

    style: Style
    words: Block


@dataclass(frozen=True, eq=False)
class Sheet:
    """A figure of its own, known to no window, and the page that its words stand on.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    page : matplotlib.axes.Axes
        Covers the figure; its coordinates are mm from the left top.
    width, height : float
        Of the figure, mm.
    """

    figure: Figure
    page: Axes
    width: float
    height: float

    def words(self, left: float, top: float, words: Block, **style: Any) -> None:
        """Write a block, its left top given."""
        middle = top + words.height / 2
        fixed: Style = {"ha": "left", "va": "center", "parse_math": False}
        self.page.text(left, middle, words.text, **fixed, **style)

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Return new axes at a place, mm."""
        bottom = 1 - (top + height) / self.height
        share = (width / self.width, height / self.height)
        return self.figure.add_axes((left / self.width, bottom, *share))

    def panel(self, place: Place) -> Axes:
        """Return new axes at a place, open above and to the right."""
        axes = self.axes(place.left, place.top, place.width, place.height)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        return axes

    def key(self, top: float, rows: Iterable[KeyRow]) -> None:
        """Draw the key's rows: of each a sample, as a line with a mark or either, and its words."""
        for row in rows:
            middle = top + height_mm(1) / 2
            if "marker" in row.style:
                mark = {name: value for name, value in row.style.items() if name not in _LINE_NAMES}
                shape: Style = {"ls": "none", "mfc": PAPER, "mec": INK} | mark
                self.page.plot([EDGE + (_SAMPLE - 1.5) / 2], [middle], **shape)
            if row.style.get("ls") != "none":
                line: Style = {"color": FAINT_GREY, "zorder": 1}
                line |= {name: row.style[name] for name in _LINE_NAMES if name in row.style}
                self.page.plot([EDGE + 0.5, EDGE + _SAMPLE - 2.0], [middle] * 2, **line)
            self.words(EDGE + _SAMPLE, top, row.words)
            top += row.words.height + _BETWEEN


def new_sheet(width: float, height: float, title: Block) -> Sheet:
    """Return a sheet of a size, mm, with the title at its top."""
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=_DOTS_PER_INCH)
    page = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    page.set_xlim(0, width)
    page.set_ylim(height, 0)
    page.set_axis_off()
    sheet = Sheet(figure, page, width, height)
    sheet.words(EDGE, EDGE, title, size=TITLE_SIZE, weight="bold")
    return sheet


def title_block(title: str, width: float, most: int = 2) -> Block:
    """Return a title broken to the width of a sheet, mm, into at most so many lines."""
    return block(title, width - 2 * EDGE, most=most, size=TITLE_SIZE, bold=True)


def key_rows(key: Iterable[tuple[Style, str]], width: float) -> tuple[KeyRow, ...]:
    """Return the rows of a key, their words broken to the width of a sheet, mm."""
    space = width - 2 * EDGE - _SAMPLE
    return tuple(KeyRow(style, block(words, space, most=3)) for style, words in key)


def key_height(rows: Iterable[KeyRow]) -> float:
    """Return the height of a key, mm."""
    return sum(row.words.height + _BETWEEN for row in rows)


def refuse_width(width: float) -> None:
    """Raise a `CallError` for a width, mm, that no figure can have."""
    if not LEAST_WIDTH <= width <= 1000:
        raise CallError(f"A figure can be {LEAST_WIDTH:g} to 1000 mm wide, not {width:g} mm.")
