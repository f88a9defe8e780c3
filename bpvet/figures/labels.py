"""Names inside a panel and at its right edge, each placed so that none meets another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bpvet.figures.axes import Scale
from bpvet.figures.lettering import Block, block
from bpvet.figures.pictures import Panel
from bpvet.figures.placing import Box, near, spread

_GAP = 0.8


@dataclass(frozen=True)
class MarginLabel:
    """A name at the right edge.

    Parameters
    ----------
    kind : str
        ``guideline`` (the head of the column), ``level`` or ``line``.
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


def margin_labels(
    panel: Panel, low: float, high: float, height: float, room: float
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
    room : float
        Width of the right edge, mm.

    Returns
    -------
    labels : tuple of MarginLabel
        From top to bottom.
    height : float
        Height the panel needs, mm.
    """
    wanted: list[tuple[float, str, str]] = []
    for level in panel.levels:
        bottom, top = max(level.low, low), min(level.high, high)
        if top - bottom > 0.02 * (high - low):
            wanted.append(((bottom + top) / 2, "level", level.name))
    for line in (panel.target, panel.floor):
        if line is not None and low <= line.value <= high:
            wanted.append((line.value, "line", line.words))
    wanted.sort(key=lambda one: (-one[0], one[2]))
    if panel.guideline and wanted:
        wanted.insert(0, (high, "guideline", panel.guideline))
    blocks = [block(words, room, most=3, bold=kind == "guideline") for _, kind, words in wanted]
    heights = [one.height for one in blocks]
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
    room: Box,
    obstacles: Sequence[Box],
) -> tuple[tuple[NearLabel, ...], tuple[tuple[float, float, str], ...]]:
    """Place the names of sessions beside their marks.

    Parameters
    ----------
    wanted : sequence of (day, value, mm, name)
        Sessions with a name; mm is where the mark stands from the figure's left edge.
    y : Scale
        Values to mm from the panel's top.
    room : Box
        Inside of the panel, mm.
    obstacles : sequence of Box
        Marks and lines that a name must not cover, mm.

    Returns
    -------
    placed : tuple of NearLabel
        Names with their boxes.
    left : tuple of (day, value, name)
        Names that found no place.
    """
    placed: list[NearLabel] = []
    left: list[tuple[float, float, str]] = []
    taken = list(obstacles)
    for day, value, at, name in wanted:
        mark = (at, y.mm(value))
        words = block(name, min(45.0, room.right - room.left))
        box = near(mark, (words.width, words.height), room, taken) if words.whole else None
        if box is None:
            left.append((day, value, name))
            continue
        placed.append(NearLabel(words, name, box, mark))
        taken += [box, _leader(box, mark)]
    return tuple(placed), tuple(left)


def leader_start(box: Box, mark: tuple[float, float]) -> tuple[float, float]:
    """Return the point of `box` nearest to its mark, mm."""
    return (
        min(max(mark[0], box.left), box.right),
        min(max(mark[1], box.top), box.bottom),
    )


def _leader(box: Box, mark: tuple[float, float]) -> Box:
    x, y = leader_start(box, mark)
    return Box(min(x, mark[0]), min(y, mark[1]), max(x, mark[0]), max(y, mark[1]))
