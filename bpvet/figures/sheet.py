"""A figure's sheet, in millimetres from its left top: a page for words, the panels, the key."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, cast

from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox

from bpvet.errors import CallError
from bpvet.figures.field import Field
from bpvet.figures.lettering import Block, block, height_mm
from bpvet.figures.style import FAINT_GREY, INK, MM_PER_INCH, PAPER, TITLE_SIZE
from bpvet.frozen import dataclass, field

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
class PanelBox:
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
class Region:
    """The box of somebody's Axes, which a picture is to fill; the Axes becomes its first panel.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    box : matplotlib.transforms.Bbox
        In shares of the figure that the Axes stands in.
    width, height : float
        mm.
    """

    axes: Axes
    box: Bbox
    width: float
    height: float

    def spare(self, taken: float, panels: float, least: float) -> float:
        """Return by how much panels can grow (below 0: have to give way) to fill the region, mm.

        Parameters
        ----------
        taken : float
            Height of the whole picture as it would be by itself, mm.
        panels, least : float
            Height of what can give way, and what has to be left of it.

        Raises
        ------
        CallError
            Where the region is too low.
        """
        spare = self.height - taken
        if panels + spare < least:
            needed = taken - panels + least
            raise CallError(
                f"This Axes is {self.height:.0f} mm high, and what is to be drawn in it takes "
                f"{needed:.0f} mm: make its figure higher (figsize), or leave out ax."
            )
        return spare


def region_of(axes: Any) -> Region:
    """Return the region of an Axes, in a figure or in a part of one.

    Raises
    ------
    CallError
        Where it is no Axes, or is too narrow.
    """
    if not isinstance(axes, Axes):
        raise CallError(f"ax takes an Axes of matplotlib, not {type(axes).__name__}.")
    figure: Any = axes.figure
    # A part of a figure has no layout of its own.
    root: Any = figure
    while root is not root.figure:
        root = root.figure
    if (engine := root.get_layout_engine()) is not None:
        # Where the Axes will stand is settled only when the figure is laid out.
        engine.execute(root)
    box = axes.get_position()
    sizes = (figure.bbox.width * box.width, figure.bbox.height * box.height)
    width, height = (pixels / figure.dpi * MM_PER_INCH for pixels in sizes)
    if width < LEAST_WIDTH:
        raise CallError(
            f"This Axes is {width:.0f} mm wide, and in less than {LEAST_WIDTH:g} mm nothing is "
            "legible: make its figure wider (figsize), or leave out ax."
        )
    return Region(axes, box, width, height)


@dataclass(frozen=True, eq=False)
class Sheet:
    """A figure of its own, known to no window, or a region, and the page that its words stand on.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    page : matplotlib.axes.Axes
        Covers the sheet; its coordinates are mm from the left top.
    width, height : float
        Of the sheet, mm.
    region : Region or None
        What it lies in; None where it is the figure.
    panels : list of matplotlib.axes.Axes
        Those made so far.
    """

    figure: Figure
    page: Axes
    width: float
    height: float
    region: Region | None = None
    panels: list[Axes] = field(default_factory=list)

    def words(self, left: float, top: float, words: Block, **style: Any) -> None:
        """Write a block, its left top given."""
        middle = top + words.height / 2
        fixed: Style = {"ha": "left", "va": "center", "parse_math": False}
        self.page.text(left, middle, words.text, **fixed, **style)

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Return new axes at a place, mm; in a region the first ones are those that it is of."""
        box = self._place(left, top, width, height)
        if self.region is not None and not self.panels:
            axes = _in_style(self.region.axes)
            axes.set_position(box)
        else:
            axes = self.figure.add_axes(box)
        self.panels.append(axes)
        return axes

    def field(self, left: float, top: float, width: float, height: float) -> Axes:
        """Return new axes without ticks at a place, mm."""
        box = self._place(left, top, width, height)
        return self.figure.add_axes(box, axes_class=Field)

    def _place(
        self, left: float, top: float, width: float, height: float
    ) -> tuple[float, float, float, float]:
        bottom = 1 - (top + height) / self.height
        share = (width / self.width, height / self.height)
        return _within(self.region, (left / self.width, bottom, *share))

    def panel(self, box: PanelBox) -> Axes:
        """Return new axes at a place, open above and to the right."""
        axes = self.axes(box.left, box.top, box.width, box.height)
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


def new_sheet(width: float, height: float, title: Block, region: Region | None = None) -> Sheet:
    """Return a sheet of a size, mm, with the title at its top; a region has its own height."""
    if region is None:
        figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), dpi=_DOTS_PER_INCH)
    else:
        figure, height = cast("Figure", region.axes.figure), region.height
    page = figure.add_axes(_within(region, (0.0, 0.0, 1.0, 1.0)), axes_class=Field)
    page.set_xlim(0, width)
    page.set_ylim(height, 0)
    page.set_axis_off()
    sheet = Sheet(figure, page, width, height, region)
    sheet.words(EDGE, EDGE, title, size=TITLE_SIZE, weight="bold")
    return sheet


def _within(
    region: Region | None, share: tuple[float, float, float, float]
) -> tuple[float, float, float, float]:
    """Return left, bottom, width and height as shares of the figure from those of the sheet."""
    if region is None:
        return share
    box, (left, bottom, width, height) = region.box, share
    x, y = box.x0 + left * box.width, box.y0 + bottom * box.height
    return x, y, width * box.width, height * box.height


def _in_style(axes: Axes) -> Axes:
    """Return somebody's axes as they would be if they had been made in our style."""
    settings: Any = rcParams
    for name in ("x", "y"):
        tick, axis = f"{name}tick", getattr(axes, f"{name}axis")
        axes.tick_params(
            axis=name,
            size=settings[f"{tick}.major.size"],
            width=settings[f"{tick}.major.width"],
            color=settings[f"{tick}.color"],
            labelcolor=settings[f"{tick}.labelcolor"],
            labelsize=settings[f"{tick}.labelsize"],
            labelfontfamily=settings["font.family"][0],
        )
        axis.label.set(size=settings["axes.labelsize"], family=settings["font.family"])
        axis.label.set_color(settings["axes.labelcolor"])
    for spine in axes.spines.values():
        spine.set(linewidth=settings["axes.linewidth"], edgecolor=settings["axes.edgecolor"])
    return axes


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
