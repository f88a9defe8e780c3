"""Names inside a panel and at its right edge, each placed so that none meets another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from bpvet.figures.axes import Scale
from bpvet.figures.lettering import Block, block
from bpvet.figures.pictures import Panel
from bpvet.figures.placing import Box, near, spread
from bpvet.frozen import dataclass

_GAP = 0.8
_RIM = 1.25


@dataclass(frozen=True)
class MarginLabel:
    """A name at the right edge.

    Parameters
    ----------
    kind : str
        ``level`` or ``line``.
    words : Block
        The name as it is drawn.
    full : str
        The name as it was given.
    points_at, middle : float
        Where it points and where its middle stands, mm from the panel's top.
    """

    kind: str
    words: Block
    full: str
    points_at: float
    middle: float


@dataclass(frozen=True)
class NearLabel:
    """A session's name inside the panel: its words, its box, and the mark it belongs to, mm."""

    words: Block
    full: str
    box: Box
    mark: tuple[float, float]

    @property
    def path(self) -> Box:
        """What the line from the name to the rim of its mark takes, mm."""
        x, y, end_x, end_y = leader(self.box, self.mark)
        return Box(min(x, end_x), min(y, end_y), max(x, end_x), max(y, end_y))


def margin_labels(
    panel: Panel, low: float, high: float, height: float, space: float
) -> tuple[tuple[MarginLabel, ...], float]:
    """Place the names of the levels and lines that are in view.

    Parameters
    ----------
    panel : Panel
        Its levels, target and floor.
    low, high : float
        Lowest and highest value shown.
    height : float
        Least height of the panel, mm.
    space : float
        Width of the right edge, mm.

    Returns
    -------
    labels : tuple of MarginLabel
        From top to bottom.
    height : float
        Height the panel needs, mm.
    """
    wanted: list[tuple[float, str, str]] = []
    lines = [
        line
        for line in (panel.target, panel.floor)
        if line is not None and low <= line.value <= high
    ]
    for level in panel.levels:
        bottom, top = max(level.low, low), min(level.high, high)
        if level.name and top - bottom > 0.02 * (high - low):
            # The middle of the widest part of a level that no line crosses.
            across = (line.value for line in lines if bottom < line.value < top)
            cuts = sorted({bottom, top, *across})
            middle = max((b - a, (a + b) / 2) for a, b in pairwise(cuts))[1]
            wanted.append((middle, "level", level.name))
    wanted += [(line.value, "line", line.words) for line in lines if line.words]
    wanted.sort(key=lambda name: (-name[0], name[2]))
    blocks = [block(words, space, most=3) for _, _, words in wanted]
    heights = [lettered.height for lettered in blocks]
    height = max(height, sum(heights) + _GAP * len(heights))
    y = Scale(low, high, height, 0.0)
    points = [y.mm(value) for value, _, _ in wanted]
    middles = spread(points, heights, 0.0, height, _GAP)
    labels = tuple(
        MarginLabel(kind, words, full, point, middle)
        for (_, kind, full), words, point, middle in zip(
            wanted, blocks, points, middles, strict=True
        )
    )
    return labels, height


def near_labels(
    wanted: Sequence[tuple[float, float, float, str]],
    y: Scale,
    space: Box,
    marks: Sequence[Box],
    lines: Sequence[Box],
) -> tuple[tuple[NearLabel, ...], tuple[tuple[float, float, str], ...]]:
    """Place the names of sessions beside their marks.

    Parameters
    ----------
    wanted : sequence of (day, value, mm, name)
        Sessions with a name; mm is where the mark stands from the figure's left edge.
    y : Scale
        Values to mm from the panel's top.
    space : Box
        Inside of the panel, mm.
    marks : sequence of Box
        Marks, which neither a name nor the line that leads to it may cover, mm.
    lines : sequence of Box
        Lines, which a name may not cover, mm.

    Returns
    -------
    placed : tuple of NearLabel
        Names with their boxes.
    left : tuple of (day, value, name)
        Names that found no place.
    """
    placed: list[NearLabel] = []
    left: list[tuple[float, float, str]] = []
    taken, barriers = [*marks, *lines], list(marks)
    for day, value, at, name in wanted:
        mark = (at, y.mm(value))
        words = block(name, min(45.0, space.right - space.left))
        box = None
        if words.whole:
            box = near(mark, (words.width, words.height), space, taken, barriers)
        if box is None:
            left.append((day, value, name))
            continue
        placed.append(NearLabel(words, name, box, mark))
        taken += [box, placed[-1].path]
        barriers.append(box)
    return tuple(placed), tuple(left)


def first_label(
    spots: Sequence[tuple[float, float, float, str]],
    y: Scale,
    space: Box,
    marks: Sequence[Box],
    lines: Sequence[Box],
) -> tuple[tuple[NearLabel, ...], bool]:
    """Place the name of a series beside the first of its marks that has space for it.

    Parameters
    ----------
    spots, y, space, marks, lines
        As `near_labels` takes them; one name, at each of the marks that it may stand beside.

    Returns
    -------
    placed : tuple of NearLabel
        One, or none.
    missed : bool
        Whether none of the marks had space.
    """
    for spot in spots:
        placed, _ = near_labels([spot], y, space, marks, lines)
        if placed:
            return placed, False
    return (), bool(spots)


def leader(box: Box, mark: tuple[float, float]) -> tuple[float, float, float, float]:
    """Return the line from a name's box to the rim of its mark: x and y of both ends, mm."""
    x, y = box.nearest(mark)
    length = math.hypot(mark[0] - x, mark[1] - y)
    share = max(0.0, 1 - _RIM / length) if length else 0.0
    return x, y, x + share * (mark[0] - x), y + share * (mark[1] - y)
