"""What a figure of the audit shows, as frozen numbers and words; it holds no model."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.figures.frozen import freeze
from bpvet.figures.words import EstimatesWords
from bpvet.frozen import dataclass, field

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
        Where the line of comparison stands; the axis reaches so far.
    line_is : str
        What it is, in words; blank where none is drawn.
    span : (float, float) or None
        Least and greatest value that its axis reaches to; None where its rows alone say.
    """

    heading: str
    axis: str
    names: tuple[str, ...]
    estimate: Numbers
    low: Numbers
    high: Numbers
    line: float
    line_is: str
    span: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        shapes = freeze(self, dict.fromkeys(("estimate", "low", "high"), np.float64))
        if not self.names or shapes != {(len(self.names),)}:
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
        if freeze(self, {"count": np.float64}) != {(len(self.names),)} or not self.names:
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
    words : EstimatesWords
        What the figure writes by itself.
    note : str
        What stands below the key; may be blank.
    """

    title: str
    panels: tuple[RowsPanel | BarsPanel, ...]
    marks_are: str
    caption: str
    alt_text: str
    words: EstimatesWords = field(kw_only=True)
    note: str = ""

    def __post_init__(self) -> None:
        if not self.panels:
            raise CallError("A figure of the audit needs something to show.")
