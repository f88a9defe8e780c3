"""What a figure of the audit shows, as frozen numbers and words; it holds no model."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError

Numbers = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class RowsPanel:
    """Named estimates one below the other, (n,) each; NaN where an end is not known.

    Parameters
    ----------
    heading, axis : str
        Above the panel, and below it.
    names : tuple of str
        From top to bottom.
    estimate, low, high : (n,) float
    line : float
        Where the line of comparison stands.
    line_is : str
        What it is, in words.
    """

    heading: str
    axis: str
    names: tuple[str, ...]
    estimate: Numbers
    low: Numbers
    high: Numbers
    line: float
    line_is: str

    def __post_init__(self) -> None:
        _freeze(self, ("estimate", "low", "high"))
        if not self.names or any(
            values.shape != (len(self.names),) for values in (self.estimate, self.low, self.high)
        ):
            raise CallError("Every row needs a name, an estimate and two ends.")


@dataclass(frozen=True, eq=False)
class BarsPanel:
    """Counts side by side.

    Parameters
    ----------
    heading, axis : str
        Above the panel, and below it.
    names : tuple of str
        From left to right.
    count : (n,) float
    line : float
        The count expected of each.
    line_is : str
        What that is, in words.
    """

    heading: str
    axis: str
    names: tuple[str, ...]
    count: Numbers
    line: float
    line_is: str

    def __post_init__(self) -> None:
        _freeze(self, ("count",))
        if not self.names or self.count.shape != (len(self.names),):
            raise CallError("Every bar needs a name and a count.")


@dataclass(frozen=True, eq=False)
class AuditPicture:
    """One figure of the audit: a question, and a panel for each method or group.

    Parameters
    ----------
    title : str
    panels : tuple of RowsPanel or BarsPanel
        From top to bottom, one at least.
    marks_are : str
        What a mark and its whiskers are, in words; blank for bars.
    caption, alt_text : str
    no_interval : str
        What an estimate without an interval is, in words.
    """

    title: str
    panels: tuple[RowsPanel | BarsPanel, ...]
    marks_are: str
    caption: str
    alt_text: str
    no_interval: str = field(kw_only=True)

    def __post_init__(self) -> None:
        if not self.panels:
            raise CallError("A figure of the audit needs something to show.")


def _freeze(picture: object, names: tuple[str, ...]) -> None:
    for name in names:
        array = np.array(getattr(picture, name), dtype=np.float64)
        array.setflags(write=False)
        object.__setattr__(picture, name, array)
