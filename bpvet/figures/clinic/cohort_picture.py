"""What a cohort's figures show, as frozen numbers and words; they hold no model."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bpvet.errors import CallError
from bpvet.figures.frozen import freeze
from bpvet.figures.words import ResidualsWords
from bpvet.frozen import dataclass, field

Numbers = NDArray[np.float64]


def _freeze(picture: object, names: tuple[str, ...]) -> None:
    """Put read-only copies in place of arrays of numbers, which must all be of one length."""
    shapes = freeze(picture, dict.fromkeys(names, np.float64))
    if len(shapes) != 1 or len(shapes.pop()) != 1:
        raise CallError("The arrays of a picture must be of one length.")


@dataclass(frozen=True, eq=False)
class PopulationLine:
    """The population's line in one state, with the ends of its interval, (m,) each."""

    words: str
    treated: bool
    months: Numbers
    value: Numbers
    low: Numbers
    high: Numbers

    def __post_init__(self) -> None:
        _freeze(self, ("months", "value", "low", "high"))


@dataclass(frozen=True, eq=False)
class ResidualsPicture:
    """Residuals of sessions over their SDs, against fitted values and against a normal's.

    Parameters
    ----------
    title, unit : str
    fitted, residual : (n,) float
        In order of the residual, lowest first.
    normal : (n,) float
        What the residuals of a normal would be.
    caption, alt_text : str
    words : ResidualsWords
        What the figure writes by itself.
    """

    title: str
    unit: str
    fitted: Numbers
    residual: Numbers
    normal: Numbers
    caption: str
    alt_text: str
    words: ResidualsWords = field(kw_only=True)

    def __post_init__(self) -> None:
        _freeze(self, ("fitted", "residual", "normal"))
        if np.any(np.diff(self.residual) < 0):
            raise CallError("Residuals stand in their order, the lowest first.")


@dataclass(frozen=True, eq=False)
class IntervalPanel:
    """Estimates with the ends of their intervals, (n,) each; NaN where an end is not known."""

    heading: str
    axis: str
    estimate: Numbers
    low: Numbers
    high: Numbers

    def __post_init__(self) -> None:
        _freeze(self, ("estimate", "low", "high"))


@dataclass(frozen=True, eq=False)
class IntervalsPicture:
    """Named estimates one below the other: animals (a caterpillar plot), or components.

    Parameters
    ----------
    title : str
    names : tuple of str
        From top to bottom.
    panels : tuple of IntervalPanel
        One or two.
    zero_is : str
        What the line at 0 is, in words; blank for axes that start there.
    interval : str
        What the intervals are called, such as "95 % interval".
    caption, alt_text : str
    mark : str
        What the marks are.
    unnamed : str
        What is written where there are too many rows for their names, with their ``{count}``.
    """

    title: str
    names: tuple[str, ...]
    panels: tuple[IntervalPanel, ...]
    zero_is: str
    interval: str
    caption: str
    alt_text: str
    mark: str = field(kw_only=True)
    unnamed: str = field(kw_only=True)

    def __post_init__(self) -> None:
        if not 1 <= len(self.panels) <= 2:
            raise CallError("Intervals are drawn in one panel or in two.")
        if any(len(self.names) != panel.estimate.size for panel in self.panels):
            raise CallError("Every estimate needs a name.")
