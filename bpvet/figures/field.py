"""Axes without ticks: the page that words stand on, and the small fields under a panel."""

from __future__ import annotations

from typing import Any

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import XAxis, YAxis


class _Tickless:
    """An axis that is not drawn.

    The library's own makes ticks, of three lines and two texts each, to be told where they end.
    """

    def set_clip_path(self: Any, path: Any, transform: Any = None) -> None:
        """Bound the axis, and no ticks."""
        Artist.set_clip_path(self, path, transform)


class _XAxis(_Tickless, XAxis):
    pass


class _YAxis(_Tickless, YAxis):
    pass


class Field(Axes):
    """Axes whose values are written nowhere, made at half the cost of those with ticks."""

    name = "bpvet field"

    def __init__(self, *place: Any, **choices: Any) -> None:
        super().__init__(*place, **choices)
        for axis in (self.xaxis, self.yaxis):
            axis.set_visible(False)
        # Where ticks are made spines are put in their places by the way.
        for spine in self.spines.values():
            spine.set_position(("outward", 0.0))

    def _init_axis(self) -> None:
        """Make the axes; projections of one's own are made in this place."""
        settings: dict[str, Any] = {"clear": False}
        x: Any = _XAxis(self, **settings)
        y: Any = _YAxis(self, **settings)
        self.xaxis, self.yaxis = x, y
        for axis, sides in ((x, ("bottom", "top")), (y, ("left", "right"))):
            for side in sides:
                self.spines[side].register_axis(axis)

    def grid(self, *_: Any, **__: Any) -> None:
        """Draw no grid: to say so makes ticks."""

    def tick_params(self, *_: Any, **__: Any) -> None:
        """Leave ticks alone: to say how they look makes some."""
