"""Where labels go so that none meets another: rectangles and intervals in millimetres.

Plain arithmetic, no drawing. Heights grow downwards, as on a page.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from bpvet.frozen import dataclass


# A tuple: thousands are made for a figure.
class Box(NamedTuple):
    """A rectangle: left, top, right, bottom, mm, y growing downwards."""

    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box, gap: float = 0.0) -> bool:
        """Return whether the two come closer than `gap`."""
        return (
            self.left < other.right + gap
            and other.left < self.right + gap
            and self.top < other.bottom + gap
            and other.top < self.bottom + gap
        )

    def meets_any(self, others: Sequence[Box]) -> bool:
        """Return whether this box meets one of several: a hundred thousand are asked about."""
        left, top, right, bottom = self
        for low, upper, high, lower in others:
            if left < high and low < right and top < lower and upper < bottom:
                return True
        return False

    def wider(self, gap: float) -> Box:
        """Return this box, larger by so much on each side."""
        return Box(self.left - gap, self.top - gap, self.right + gap, self.bottom + gap)

    def nearest(self, point: tuple[float, float]) -> tuple[float, float]:
        """Return the point of this box nearest to `point`."""
        return (
            min(max(point[0], self.left), self.right),
            min(max(point[1], self.top), self.bottom),
        )

    def within(self, other: Box) -> bool:
        """Return whether this box lies inside `other`."""
        return (
            self.left >= other.left
            and self.top >= other.top
            and self.right <= other.right
            and self.bottom <= other.bottom
        )


Interval = tuple[float, float]


def lanes(
    bars: Sequence[Interval], words: Sequence[Interval], kin: Sequence[str], gap: float = 1.5
) -> list[int]:
    """Return a lane for each bar with its words so that no two in a lane meet.

    Bars may touch in a lane, words stand above them and keep a gap.

    Parameters
    ----------
    bars, words : sequence of (left, right)
        In mm, in the order in which they ask for a lane.
    kin : sequence of str
        Those of one kin stay in the lane of the last of them where it is free.
    gap : float
        Least space between words in a lane, mm.

    Returns
    -------
    list of int
        Lane of each, from 0.
    """
    taken: list[list[tuple[Interval, Interval]]] = []
    last_lane: dict[str, int] = {}
    chosen: list[int] = []
    for bar, text, family in zip(bars, words, kin, strict=True):
        order = list(range(len(taken)))
        if family in last_lane:
            order.insert(0, last_lane[family])
        free = (
            lane
            for lane in order
            if all(
                _clear(bar, other_bar, 0.0) and _clear(text, other_text, gap)
                for other_bar, other_text in taken[lane]
            )
        )
        lane = next(free, len(taken))
        if lane == len(taken):
            taken.append([])
        taken[lane].append((bar, text))
        last_lane[family] = lane
        chosen.append(lane)
    return chosen


def _clear(first: Interval, second: Interval, gap: float) -> bool:
    return first[1] + gap <= second[0] or second[1] + gap <= first[0]


@dataclass(frozen=True)
class Flag:
    """A label hung on a pole: its lane (0 is the lowest) and where its words begin, mm."""

    lane: int
    left: float


def flags(
    poles: Sequence[float], widths: Sequence[float], left: float, right: float, gap: float = 1.0
) -> list[Flag]:
    """Hang labels on upright poles so that no label meets a label, nor, if it can be, a pole.

    A label hangs to the right of its pole, or to the left where it would leave the space or
    span the pole of one that hangs left. It takes the lowest lane above all poles and labels
    that it spans: those to the right go first, then those to the left from the other end.

    Parameters
    ----------
    poles : sequence of float
        Where the poles stand, mm.
    widths : sequence of float
        Width of each label, mm, none wider than the space.
    left, right : float
        Ends of the space, mm.
    gap : float
        Space between pole and label, mm.

    Returns
    -------
    list of Flag
        In the order of `poles`.
    """
    spans = _flag_spans(poles, widths, left, right, gap)
    rightwards = [i for i in range(len(poles)) if spans[i][0] > poles[i]]
    leftwards = [i for i in range(len(poles)) if spans[i][0] <= poles[i]]
    rightwards.sort(key=lambda i: (-poles[i], -i))
    leftwards.sort(key=lambda i: (poles[i], i))
    lane_of: dict[int, int] = {}
    for this in rightwards + leftwards:
        start, end = spans[this]
        below = [
            lane
            for that, lane in lane_of.items()
            if start - gap < poles[that] < end + gap
            or (start < spans[that][1] + gap and spans[that][0] < end + gap)
        ]
        lane_of[this] = 1 + max(below, default=-1)
    return [Flag(lane_of[i], spans[i][0]) for i in range(len(poles))]


def _flag_spans(
    poles: Sequence[float], widths: Sequence[float], left: float, right: float, gap: float
) -> dict[int, tuple[float, float]]:
    """Return where each label begins and ends: right of its pole, left of it, or between."""
    spans: dict[int, tuple[float, float]] = {}
    leftward_poles: list[float] = []
    for this in sorted(range(len(poles)), key=lambda i: (-poles[i], -i)):
        pole, width = poles[this], widths[this]
        fits_right = pole + gap + width <= right
        fits_left = pole - gap - width >= left
        in_the_way = any(pole <= leftward < pole + 2 * gap + width for leftward in leftward_poles)
        if fits_right and not (in_the_way and fits_left):
            start = pole + gap
        elif fits_left:
            start = pole - gap - width
            leftward_poles.append(pole)
        else:
            start = min(max(left, pole + gap), right - width)
        spans[this] = (start, start + width)
    return spans


def spread(
    wanted: Sequence[float], heights: Sequence[float], top: float, bottom: float, gap: float = 0.6
) -> list[float]:
    """Return centres as near as can be to those wanted, none meeting its neighbour.

    Least squares under order and space (pool adjacent violators).

    Parameters
    ----------
    wanted : sequence of float
        Wanted centres, mm, in rising order.
    heights : sequence of float
        Heights, mm; with their gaps they must fit between `top` and `bottom`.
    top, bottom : float
        Ends of the space, mm.
    gap : float
        Least space between neighbours, mm.

    Returns
    -------
    list of float
        Centres, mm, in the same order.
    """
    starts: list[float] = []
    run = 0.0
    for height in heights:
        starts.append(run + height / 2)
        run += height + gap
    length = run - gap
    pools: list[tuple[float, int]] = []
    for want, start in zip(wanted, starts, strict=True):
        mean, size = want - start, 1
        while pools and pools[-1][0] > mean:
            before, count = pools.pop()
            mean = (before * count + mean * size) / (count + size)
            size += count
        pools.append((mean, size))
    shifts = [shift for shift, count in pools for _ in range(count)]
    space = max(top, bottom - length)
    return [
        min(max(shift, top), space) + start for shift, start in zip(shifts, starts, strict=True)
    ]


def near(
    anchor: tuple[float, float],
    size: tuple[float, float],
    space: Box,
    obstacles: Sequence[Box],
    barriers: Sequence[Box] = (),
    farthest: float = 14.0,
) -> Box | None:
    """Return the place nearest to `anchor` where a label of `size` meets nothing.

    Parameters
    ----------
    anchor : (x, y)
        The mark the label is for, mm.
    size : (width, height)
        Of the label, mm.
    space : Box
        Where the label has to stay.
    obstacles : sequence of Box
        What it must not meet.
    barriers : sequence of Box
        What the line from label to anchor must not meet either, up to the anchor's rim.
    farthest : float
        Greatest distance from anchor to label, mm.

    Returns
    -------
    Box or None
        None where there is no such place.
    """
    width, height = size
    about = Box(
        anchor[0] - farthest - width,
        anchor[1] - farthest - height,
        anchor[0] + farthest + width,
        anchor[1] + farthest + height,
    )
    close = [obstacle.wider(0.5) for obstacle in obstacles if obstacle.meets(about)]
    fences = [barrier for barrier in barriers if barrier.meets(about)]
    distance = 2.5
    while distance <= farthest:
        for step in range(24):
            angle = math.pi / 12 * ((step + 1) // 2) * (-1 if step % 2 else 1) - math.pi / 8
            across, down = math.cos(angle), math.sin(angle)
            middle_x = anchor[0] + distance * across + width / 2 * _toward(across)
            middle_y = anchor[1] + distance * down + height / 2 * _toward(down)
            here = Box(
                middle_x - width / 2,
                middle_y - height / 2,
                middle_x + width / 2,
                middle_y + height / 2,
            )
            if (
                here.within(space)
                and not here.meets_any(close)
                and not _crosses(here.nearest(anchor), anchor, fences)
            ):
                return here
        distance += 0.75
    return None


def _crosses(start: tuple[float, float], end: tuple[float, float], fences: Sequence[Box]) -> bool:
    """Return whether a line meets a fence farther than 1.9 mm from its end, every half mm."""
    length = math.dist(start, end)
    count = 1 + int(2 * length)
    for step in range(count + 1):
        if length * (1 - step / count) < 1.9:
            break
        x = start[0] + (end[0] - start[0]) * step / count
        y = start[1] + (end[1] - start[1]) * step / count
        if Box(x, y, x, y).meets_any(fences):
            return True
    return False


def _toward(component: float) -> float:
    """Return −1, 0 or 1: on which side of the anchor the label's middle lies."""
    return 0.0 if abs(component) < 0.2 else math.copysign(1.0, component)
