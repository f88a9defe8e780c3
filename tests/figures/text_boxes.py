"""Where the words of a drawn figure stand, and which of them meet or leave it."""

from __future__ import annotations

from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox


def text_boxes(figure: Figure) -> dict[int, tuple[str, Bbox]]:
    """Return every visible text with its box in dots, hidden and blank ones left out."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    boxes, hidden = {}, _hidden(figure)
    for index, text in enumerate(figure.findobj(Text)):
        words = text.get_text()
        if not words.strip() or not text.get_visible() or id(text) in hidden:
            continue
        text.set_bbox(None)  # the words themselves, not the paper behind them
        boxes[index] = (words, text.get_window_extent(renderer))
    return boxes


def _hidden(figure: Figure) -> set[int]:
    """Return labels that are there and never drawn: of axes switched off, of ticks out of view."""
    hidden: set[int] = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            spare = 1e-9 * (high - low)
            for tick in axis.get_major_ticks():
                if not axes.axison or not low - spare <= tick.get_loc() <= high + spare:
                    hidden |= {id(tick.label1), id(tick.label2)}
    return hidden


def faults(figure: Figure, slack: float = 1.0) -> list[str]:
    """Return in words which texts overlap or leave the figure by more than `slack` dots."""
    boxes = list(text_boxes(figure).values())
    width, height = figure.bbox.width, figure.bbox.height
    found = [
        f"{words!r} leaves the figure: {box}"
        for words, box in boxes
        if box.x0 < -slack or box.y0 < -slack or box.x1 > width + slack or box.y1 > height + slack
    ]
    for (one, box), (other, other_box) in combinations(boxes, 2):
        across = min(box.x1, other_box.x1) - max(box.x0, other_box.x0)
        down = min(box.y1, other_box.y1) - max(box.y0, other_box.y0)
        if across > slack and down > slack:
            found.append(f"{one!r} meets {other!r} by {across:.1f} x {down:.1f} dots")
    return found
